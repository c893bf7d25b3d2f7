from django.urls import path

from handover.boards import views

app_name = "boards"
urlpatterns = [
    path("today/", views.today_board, name="today"),
    path("fortnight/", views.fortnight, name="fortnight"),
    path("late/", views.late, name="late"),
    path("quiet/", views.quiet_carers, name="quiet"),
    path("clutches-due/", views.clutches_due, name="clutches"),
    path("plans-to-settle/", views.conflicts, name="conflicts"),
    path("checked-overnight/", views.proposals, name="proposals"),
]

from django.urls import path

from handover.protocols import views

app_name = "protocols"
urlpatterns = [
    path("", views.library, name="library"),
    path("groups/<slug:slug>/", views.group, name="group"),
    path("groups/<slug:slug>/adopt/", views.adopt_group, name="adopt-group"),
    path("rows/<slug:kind>/<str:slug>/", views.row, name="row"),
    path("rows/<slug:kind>/<str:slug>/adopt/", views.adopt, name="adopt"),
    path("rows/<slug:kind>/<str:slug>/withdraw/", views.withdraw, name="withdraw"),
]

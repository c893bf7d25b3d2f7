from django.urls import path

from hospital.medications import formulary_views as views

app_name = "formulary"
urlpatterns = [
    path("", views.groups, name="groups"),
    path("waiting/", views.waiting, name="waiting"),
    path("sums/", views.sums, name="sums"),
    path("add/", views.add, name="add"),
    path("groups/<slug:slug>/", views.group, name="group"),
    path("groups/<slug:slug>/adopt/", views.adopt_group, name="adopt-group"),
    path("rows/<str:slug>/", views.row, name="row"),
    path("rows/<str:slug>/adopt/", views.adopt, name="adopt"),
    path("rows/<str:slug>/withdraw/", views.withdraw, name="withdraw"),
]

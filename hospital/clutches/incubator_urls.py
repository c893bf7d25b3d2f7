from django.urls import path

from hospital.clutches import incubator_views as views

app_name = "incubators"
urlpatterns = [
    path("", views.incubators, name="incubators"),
    path("add/", views.add, name="add"),
    path("<int:incubator_id>/", views.incubator, name="incubator"),
    path("<int:incubator_id>/edit/", views.edit, name="edit"),
    path("<int:incubator_id>/read/", views.read, name="read"),
    path("<int:incubator_id>/readings/<int:reading_id>/set-aside/", views.set_aside, name="set-aside"),
    path("<int:incubator_id>/file/", views.take_file, name="file"),
]

from django.urls import path

from handover.duty import views

app_name = "duty"
urlpatterns = [
    path("duty/", views.duty, name="duty"),
    path("duty/add/", views.add, name="add"),
    path("duty/minutes/", views.minutes, name="minutes"),
    path("duty/<int:turn_id>/remove/", views.remove, name="remove"),
    path("duty/<int:turn_id>/up/", views.up, name="up"),
]

from django.urls import path

from hospital.examinations import views

app_name = "examinations"
urlpatterns = [
    path("add/", views.add, name="add"),
    path("recheck/", views.recheck, name="recheck"),
    path("<int:examination_id>/edit/", views.edit, name="edit"),
]

from django.urls import path

from hospital.labs import views

app_name = "labs"
urlpatterns = [
    path("", views.samples, name="samples"),
    path("add/", views.add, name="add"),
    path("<int:sample_id>/", views.edit, name="edit"),
    path("<int:sample_id>/withdraw/", views.withdraw, name="withdraw"),
]

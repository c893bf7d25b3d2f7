from django.contrib.auth.decorators import login_not_required
from django.urls import path

from hospital.setup import views

app_name = "setup"
urlpatterns = [
    path("set-up/next/", views.next_steps, name="next"),
    path("set-up/<str:token>/", login_not_required(views.first), name="first"),
]

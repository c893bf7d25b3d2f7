from django.contrib.auth.decorators import login_not_required
from django.urls import path

from hospital.people import views

app_name = "people"
urlpatterns = [
    path("sign-in/", login_not_required(views.sign_in), name="sign-in"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("work-at/", views.work_at, name="work-at"),
]

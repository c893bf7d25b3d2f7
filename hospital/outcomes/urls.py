from django.urls import path

from hospital.outcomes import views

app_name = "outcomes"
urlpatterns = [
    path("", views.record, name="record"),
    path("reopen/", views.reopen, name="reopen"),
]

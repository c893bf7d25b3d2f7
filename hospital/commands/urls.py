from django.urls import path

from hospital.commands import views

app_name = "commands"
urlpatterns = [path("find/", views.find, name="find")]

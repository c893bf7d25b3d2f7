from django.urls import path

app_name = "logs"
urlpatterns = []

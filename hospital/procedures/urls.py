from django.urls import path

app_name = "procedures"
urlpatterns = []

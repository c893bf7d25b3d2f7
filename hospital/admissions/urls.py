from django.urls import path

app_name = "admissions"
urlpatterns = []

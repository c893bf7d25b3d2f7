from django.urls import path

app_name = "examinations"
urlpatterns = []

from django.urls import path

app_name = "chart"
urlpatterns = []

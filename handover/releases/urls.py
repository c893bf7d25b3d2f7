from django.urls import path

app_name = "releases"
urlpatterns = []

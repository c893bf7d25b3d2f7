from django.urls import path

app_name = "placements"
urlpatterns = []

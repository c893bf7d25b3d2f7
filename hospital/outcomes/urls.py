from django.urls import path

app_name = "outcomes"
urlpatterns = []

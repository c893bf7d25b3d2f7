from django.urls import path

app_name = "protocols"
urlpatterns = []

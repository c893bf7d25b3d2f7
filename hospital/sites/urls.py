from django.urls import path

app_name = "sites"
urlpatterns = []

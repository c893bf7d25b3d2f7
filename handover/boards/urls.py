from django.urls import path

app_name = "boards"
urlpatterns = []

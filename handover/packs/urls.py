from django.urls import path

app_name = "packs"
urlpatterns = []

from django.urls import path

app_name = "medications"
urlpatterns = []

from django.urls import path

from hospital.statistics import views

app_name = "statistics"
urlpatterns = [
    path("statistics/", views.outcomes, name="outcomes"),
    path("statistics/places/", views.places, name="places"),
]

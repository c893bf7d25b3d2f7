from django.urls import path

from hospital.sites import views

app_name = "sites"
urlpatterns = [
    path("hospital/", views.hospital, name="hospital"),
    path("hospital/edit/", views.edit, name="edit"),
    path("hospital/closed-days/add/", views.close_day, name="close-day"),
    path("hospital/closed-days/<int:day_id>/remove/", views.open_day, name="open-day"),
    path("hospital/outline.geojson", views.outline, name="outline"),
]

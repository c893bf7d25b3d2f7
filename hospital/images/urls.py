from django.urls import path

from hospital.images import views

app_name = "images"
urlpatterns = [
    path("", views.all_of, name="all"),
    path("add/", views.add, name="add"),
    path("compare/", views.compare, name="compare"),
    path("<uuid:key>/", views.image, name="image"),
    path("<uuid:key>/picture/", views.picture, name="picture"),
    path("<uuid:key>/small/", views.small, name="small"),
    path("<uuid:key>/levels/", views.levels, name="levels"),
    path("<uuid:key>/draw/", views.draw, name="draw"),
    path("<uuid:key>/withdraw/", views.withdraw, name="withdraw"),
    path("<uuid:key>/drawn/<int:measurement_id>/withdraw/", views.withdraw_drawn, name="withdraw-drawn"),
]

from django.urls import path

from hospital.feeding import views

app_name = "feeding"
urlpatterns = [
    path("", views.plans, name="plans"),
    path("food/", views.feed, name="feed"),
    path("fluids/", views.give, name="give"),
    path("<str:kind>/stop/", views.stop, name="stop"),
]

from django.urls import path

from hospital.medications import views

app_name = "medications"
urlpatterns = [
    path("emergency/", views.emergency, name="emergency"),
    path("emergency.pdf", views.emergency_print, name="emergency-print"),
    path("order/", views.order, name="order"),
    path("<int:order_id>/countersign/", views.countersign, name="countersign"),
    path("<int:order_id>/decline/", views.decline, name="decline"),
    path("<int:order_id>/stop/", views.stop, name="stop"),
    path("<int:order_id>/label.pdf", views.label, name="label"),
    path("<int:order_id>/give/", views.give, name="give"),
    path("doses/<int:dose_id>/take-back/", views.take_dose_back, name="take-dose-back"),
]

from django.urls import path

from hospital.chart import views

app_name = "chart"
urlpatterns = [path("", views.patient, name="patient"), path("history.pdf", views.printed, name="print")]

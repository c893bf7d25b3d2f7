"""Addresses. Handover's are named as text only: the hospital's code never imports it."""

from django.urls import include, path, register_converter

from hospital.admissions.access import CaseNumberConverter
from hospital.people.views import home

register_converter(CaseNumberConverter, "case")

urlpatterns = [
    path("", home, name="home"),
    path("", include("hospital.people.urls")),
    path("", include("hospital.mail.urls")),
    path("", include("hospital.sites.urls")),
    path("", include("hospital.setup.urls")),
    path("", include("hospital.admissions.urls")),
    path("", include("hospital.placements.urls")),
    path("", include("hospital.commands.urls")),
    path("incubators/", include("hospital.clutches.incubator_urls")),
    path("", include("hospital.ward.urls")),
    path("", include("hospital.theatre.urls")),
    path("", include("hospital.ordersets.urls")),
    path("", include("hospital.statistics.urls")),
    path("records/", include("hospital.exports.urls")),
    path("records/imports/", include("hospital.imports.urls")),
    path("register/", include("hospital.register.urls")),
    path("patients/<case:case_number>/", include("hospital.chart.urls")),
    path("patients/<case:case_number>/procedures/", include("hospital.procedures.urls")),
    path("patients/<case:case_number>/medications/", include("hospital.medications.urls")),
    path("patients/<case:case_number>/feeding/", include("hospital.feeding.urls")),
    path("patients/<case:case_number>/clutches/", include("hospital.clutches.urls")),
    path("patients/<case:case_number>/images/", include("hospital.images.urls")),
    path("formulary/", include("hospital.medications.formulary_urls")),
    path("patients/<case:case_number>/examinations/", include("hospital.examinations.urls")),
    path("patients/<case:case_number>/samples/", include("hospital.labs.urls")),
    path("patients/<case:case_number>/outcome/", include("hospital.outcomes.urls")),
    path("", include("handover.urls")),
]

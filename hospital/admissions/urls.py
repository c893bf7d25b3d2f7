from django.urls import path

from hospital.admissions import views

app_name = "admissions"
urlpatterns = [
    path("admit/", views.admit, name="admit"),
    path("admit/species/", views.species, name="species"),
    path("admit/cautions/", views.cautions, name="cautions"),
    path("species/add/", views.species_add, name="species-add"),
    path("species/", views.species_added, name="species-added"),
    path("species/<int:species_id>/edit/", views.species_edit, name="species-edit"),
    path("patients/", views.in_care, name="in-care"),
    path("patients/closed/", views.closed, name="closed"),
    path("patients/<case:case_number>/admitted/", views.admitted, name="admitted"),
    path("patients/<case:case_number>/edit/", views.edit, name="edit"),
    path("patients/<case:case_number>/finder/", views.finder, name="finder"),
    path("patients/<case:case_number>/weigh/", views.weigh, name="weigh"),
    path("patients/<case:case_number>/weigh/call/", views.weight_call, name="weight-call"),
    path("patients/<case:case_number>/marks/add/", views.mark_add, name="mark-add"),
    path("patients/<case:case_number>/marks/<int:mark_id>/remove/", views.mark_remove, name="mark-remove"),
    path("patients/<case:case_number>/photos/", views.photos, name="photos"),
    path("patients/<case:case_number>/photos/add/", views.photo_add, name="photo-add"),
    path("patients/<case:case_number>/photos/<uuid:key>/", views.photo, name="photo"),
    path("patients/<case:case_number>/photos/<uuid:key>/small/", views.photo_small, name="photo-small"),
    path("patients/<case:case_number>/photos/<uuid:key>/remove/", views.photo_remove, name="photo-remove"),
    path("patients/<case:case_number>/history/", views.history, name="history"),
]

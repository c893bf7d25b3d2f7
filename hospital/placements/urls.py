from django.urls import path

from hospital.placements import match_views, views

app_name = "placements"
urlpatterns = [
    path("carers/", views.carers, name="carers"),
    path("carers/add/", views.carer_add, name="carer-add"),
    path("carers/<int:carer_id>/", views.carer, name="carer"),
    path("carers/<int:carer_id>/edit/", views.carer_edit, name="carer-edit"),
    path("carers/<int:carer_id>/away/add/", views.away_add, name="away-add"),
    path("carers/<int:carer_id>/away/<int:away_id>/remove/", views.away_remove, name="away-remove"),
    path("carers/<int:carer_id>/lend/", views.lend, name="lend"),
    path("carers/<int:carer_id>/loans/<int:loan_id>/end/", views.loan_end, name="loan-end"),
    path("carers/limits/", views.limits, name="limits"),
    path("carers/limits/<int:limit_id>/remove/", views.limit_remove, name="limit-remove"),
    path("carers/match/", match_views.match, name="match"),
    path("my-days-away/", views.my_away, name="my-away"),
    path("my-days-away/<int:away_id>/remove/", views.my_away_remove, name="my-away-remove"),
    path("patients/<case:case_number>/place/", views.place, name="place"),
    path("patients/<case:case_number>/bring-back/", views.bring_back, name="bring-back"),
    path("patients/<case:case_number>/accept/", views.accept, name="accept"),
    path("patients/<case:case_number>/decline/", views.decline, name="decline"),
    path("patients/<case:case_number>/places/", views.chain, name="chain"),
]

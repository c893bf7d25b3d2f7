from django.urls import path

from hospital.procedures import views

app_name = "procedures"
urlpatterns = [
    path("add/", views.add, name="add"),
    path("hint/", views.hint, name="hint"),
    path("<int:procedure_id>/edit/", views.edit, name="edit"),
    path("closures/<int:closure_id>/out/", views.closure_out, name="closure-out"),
    path("bandages/on/", views.bandage_on, name="bandage-on"),
    path("bandages/<int:bandage_id>/changed/", views.bandage_changed, name="bandage-changed"),
    path("bandages/<int:bandage_id>/off/", views.bandage_off, name="bandage-off"),
    path("bandages/<int:bandage_id>/edit/", views.bandage_edit, name="bandage-edit"),
    path(
        "bandage-changes/<int:change_id>/take-back/",
        views.bandage_change_take_back,
        name="bandage-change-take-back",
    ),
    path("implants/<int:implant_id>/out/", views.implant_out, name="implant-out"),
    path("milestones/add/", views.milestone, name="milestone"),
    path("milestones/<int:milestone_id>/take-back/", views.milestone_take_back, name="milestone-take-back"),
]

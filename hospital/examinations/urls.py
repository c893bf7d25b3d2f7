from django.urls import path

from hospital.examinations import views

app_name = "examinations"
urlpatterns = [
    path("add/", views.add, name="add"),
    path("recheck/", views.recheck, name="recheck"),
    path("<int:examination_id>/edit/", views.edit, name="edit"),
    path("<int:examination_id>/print/", views.print_examination, name="print"),
    path("<int:examination_id>/drawing/", views.drawing, name="drawing"),
    path("<int:examination_id>/drawing/take-over/", views.take_over, name="take-over"),
    path("drawings/", views.drawings, name="drawings"),
    path("marks/<int:mark_id>/away/", views.unmark, name="unmark"),
    path("problems/add/", views.problem_add, name="problem-add"),
    path("problems/<int:problem_id>/edit/", views.problem_edit, name="problem-edit"),
    path("problems/<int:problem_id>/close/", views.problem_close, name="problem-close"),
]

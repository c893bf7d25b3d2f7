from django.urls import path

from hospital.ward import views

app_name = "ward"
urlpatterns = [
    path("treatment-sheet/", views.sheet, name="sheet"),
    path("treatment-sheet/print/", views.printed, name="print"),
    path("treatment-sheet/<case:case_number>/mine/", views.mine, name="mine"),
    path("treatment-sheet/<case:case_number>/sign/", views.sign, name="sign"),
    path("treatment-sheet/<case:case_number>/<slug:what>/<int:row_id>/undo/", views.undo, name="undo"),
]

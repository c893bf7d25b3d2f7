from django.urls import path

from handover.releases import views

app_name = "releases"
urlpatterns = [
    path("release/", views.candidates, name="candidates"),
    path("patients/<case:case_number>/release/", views.criteria, name="criteria"),
    path("patients/<case:case_number>/release/assess/", views.assess, name="assess"),
    path("patients/<case:case_number>/release/go-ahead/", views.go_ahead, name="go-ahead"),
    path("patients/<case:case_number>/release/day/", views.day, name="day"),
    path("patients/<case:case_number>/release/day-sheet/", views.day_sheet, name="day-sheet"),
]

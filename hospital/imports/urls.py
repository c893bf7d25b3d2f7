from django.urls import path

from hospital.imports import views

app_name = "imports"
urlpatterns = [
    path("add/", views.upload, name="upload"),
    path("sample.csv", views.sample, name="sample"),
    path("<uuid:key>/", views.show_import, name="import"),
    path("<uuid:key>/progress/", views.progress, name="progress"),
    path("<uuid:key>/read/", views.read_anew, name="read"),
    path("<uuid:key>/columns/", views.columns, name="columns"),
    path("<uuid:key>/words/", views.words, name="words"),
    path("<uuid:key>/check/", views.check, name="check"),
    path("<uuid:key>/write/", views.write, name="write"),
    path("<uuid:key>/undo/", views.undo, name="undo"),
    path("<uuid:key>/refused.csv", views.refused, name="refused"),
]

from django.urls import path

from hospital.exports import views

app_name = "exports"
urlpatterns = [
    path("", views.records, name="records"),
    path("exports/ask/", views.ask, name="ask"),
    path("exports/<uuid:key>/", views.show_export, name="export"),
    path("exports/<uuid:key>/progress/", views.progress, name="progress"),
    path("exports/<uuid:key>/file/", views.download, name="file"),
]

from django.urls import path

from handover.packs import views

app_name = "packs"
urlpatterns = [
    path("patients/<case:case_number>/pack/", views.pack, name="pack"),
    path("patients/<case:case_number>/pack/make/", views.make, name="make"),
    path("patients/<case:case_number>/pack/<int:version>/", views.page, name="page"),
    path("patients/<case:case_number>/pack/<int:version>/file/", views.file, name="file"),
    path("a/<uuid:key>/", views.code, name="code"),
]

from django.urls import path

from handover.offline import views

app_name = "offline"
urlpatterns = [
    path("worker.js", views.worker, name="worker"),
    path("carer.webmanifest", views.manifest, name="manifest"),
    path("my-animals/kept/", views.kept, name="kept"),
    path("my-animals/no-signal/", views.no_signal, name="no-signal"),
    path("my-animals/on-the-phone/", views.install, name="install"),
    path("my-animals/not-sent/", views.not_sent, name="not-sent"),
]

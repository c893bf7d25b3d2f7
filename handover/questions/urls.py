from django.urls import path

from handover.questions import views

app_name = "questions"
urlpatterns = [
    path("questions/", views.waiting, name="waiting"),
    path("patients/<case:case_number>/questions/", views.questions, name="questions"),
    path("patients/<case:case_number>/questions/ask/", views.ask, name="ask"),
    path("patients/<case:case_number>/questions/card/", views.card, name="card"),
    path("patients/<case:case_number>/questions/photos/<uuid:key>/", views.photo, name="photo"),
    path("patients/<case:case_number>/questions/<uuid:key>/say/", views.say, name="say"),
    path("patients/<case:case_number>/questions/<uuid:key>/close/", views.close, name="close"),
    path("patients/<case:case_number>/questions/<uuid:key>/read/", views.read, name="read"),
]

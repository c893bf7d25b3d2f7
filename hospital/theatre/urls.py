from django.urls import path

from hospital.theatre import views

app_name = "theatre"
urlpatterns = [
    path("theatre/", views.day, name="day"),
    path("patients/<case:case_number>/theatre/plan/", views.plan, name="plan"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/", views.record, name="record"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/change/", views.change, name="change"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/call-off/", views.call_off, name="call-off"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/begin/", views.begin, name="begin"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/check/", views.check, name="check"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/same/", views.same, name="same"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/step/", views.step, name="step"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/moments/", views.moments, name="moments"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/next/", views.what_next, name="next"),
    path("patients/<case:case_number>/theatre/<int:anaesthetic_id>/anaesthetic.pdf", views.print_record, name="print"),
]

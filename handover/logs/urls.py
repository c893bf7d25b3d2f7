from django.urls import path

from handover.logs import paper_views, views

app_name = "logs"
urlpatterns = [
    path("my-animals/", views.mine, name="mine"),
    path("reports/worrying/", views.worrying, name="worrying"),
    path("patients/<case:case_number>/today/", views.day, name="day"),
    path("patients/<case:case_number>/today/<day:on>/", views.ahead, name="ahead"),
    path("patients/<case:case_number>/today/send/", views.send, name="send"),
    path("patients/<case:case_number>/paper/", paper_views.paper, name="paper"),
    path("patients/<case:case_number>/guide/", views.guide, name="guide"),
    path("patients/<case:case_number>/coming/", views.coming, name="coming"),
    path("patients/<case:case_number>/reports/", views.past, name="past"),
    path("patients/<case:case_number>/reports/card/", views.card, name="card"),
    path("patients/<case:case_number>/reports/<uuid:key>/", views.answer, name="answer"),
    path("patients/<case:case_number>/reports/<uuid:key>/correct/", views.correct, name="correct"),
    path("patients/<case:case_number>/reports/<uuid:key>/photo/", views.photo, name="photo"),
    path("patients/<case:case_number>/reports/<uuid:key>/photo/part/", views.photo_part, name="photo-part"),
    path("patients/<case:case_number>/reports/<uuid:key>/seen/", views.seen, name="seen"),
    path("patients/<case:case_number>/reports/<uuid:key>/unsee/", views.unsee, name="unsee"),
    path("patients/<case:case_number>/reports/<uuid:key>/bandages/<int:bandage_id>/off/", views.bandage_off, name="bandage-off"),
    path("patients/<case:case_number>/water/", views.water, name="water"),
    path("patients/<case:case_number>/water/card/", views.water_card, name="water-card"),
    path("patients/<case:case_number>/water/step/", views.water_step, name="water-step"),
    path("patients/<case:case_number>/water/clear/", views.water_clear, name="water-clear"),
]

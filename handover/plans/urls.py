from django.urls import path

from handover.plans import telling, together, views

app_name = "plans"
urlpatterns = [
    path("patients/<case:case_number>/plan/", views.plan, name="plan"),
    path("patients/<case:case_number>/plan/replan/", views.replan, name="replan"),
    path("patients/<case:case_number>/plan/publish/", views.publish, name="publish"),
    path("patients/<case:case_number>/plan/what-if/", views.what_if, name="what-if"),
    path("patients/<case:case_number>/plan/what-moves/", views.what_moves, name="what-moves"),
    path("patients/<case:case_number>/plan/known/", telling.known, name="known"),
    path("patients/<case:case_number>/plan/next-card/", views.next_card, name="next-card"),
    path("patients/<case:case_number>/plan/pins/add/", views.pin, name="pin"),
    path("patients/<case:case_number>/plan/pins/<int:pk>/end/", views.unpin, name="unpin"),
    path("patients/<case:case_number>/plan/holds/add/", views.hold, name="hold"),
    path("patients/<case:case_number>/plan/holds/<int:pk>/end/", views.unhold, name="unhold"),
    path("patients/<case:case_number>/plan/windows/add/", views.choose, name="choose"),
    path("patients/<case:case_number>/plan/windows/<int:pk>/end/", views.unchoose, name="unchoose"),
    path("carers/<int:carer_id>/visits-together/", together.together, name="together"),
    path("carers/<int:carer_id>/visits-together/publish/", together.publish, name="together-publish"),
    path("patients/<case:case_number>/plan/versions/", views.versions, name="versions"),
    path("patients/<case:case_number>/plan/versions/<int:number>/", views.version, name="version"),
]

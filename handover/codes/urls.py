from django.contrib.auth.decorators import login_not_required
from django.urls import path

from handover.codes import views

app_name = "codes"
urlpatterns = [
    path("a/", login_not_required(views.type_code), name="type"),
    path("a/<code:code>/", login_not_required(views.log), name="log"),
    path("a/<code:code>/answer/<uuid:key>/", login_not_required(views.answer), name="answer"),
    path("patients/<case:case_number>/code/stop/", views.stop, name="stop"),
]

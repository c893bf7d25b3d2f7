from django.contrib.auth.decorators import login_not_required
from django.urls import path

from handover.feeds import views

app_name = "feeds"
urlpatterns = [
    path("calendar/", views.calendar, name="calendar"),
    path("calendar/end/", views.end, name="end"),
    path("calendar/<str:token>.ics", login_not_required(views.feed), name="feed"),
    path("patients/<case:case_number>/visits/<day:on>.ics", views.visit, name="visit"),
]

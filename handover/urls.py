"""Addresses of what comes next."""

from django.urls import include, path, register_converter

from handover.logs.access import DayConverter

register_converter(DayConverter, "day")

urlpatterns = [
    path("protocols/", include("handover.protocols.urls")),
    path("", include("handover.plans.urls")),
    path("", include("handover.packs.urls")),
    path("", include("handover.logs.urls")),
    path("", include("handover.offline.urls")),
    path("", include("handover.feeds.urls")),
    path("", include("handover.boards.urls")),
    path("", include("handover.releases.urls")),
]

"""Addresses of what comes next."""

from django.urls import include, path, register_converter

from handover.codes.access import CodeConverter
from handover.logs.access import DayConverter

register_converter(DayConverter, "day")
register_converter(CodeConverter, "code")

urlpatterns = [
    path("protocols/", include("handover.protocols.urls")),
    path("", include("handover.plans.urls")),
    path("", include("handover.packs.urls")),
    path("", include("handover.codes.urls")),
    path("", include("handover.logs.urls")),
    path("", include("handover.questions.urls")),
    path("", include("handover.duty.urls")),
    path("", include("handover.offline.urls")),
    path("", include("handover.feeds.urls")),
    path("", include("handover.boards.urls")),
    path("", include("handover.releases.urls")),
]

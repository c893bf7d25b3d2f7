"""The app of what comes next, and who is told."""

from django.apps import AppConfig


class HandoverConfig(AppConfig):
    name = "handover"
    verbose_name = "Handover"

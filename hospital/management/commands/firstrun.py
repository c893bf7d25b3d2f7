"""Print the address of the page that makes the first hospital."""

from __future__ import annotations

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse

from hospital.admissions.models import Species
from hospital.setup.actions import is_empty
from hospital.setup.address import LASTS_S, new_token


class Command(BaseCommand):
    help = "firstrun: for an empty installation, print the secret address of the page that makes its first hospital and coordinator."

    def handle(self, **options) -> None:
        if not is_empty():
            raise CommandError("There are people already: sign in, and invite others.")
        if not Species.objects.exists():
            self.stdout.write("Run loadreference and loadprotocols first, or no species can be admitted.")
        self.stdout.write(f"Open this address within {LASTS_S // 60} minutes. Whoever has it can make the first coordinator:")
        self.stdout.write(settings.SITE_URL + reverse("setup:first", args=[new_token()]))

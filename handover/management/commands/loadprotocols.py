"""Copy the shipped library of protocols and advice into the database."""

from django.core.management.base import BaseCommand

from handover.protocols.reference import load_protocols


class Command(BaseCommand):
    help = (
        "Load protocols, seasons, water time, release criteria and advice. Run loadreference first. Safe to run again."
    )

    def handle(self, **options):
        for what, loaded in load_protocols().items():
            self.stdout.write(f"{what}: {loaded.rows} as in the file, {loaded.removed} removed")

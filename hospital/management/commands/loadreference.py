"""Copy the shipped lists of taxon groups, species and causes into the database."""

from django.core.management.base import BaseCommand

from hospital.admissions.reference import load_reference


class Command(BaseCommand):
    help = "Load taxon groups, species and causes from fixtures/reference. Safe to run again."

    def handle(self, **options):
        for what, loaded in load_reference().items():
            self.stdout.write(
                f"{what}: {loaded.rows} as in the file, {loaded.removed} removed, "
                f"{loaded.still_used} no longer in the file but still in use"
            )

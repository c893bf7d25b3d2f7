"""Make the demonstration: hospitals, people, years of closed cases and the stories that are going on now."""

from __future__ import annotations

import tomllib
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from handover.demo.custody import tell_custody
from handover.demo.formulary import adopt_formulary, mark_example
from handover.demo.history import make_history
from handover.demo.messages import tell_messages
from handover.demo.ordersets import keep_set
from handover.demo.people import invite_people, make_carers, make_hospitals, make_people
from handover.demo.records import tell_records
from handover.demo.register import Register
from handover.demo.stories import Cast, Story
from handover.demo.theatre import Theatre
from handover.demo.ward import tell_ward
from handover.plans.nightly import check_cases
from handover.protocols.actions import adopt_group
from handover.protocols.models import LibraryRow
from hospital.admissions.models import Patient, TaxonGroup
from hospital.audit.acting import acting
from hospital.clock import now
from hospital.sites.models import Hospital

FOLDER = settings.BASE_DIR / "fixtures" / "demo"


class Command(BaseCommand):
    help = __doc__

    @transaction.atomic
    def handle(self, **options) -> None:
        if Hospital.objects.exists():
            raise CommandError("There is a hospital already. The demonstration is made in an empty installation only.")
        files = ("people", "stories", "register", "theatre", "ordersets", "messages")
        read = (tomllib.loads((FOLDER / f"{name}.toml").read_text()) for name in files)
        people, told, register, theatre, ordersets, messages = read
        with acting(None, "demonstration"):
            cast = make_cast(people)
            for row in people["hospital"]:
                self.adopt_everything(cast, row["slug"])
            for row in told["formulary"]:
                hospital = cast.hospitals[row["hospital"]]
                adopt_formulary(row, hospital, by=first_vet(cast, row["hospital"]), at=cast.now)
            mark_example(cast.hospitals["sedge"], by=first_vet(cast, "sedge"), at=cast.now)
            for row in ordersets["set"]:
                keep_set(row, cast.hospitals[row["hospital"]], by=first_vet(cast, row["hospital"]))
            for slug, hospital in cast.hospitals.items():
                carers = [carer for (_, at), carer in cast.carers.items() if at == slug]
                make_history(told["history"], hospital, cast.now, by=first_vet(cast, slug), carers=carers)
            invite_people(people["invitation"], cast.hospitals, cast.people, cast.now)
        cases = sorted(told["case"], key=lambda row: -row["admitted_days_ago"])
        patients = {row["story"]: Story(row, cast).tell() for row in cases}
        Register(register, cast, patients).tell()
        for row in theatre["anaesthetic"]:
            Theatre(row, cast, patients[row["story"]]).tell()
        tell_custody(people, cast)
        tell_ward(cast, cast.hospitals["sedge"], cast.people["priya"])
        tell_records(cast, cast.hospitals["sedge"], cast.people["ruth"])
        tell_messages(messages, cast, patients)
        for _ in check_cases(Patient.objects.in_care()):  # as on any night; the demonstration wakes up to it
            pass
        self.stdout.write(f"{len(cases)} live cases in {len(cast.hospitals)} hospitals.")

    def adopt_everything(self, cast: Cast, slug: str) -> None:
        """The demonstration's vets have adopted the library as it is shipped; a real hospital reads it row by row."""
        for group in TaxonGroup.objects.filter(pk__in=LibraryRow.objects.values("group")):
            adopt_group(group, hospital=cast.hospitals[slug], by=first_vet(cast, slug), at=cast.now)


def make_cast(people: dict) -> Cast:
    zone = ZoneInfo(people["hospital"][0]["zone"])
    moment = now().astimezone(zone)
    hospitals = make_hospitals(people["hospital"], moment.date())
    persons = make_people(people["person"], hospitals, people["password"])
    carers = make_carers(people["carer"], persons, hospitals, moment.date())
    return Cast(hospitals=hospitals, people=persons, carers=carers, now=moment)


def first_vet(cast: Cast, slug: str):
    memberships = cast.hospitals[slug].memberships.filter(role="vet").order_by("pk")
    return memberships.first().person

"""The last day at the cages: meals and fluids written as the nurse went round, the newest one left for whoever looks first."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone

from handover.demo.stories import Cast
from hospital.audit.acting import acting
from hospital.clock import pretending
from hospital.feeding.models import FeedingPlan, FluidPlan
from hospital.people.models import Person
from hospital.sites.models import Hospital
from hospital.ward.actions import attend
from hospital.ward.models import Attended
from hospital.ward.queries import Animal, sheet_of

LEFT = timedelta(hours=2)  # what fell due since then nobody has written yet


def tell_ward(cast: Cast, hospital: Hospital, nurse: Person) -> None:
    """Every seventh meal is not taken."""
    zone = ZoneInfo(hospital.zone)
    sheet = sheet_of(nurse, hospital, (cast.now - timedelta(hours=24)).astimezone(zone), cast.now.astimezone(zone), cast.now)
    for number, (what, pk, due_at) in enumerate(_planned(sheet.animals)):
        if due_at < cast.now - LEFT:
            plan = (FeedingPlan if what == "meal" else FluidPlan).objects.get(pk=pk)
            kind = Attended.Kind.REFUSED if number % 7 == 5 else Attended.Kind.GIVEN
            with pretending(due_at + timedelta(minutes=12)), acting(nurse.pk, "demonstration"), timezone.override(zone):
                attend(plan, by=nurse, due_at=due_at, kind=kind)


def _planned(animals: tuple[Animal, ...]):
    for animal in animals:
        for task in animal.tasks:
            if task.what != "dose":
                for entry in task.entries:
                    yield task.what, task.pk, entry.due_at

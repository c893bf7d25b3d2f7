"""Hospitals, staff and carers of fixtures/demo/people.toml."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from hospital.clock import pretending
from hospital.people.actions import invite
from hospital.people.models import Carer, CarerAway, Membership, Person
from hospital.sites.models import ClosedDay, Hospital


def make_hospitals(rows: list[Mapping[str, Any]], today: date) -> dict[str, Hospital]:
    """Each hospital by its slug, with its closed days counted from today."""
    made = {}
    for row in rows:
        fields = {name: value for name, value in row.items() if name != "closed_day"}
        made[row["slug"]] = hospital = Hospital(**fields)
        hospital.full_clean()
        hospital.save()
        for day in row.get("closed_day", []):
            on = today + timedelta(days=day["in_days"])
            if on.weekday() not in hospital.closed_weekdays:
                ClosedDay.objects.create(hospital=hospital, on=on, reason=day["reason"])
    return made


def make_people(rows: list[Mapping[str, Any]], hospitals: Mapping[str, Hospital], password: str) -> dict[str, Person]:
    """Each person by key. The password is hashed once: hashing it for everybody would take most of the time."""
    made: dict[str, Person] = {}
    for row in rows:
        person = Person(email=row["email"], name=row["name"], phone=row["phone"])
        person.password = next((p.password for p in made.values()), "") or _hashed(person, password)
        person.full_clean()
        person.save()
        made[row["key"]] = person
        Membership.objects.bulk_create(
            Membership(person=person, hospital=hospitals[held["hospital"]], role=held["role"]) for held in row["roles"]
        )
    return made


def _hashed(person: Person, password: str) -> str:
    person.set_password(password)
    return person.password


def invite_people(rows: list[Mapping[str, Any]], hospitals: Mapping[str, Hospital], people: Mapping[str, Person], at: datetime) -> None:
    """Invitations that wait for an answer. Their links were mailed days ago and are told to nobody: a new one can be sent."""
    for row in rows:
        with pretending(at - timedelta(days=row["sent_days_ago"])):
            invite(hospitals[row["hospital"]], by=people[row["by"]], email=row["email"], role=row["role"])


def make_carers(
    rows: list[Mapping[str, Any]], people: Mapping[str, Person], hospitals: Mapping[str, Hospital], today: date
) -> dict[tuple[str, str], Carer]:
    """Each carer's profile by (person, hospital)."""
    made = {}
    for row in rows:
        plain = {k: row[k] for k in ("town", "authority", "taxon_groups", "facilities", "room_for", "experience")}
        carer = Carer(
            person=people[row["person"]],
            hospital=hospitals[row["hospital"]],
            latitude=Decimal(row["latitude"]),
            longitude=Decimal(row["longitude"]),
            authority_ends_on=today + timedelta(days=row["authority_ends_in_days"]),
            **plain,
        )
        carer.full_clean()
        carer.save()
        CarerAway.objects.bulk_create(_away(carer, span, today) for span in row["away"])
        made[row["person"], row["hospital"]] = carer
    return made


def _away(carer: Carer, span: Mapping[str, Any], today: date) -> CarerAway:
    starts, ends = (today + timedelta(days=span[name]) for name in ("from_in_days", "until_in_days"))
    return CarerAway(carer=carer, starts_on=starts, ends_on=ends, note=span.get("note", ""))

"""Plain makers: each gives one saved row that is right in every respect; a test names only what matters to it."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from handover.releases.actions import go_ahead as let_go
from hospital.admissions.actions import take_case_number
from hospital.admissions.models import Patient, Placement, Species, TaxonGroup
from hospital.clock import now
from hospital.medications.models import MedicationOrder
from hospital.people.models import Carer, Membership, Person
from hospital.register import actions as register
from hospital.register.models import RegisterLine, RegisterPage
from hospital.sites.models import Hospital

_numbers = itertools.count(1)
PASSWORD = "a long enough password"


def hospital(**fields) -> Hospital:
    wanted = dict(
        name="Test Hospital",
        slug="test",
        latitude=Decimal("54.5"),
        longitude=Decimal("3.2"),
        phone="01632 960001",
        out_of_hours_phone="01632 960002",
        closed_weekdays=[5, 6],
    )
    return Hospital.objects.create(**wanted | fields)


def person(name: str, at: Hospital, *roles: str) -> Person:
    made = Person(email=f"{name.split()[0].lower()}{next(_numbers)}@example.org", name=name)
    made.set_password(PASSWORD)
    made.save()
    Membership.objects.bulk_create(Membership(person=made, hospital=at, role=role) for role in roles)
    return made


def carer(name: str, at: Hospital, **fields) -> Carer:
    who = person(name, at, "carer")
    wanted = dict(town="Reedham End", taxon_groups=["reptile", "bird", "mammal"], room_for=3)
    return Carer.objects.create(person=who, hospital=at, **wanted | fields)


def group(slug: str = "turtle-freshwater", parents: tuple[str, ...] = ("chelonian", "reptile", "animal")) -> TaxonGroup:
    """A group and its parents, the nearest first."""
    above = None
    for each in reversed(parents):
        above, _ = TaxonGroup.objects.get_or_create(slug=each, defaults={"name": each.capitalize(), "parent": above})
    made, _ = TaxonGroup.objects.get_or_create(slug=slug, defaults={"name": slug.capitalize(), "parent": above})
    return made


def species(scientific_name: str = "Emys orbicularis", common_name: str = "European pond turtle", **fields) -> Species:
    wanted = dict(common_name=common_name, is_aquatic=True, search_text=f"{common_name} {scientific_name}".lower())
    wanted["group"] = fields.pop("group", None) or group()
    return Species.objects.get_or_create(scientific_name=scientific_name, defaults=wanted | fields)[0]


def patient(by: Person, *, at: Hospital | None = None, days_ago: int = 10, **fields) -> Patient:
    wanted = (
        dict(
            hospital=at or by.memberships.first().hospital,
            case_number=take_case_number(),
            species=None,
            admitted_at=now() - timedelta(days=days_ago),
            admitted_by=by,
        )
        | fields
    )
    wanted["species"] = wanted["species"] or species()
    return Patient.objects.create(**wanted)


def placement(of: Patient, carer: Carer | None, *, by: Person | None = None, days_ago: int = 5, **fields) -> Placement:
    of.placements.filter(ended_at=None).update(ended_at=now() - timedelta(days=days_ago))
    return Placement.objects.create(
        patient=of, carer=carer, started_at=now() - timedelta(days=days_ago), placed_by=by or of.admitted_by, **fields
    )


def order(of: Patient, *, by: Person | None = None, **fields) -> MedicationOrder:
    """A course of medicine, once a day for a week from now on, by mouth."""
    wanted = dict(
        drug="Meloxicam", dose_per_kg=1, strength_per_ml=5, weight_g=800, dose_amount=Decimal("0.8"),
        volume_ml=Decimal("0.16"), syringe_ml=1, route="mouth", every_hours=24, doses=7, first_dose_at=now(),
        ordered_by=by or of.admitted_by, ordered_at=now(),
    )  # fmt: skip
    return of.medication_orders.create(**wanted | fields)


def register_page(of: Hospital, by: Person, **words) -> RegisterPage:
    """A page of the register of controlled drugs: ketamine, 100 mg per mL, in the safe."""
    wanted = dict(
        drug="ketamine", form="injection", strength=Decimal(100), strength_unit="mg", location="Drug safe", legal_class="Schedule 2"
    )
    return register.open_page(of, by=by, **wanted | words)


def stock(page: RegisterPage, amount: str, *, by: Person, witness: Person | None = None, **said) -> RegisterLine:
    """Stock received on that page."""
    wanted = dict(done_at=now(), other_party="Test Supplier", source="DN 1", batch="B1", witness=witness)
    return register.receive(page, by=by, amount=Decimal(amount), **wanted | said)


def at(text: str) -> datetime:
    """A moment in UTC: at("2027-03-01 09:30")."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def go_ahead(of: Patient, vet: Person) -> None:
    """A vet lets it go, whatever the criteria say."""
    let_go(of, by=vet, reason="Fit as seen today")

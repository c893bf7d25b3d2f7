"""The answer that a phone gives without signal and the one that the hospital gives to the same report, on many reports."""

import random
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from uuid import uuid4

import pytest
from django.db import transaction

from handover.logs.actions import receive
from handover.logs.hints import answer_hints
from handover.logs.models import Activity, BandageState, Droppings, Eaten
from handover.logs.queries import day_of
from handover.logs.wording import answer_card
from handover.schedule.watertime import Sign
from hospital.clock import now, today
from tests import make

pytestmark = [pytest.mark.xdist_group("browser"), pytest.mark.django_db]

SCRIPT = Path(__file__).resolve().parents[2] / "handover" / "static" / "handover" / "answer.js"
ROUNDS = 120


class Undo(Exception):
    """Takes a report back after its answer was read."""


@pytest.fixture
def animals(adopted, vet, carer):
    """In water time, in its dry days, and one with no water time at all; two have been weighed and have eaten before."""
    found = []
    for closed_days_ago in (20, 5, None):
        patient = make.patient(vet, days_ago=40)
        make.placement(patient, carer, days_ago=15, accepted_at=now())
        if closed_days_ago is not None:
            on = today() - timedelta(closed_days_ago)
            operation = patient.procedures.create(kind="wound-repair", done_on=on, site="left limb", surgeon=vet, recorded_by=vet)
            patient.closures.create(procedure=operation, closed_on=on, material="nylon", count=6, site="left limb")
            for days, grams in ((30, "840"), (12, "812"), (3, "806.5")):
                patient.weights.create(weighed_at=now() - timedelta(days), weight_g=Decimal(grams), weighed_by=vet)
        found.append(patient)
    return found


def a_report(dice: random.Random) -> dict:
    def maybe(values, chance=0.4):
        return dice.choice(values) if dice.random() < chance else ""

    return {
        "water_minutes": dice.choice([None, None, 0, 5, 12, 15, 24, 30, 45, 200]),
        "weight_g": dice.choice([None, None, Decimal(dice.randint(3500, 18000)) / 10, Decimal(dice.randint(7000, 8500)) / 10]),
        "eaten": maybe(Eaten.values, 0.7),
        "droppings": maybe(Droppings.values),
        "bandage": maybe(BandageState.values),
        "activity": maybe(Activity.values),
        "signs": [str(sign) for sign in Sign if dice.random() < 0.03],
        "happened": [each for each in ("carer_hurt", "escaped", "died") if dice.random() < 0.02],
    }


def told_by_the_hospital(patient, carer, report: dict) -> dict:
    try:
        with transaction.atomic():
            entry = receive(patient, by=carer.person, key=uuid4(), made_at=now(), on=today(patient.hospital.zone), **report).entry
            card = answer_card(entry)
            found = {"answer": entry.answer, "phone": card.phone, "whys": [each["why"] for each in entry.reasons if "why" in each]}
            raise Undo
    except Undo:
        return found | {"reasons": list(card.reasons)}


def test_the_phone_answers_as_the_hospital_does(chromium, animals, carer):
    dice = random.Random(1)
    cases: list[list] = []
    expected: list[dict] = []
    on = today()
    for patient in animals:
        for n in range(ROUNDS // len(animals)):
            if n == ROUNDS // len(animals) // 2:  # from here on with an earlier report of the day
                receive(patient, by=carer.person, key=uuid4(), made_at=now(), on=on, water_minutes=5, eaten="some")
            report = a_report(dice)
            hints = answer_hints(day_of(patient, on))
            expected.append(told_by_the_hospital(patient, carer, report))
            grams = float(report["weight_g"]) if report["weight_g"] is not None else None
            cases.append([hints, report | {"weight_g": grams, "not_taken": 0}])
    page = chromium.new_page()
    page.add_script_tag(content=SCRIPT.read_text())

    told = page.evaluate("cases => cases.map(([hints, said]) => answerReport(hints, said))", cases)
    page.close()

    assert [each["whys"] for each in told] == [each["whys"] for each in expected]
    assert [(each["answer"], each["phone"]) for each in told] == [(each["answer"], each["phone"]) for each in expected]
    assert [each["reasons"] for each in told] == [each["reasons"] for each in expected]
    assert len({why for each in expected for why in each["whys"]}) >= 12  # the reports reach most reasons

"""The end of a case, and its reopening."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from hospital.admissions.models import Patient, Weight
from hospital.audit.queries import history_of
from hospital.clock import now, today
from hospital.medications.actions import order_medication
from hospital.outcomes import actions
from hospital.outcomes.models import Outcome, Reopening
from hospital.outcomes.queries import distance_m
from tests import make

pytestmark = pytest.mark.django_db


def url(name, patient):
    return reverse(f"outcomes:{name}", args=[patient.case_number])


def days_ago(days):
    return today("Europe/London") - timedelta(days=days)


def ended(by, **fields):
    """The outcome page as a browser sends it."""
    data = {"kind": "died", "happened_on": days_ago(0).isoformat(), "decided_by": by.pk, "reason": "", "place": ""}
    return data | {"latitude": "", "longitude": ""} | fields


def confirmed(by, **fields):
    return ended(by, **fields) | {"confirmed": "1"}


RELEASED = {"kind": "released", "place": "Reed bed at the weir", "latitude": "54.51", "longitude": "3.21"}


def words(answer):
    return answer.content.decode()


@pytest.fixture
def fit(patient, vet):
    make.go_ahead(patient, vet)


# --- who may ------------------------------------------------------------------------------------------------------


def test_staff_record_an_outcome_and_nobody_else(client, patient, vet, nurse, coordinator, carer, stranger):
    make.placement(patient, carer)
    expected = {vet: 200, nurse: 200, coordinator: 200, carer.person: 403, stranger: 404}

    answers = {}
    for person in expected:
        client.force_login(person)
        answers[person] = client.get(url("record", patient)).status_code

    assert answers == expected


def test_vets_and_coordinators_open_a_case_again(client, patient, vet, nurse, coordinator, carer, stranger):
    expected = {vet: 200, nurse: 403, coordinator: 200, carer.person: 404, stranger: 404}

    answers = {}
    for person in expected:
        client.force_login(person)
        answers[person] = client.get(url("reopen", patient)).status_code

    assert answers == expected


# --- distances ----------------------------------------------------------------------------------------------------


def test_a_distance_is_that_of_the_wgs84_ellipsoid(vet):
    # GeographicLib for Python, manual, "Examples": Wellington to Salamanca, 19959679.267 m.
    wellington = {"found_latitude": Decimal("-41.32"), "found_longitude": Decimal("174.81")}
    patient = make.patient(vet, **wellington)

    assert distance_m(patient, Decimal("40.96"), Decimal("-5.50")) == 19959679


def test_a_distance_between_unknown_places_is_not_known(patient):
    assert distance_m(patient, Decimal("54.5"), Decimal("3.2")) is None


# --- checking, then saving ----------------------------------------------------------------------------------------


def test_what_was_written_is_read_once_more_before_it_closes_the_case(client, vet):
    patient = make.patient(
        vet, found_latitude=Decimal("54.50"), found_longitude=Decimal("3.21"), found_uncertainty_m=300
    )
    make.go_ahead(patient, vet)
    client.force_login(vet)

    answer = client.post(url("record", patient), ended(vet, **RELEASED))

    text = words(answer).replace("\N{NO-BREAK SPACE}", " ")
    assert answer.status_code == 200
    assert "Check before it is saved" in text
    assert "1.1 km" in text  # 0.01 degrees of latitude; a degree is about 111.3 km at 54.5 north (WGS 84)
    assert "known to 300 m" in text
    assert Outcome.objects.count() == 0


@pytest.mark.usefixtures("fit")
def test_changing_something_goes_back_to_the_form_with_everything_typed(client, patient, vet):
    client.force_login(vet)

    answer = client.post(url("record", patient), ended(vet, **RELEASED, reason="Flew well") | {"change": "1"})

    assert answer.status_code == 200
    for piece in ("Flew well", "Reed bed at the weir", "54.51", "Check before saving"):
        assert piece in words(answer)
    assert Outcome.objects.count() == 0


@pytest.mark.usefixtures("fit")
def test_saving_closes_the_case_its_placement_and_its_courses_together(client, patient, vet, carer):
    placement = make.placement(patient, carer)
    Weight.objects.create(patient=patient, weighed_at=now(), weight_g=800)
    course = {
        "drug": "meloxicam", "dose_per_kg": Decimal("0.2"), "strength_per_ml": Decimal(5), "route": "muscle", "every_hours": 24,
        "instruction": "", "is_weight_checked": False, "is_warning_read": False, "dose_reason": "On the ward round",
        "dose_unit": "mg", "strength_unit": "mg", "seen_weight_g": None,
    }  # fmt: skip
    over = order_medication(patient, by=vet, doses=1, first_dose_at=now() - timedelta(days=3), **course)
    runs = order_medication(patient, by=vet, doses=5, first_dose_at=now(), **course)
    client.force_login(vet)

    answer = client.post(url("record", patient), confirmed(vet, **RELEASED))

    assert answer.status_code == 302
    for row in (patient, placement, over, runs):
        row.refresh_from_db()
    assert (patient.closed_on, patient.version) == (days_ago(0), 2)
    assert placement.ended_at is not None
    assert (over.stopped_on, runs.stopped_on, runs.stop_reason) == (None, days_ago(0), "Released")
    assert Outcome.objects.get().place == "Reed bed at the weir"


def test_a_carer_no_longer_sees_an_animal_whose_case_is_closed(client, patient, vet, carer):
    make.placement(patient, carer)

    actions.record_outcome(
        patient,
        by=vet,
        kind="died",
        happened_on=days_ago(0),
        reason="",
        place="",
        latitude=None,
        longitude=None,
        decided_by=vet,
    )

    assert not Patient.objects.visible_to(carer.person).exists()


def test_an_outcome_of_an_earlier_day_ends_the_placement_on_that_day(client, patient, vet, carer):
    placement = make.placement(patient, carer, days_ago=5)
    client.force_login(vet)

    client.post(url("record", patient), confirmed(vet, happened_on=days_ago(2).isoformat()))

    placement.refresh_from_db()
    assert placement.ended_at.date() == days_ago(2)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"kind": ""}, "Choose how the case ended."),
        ({"happened_on": days_ago(-1).isoformat()}, "in the future"),
        ({"happened_on": days_ago(30).isoformat()}, "before admission"),
        ({"kind": "euthanased"}, "Give the reason for euthanasia."),
        ({"kind": "released", "place": ""}, "Say in words where it went."),
        ({"kind": "transferred"}, "Say in words where it went."),
        (RELEASED | {"latitude": "", "longitude": ""}, "Give the point on the map at which it was released."),
        (RELEASED | {"longitude": ""}, "Write a latitude and a longitude"),
        (RELEASED | {"latitude": "95"}, "A latitude lies between -90 and 90 degrees"),
        ({"kind": "dead_on_arrival"}, "Dead on arrival is the day of admission"),
    ],
)
@pytest.mark.parametrize("step", [ended, confirmed])
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(client, patient, vet, step, fields, sentence):
    client.force_login(vet)

    answer = client.post(url("record", patient), step(vet, **fields))

    assert answer.status_code == 422
    assert sentence in words(answer)
    assert Outcome.objects.count() == 0
    assert Patient.objects.get().closed_on is None


@pytest.mark.parametrize("step", [ended, confirmed])
def test_a_release_that_nobody_judged_fit_is_not_saved_until_a_vet_lets_it_go(client, patient, vet, coordinator, step):
    client.force_login(coordinator)

    answer = client.post(url("record", patient), step(vet, **RELEASED))

    assert answer.status_code == 422
    assert "No release criteria are in force for this animal’s group." in words(answer)
    assert Outcome.objects.count() == 0

    make.go_ahead(patient, vet)
    client.post(url("record", patient), confirmed(vet, **RELEASED))
    assert Outcome.objects.get().kind == "released"


@pytest.mark.usefixtures("fit")
def test_letting_go_once_does_not_let_go_again_after_the_case_was_reopened(client, patient, vet):
    client.force_login(vet)
    client.post(url("record", patient), confirmed(vet, **RELEASED))
    client.post(url("reopen", patient), {"reason": "Found again in the yard"})

    answer = client.post(url("record", patient), confirmed(vet, **RELEASED))

    assert answer.status_code == 422
    assert Outcome.objects.count() == 0


def test_euthanasia_is_decided_by_a_vet(client, patient, vet, coordinator):
    client.force_login(coordinator)
    euthanased = {"kind": "euthanased", "reason": "Spine severed"}

    own = client.post(url("record", patient), confirmed(coordinator, **euthanased))
    by_vet = client.post(url("record", patient), confirmed(vet, **euthanased))

    assert (own.status_code, by_vet.status_code) == (422, 302)
    assert "Euthanasia is decided by a vet." in words(own)


def test_an_outcome_is_not_before_what_was_recorded_later(client, patient, vet):
    Weight.objects.create(patient=patient, weighed_at=now(), weight_g=800)
    client.force_login(vet)

    answer = client.post(url("record", patient), confirmed(vet, happened_on=days_ago(3).isoformat()))

    assert answer.status_code == 422
    assert "Something was recorded for this animal on" in words(answer)


def test_a_case_ends_once(client, patient, vet):
    client.force_login(vet)
    client.post(url("record", patient), confirmed(vet))

    again = client.post(url("record", patient), confirmed(vet, kind="escaped"))
    with pytest.raises(actions.ValidationError, match="This case was closed on"):
        actions.record_outcome(patient, by=vet, kind="escaped", happened_on=days_ago(0), reason="", place="",
                               latitude=None, longitude=None, decided_by=vet)  # fmt: skip

    assert again.url == reverse("chart:patient", args=[patient.case_number])
    assert Outcome.objects.get().kind == "died"


# --- reopening ----------------------------------------------------------------------------------------------------


@pytest.mark.usefixtures("fit")
def test_a_case_is_opened_again_with_a_reason_and_the_history_keeps_its_outcome(client, patient, vet):
    client.force_login(vet)
    client.post(url("record", patient), confirmed(vet, **RELEASED))
    outcome = Outcome.objects.get()

    without = client.post(url("reopen", patient), {"reason": ""})
    answer = client.post(url("reopen", patient), {"reason": "Found again in the yard"})

    assert (without.status_code, answer.status_code) == (422, 302)
    patient.refresh_from_db()
    assert (patient.closed_on, patient.version) == (None, 3)
    kept = Reopening.objects.get()
    assert (kept.outcome_kind, kept.outcome_on, kept.reopened_by) == ("released", days_ago(0), vet)
    assert history_of(outcome).first().before["place"] == "Reed bed at the weir"


def test_an_open_case_is_not_opened_again(client, patient, vet):
    client.force_login(vet)

    answer = client.post(url("reopen", patient), {"reason": "Why not"})

    assert answer.status_code == 422
    assert "This case is already open." in words(answer)

"""Samples and their results."""

from datetime import timedelta
from decimal import Decimal

import pint
import pytest
from django.urls import reverse

from hospital.audit.models import AuditEntry
from hospital.clock import today
from hospital.labs.actions import record_sample
from hospital.labs.models import Finding, Sample
from hospital.labs.queries import trends
from hospital.labs.vocabulary import UNITS
from hospital.labs.wording import range_line, value_line
from tests import make

pytestmark = pytest.mark.django_db


def url(name, patient, *args):
    return reverse(f"labs:{name}", args=[patient.case_number, *args])


def days_ago(days):
    return today("Europe/London") - timedelta(days=days)


def said(*lines, **fields):
    """What the form sends, with lines of (name, result, unit, from, to)."""
    sent = {"kind": "blood", "taken_on": days_ago(1).isoformat(), "lines-TOTAL_FORMS": str(max(6, len(lines))), "lines-INITIAL_FORMS": "0"}
    for n, line in enumerate(lines):
        sent |= {f"lines-{n}-{name}": value for name, value in zip(("name", "result", "unit", "low", "high"), line, strict=False)}
    if lines:
        sent |= {"resulted_on": days_ago(0).isoformat()}
    return sent | fields


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


@pytest.mark.parametrize(
    ("name", "statuses"), [("samples", [200, 200, 200, 403, 404]), ("add", [200, 200, 403, 403, 404])]
)
def test_who_may(client, patient, vet, nurse, coordinator, carer, stranger, name, statuses):
    make.placement(patient, carer)
    answers = []
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        answers.append(client.get(url(name, patient)).status_code)

    assert answers == statuses


def test_a_sample_waits_on_the_chart_until_its_result_is_written(client, patient, nurse):
    client.force_login(nurse)

    client.post(url("add", patient), said(kind="swab", site="left wing", laboratory="Far Lab"))
    sample = Sample.objects.get()
    waiting = text(client.get(reverse("chart:patient", args=[patient.case_number])))
    client.post(url("edit", patient, sample.pk), said(("Growth", "no growth"), kind="swab", site="left wing", seen_version="1"))
    answered = text(client.get(reverse("chart:patient", args=[patient.case_number])))

    assert "no result yet (Far Lab)" in waiting
    assert "no result yet" not in answered
    assert "Growth: no growth" in answered


def test_numbers_and_words_are_told_apart(client, patient, vet):
    client.force_login(vet)

    client.post(url("add", patient), said(("PCV", "24,5", "%"), ("Lead", "<5", "µg/dL"), ("Eggs", "many")))

    assert [(f.value, f.words, value_line(f)) for f in Finding.objects.all()] == [
        (Decimal("24.5"), "", "24.5\xa0%"), (None, "<5", "<5 µg/dL"), (None, "many", "many"),
    ]  # fmt: skip


def test_outside_the_range_is_said_in_words(client, patient, vet):
    client.force_login(vet)
    client.post(url("add", patient), said(("Lead", "38", "µg/dL", "", "20"), ranges_of="Far Lab, its own"))

    page = text(client.get(url("samples", patient)))

    assert "above the range" in page
    assert "Ranges: Far Lab, its own" in page
    assert range_line(Finding.objects.get()) == "up to 20"


@pytest.mark.parametrize(
    ("lines", "fields", "sentence"),
    [
        ([("PCV", "")], {}, "Write the number or the words."),
        ([("", "12")], {}, "Say what was looked for or measured."),
        ([("PCV", "12", "%", "9", "4")], {"ranges_of": "x"}, "The range ends before it begins."),
        ([("PCV", "12", "%", "4", "9")], {}, "Say whose ranges these are."),
        ([("PCV", "12", "%", "four", "9")], {"ranges_of": "x"}, "Write a number, for example 4.5."),
        ([("PCV", "12")], {"resulted_on": ""}, "Give the day of the result."),
        ([("PCV", "12")], {"resulted_on": days_ago(3).isoformat()}, "This is before the sample was taken."),
        ([], {"resulted_on": days_ago(0).isoformat()}, "Write what was found"),
        ([], {"taken_on": days_ago(-2).isoformat()}, "This day is in the future."),
        ([], {"kind": ""}, "Choose what was sampled."),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_lost(client, patient, vet, lines, fields, sentence):
    client.force_login(vet)

    answer = client.post(url("add", patient), said(*lines, question="Kept words", **fields))

    assert answer.status_code == 422
    assert sentence in text(answer)
    assert "Kept words" in text(answer)
    assert not Sample.objects.exists()


def test_the_same_form_sent_again_is_stored_once(client, patient, vet):
    client.force_login(vet)
    key = client.get(url("add", patient)).context["form"]["key"].value()

    for _ in range(2):
        assert client.post(url("add", patient), said(("PCV", "24", "%"), key=str(key))).status_code == 302

    assert Sample.objects.count() == 1


def test_more_lines_are_added_and_nothing_typed_is_lost(client, patient, vet):
    client.force_login(vet)

    answer = client.post(url("add", patient), said(("PCV", "24", "%"), more="lines"))

    assert answer.status_code == 200
    assert len(answer.context["form"].lines.forms) == 12
    assert 'value="24"' in text(answer)
    assert not Sample.objects.exists()


def test_a_correction_keeps_the_former_value_and_two_who_correct_at_once_see_both(client, patient, vet):
    client.force_login(vet)
    client.post(url("add", patient), said(("PCV", "42", "%"), ("Lead", "5", "µg/dL")))
    sample = Sample.objects.get()

    first = client.post(url("edit", patient, sample.pk), said(("PCV", "24", "%"), seen_version="1"))
    second = client.post(url("edit", patient, sample.pk), said(("PCV", "25", "%"), seen_version="1", conclusion="Mine"))

    assert (first.status_code, second.status_code) == (302, 409)
    assert [(f.name, f.value) for f in sample.findings.all()] == [("PCV", 24)]
    changed = AuditEntry.objects.filter(table="hospital_finding").values_list("action", flat=True)
    assert sorted(changed) == ["delete", "insert", "insert", "update"]


def test_one_quantity_in_one_unit_over_days_makes_a_trend(patient, vet):
    for days, value, unit in ((9, "19", "%"), (5, "24", "%"), (2, "0.3", "L/L")):
        line = {"name": "PCV", "value": Decimal(value), "words": "", "unit": unit}
        record_sample(patient, by=vet, kind="blood", taken_on=days_ago(days), resulted_on=days_ago(days), findings=[line])

    [trend] = trends(list(patient.samples.all()))

    assert (trend.unit, [finding.value for _on, finding in trend.findings]) == ("%", [19, 24])


def test_the_units_that_are_offered_are_units():
    """Every one is read by pint, an independent library of units; the written powers of ten are UCUM's 10*9 and 10*12."""
    units = pint.UnitRegistry()
    plain = [each.replace("10⁹", "1e9 ").replace("10¹²", "1e12 ").replace("U/L", "enzyme_unit/L").replace("%", "percent") for each in UNITS]

    read = [units.parse_expression(each.replace("1e9 /", "1e9/").replace("1e12 /", "1e12/").lstrip("/") or "1") for each in plain]

    assert len(read) == len(UNITS)


def test_another_patients_sample_is_not_there(client, patient, vet):
    sample = record_sample(make.patient(vet), by=vet, kind="blood", taken_on=days_ago(1))
    client.force_login(vet)

    assert client.get(url("edit", patient, sample.pk)).status_code == 404


# --- withdrawn, and under the right animal ------------------------------------------------------------------------


def test_a_sample_under_the_wrong_animal_is_withdrawn_there_and_recorded_whole_under_the_right_one(client, patient, vet, nurse):
    right = make.patient(vet)
    wrong = record_sample(
        patient, by=vet, kind="blood", taken_on=days_ago(2), resulted_on=days_ago(1), ranges_of="Far Lab", conclusion="Poisoned",
        findings=[{"name": "Lead", "value": Decimal("38.5"), "unit": "µg/dL", "high": Decimal(20)}],
    )  # fmt: skip
    client.force_login(nurse)
    sent = {"why": "Tubes mixed up", "to": right.case_number.lower()}

    page = text(client.post(url("withdraw", patient, wrong.pk), sent, follow=True))
    again = client.post(url("withdraw", patient, wrong.pk), sent)

    moved = right.samples.get()
    assert (moved.taken_by, moved.taken_on, moved.conclusion, moved.moved_from.pk) == (vet, days_ago(2), "Poisoned", wrong.pk)
    assert [value_line(each).replace("\xa0", " ") for each in moved.findings.all()] == ["38.5 µg/dL"]
    assert f"Recorded at first under {patient} by mistake" in page
    assert not patient.samples.exists()
    assert again.status_code == 422
    former = text(client.get(url("samples", patient)))
    assert "Withdrawn by Nina Nurse" in former
    assert "Tubes mixed up" in former
    assert f"Now recorded under {right}" in former
    assert "Poisoned" not in text(client.get(reverse("chart:patient", args=[patient.case_number])))
    assert "Poisoned" in text(client.get(reverse("chart:patient", args=[right.case_number])))
    assert AuditEntry.objects.filter(table="hospital_sample", row_id=str(wrong.pk), action="update").exists()


@pytest.mark.parametrize(
    ("to", "sentence"),
    [
        ("itself", "under which it is recorded now"),
        ("stranger's", "has no animal of the number"),
        ("22223", "No case has the number"),
        ("younger", "This is before admission"),
        ("closed", "This case was closed"),
    ],
)
def test_it_goes_to_no_animal_that_cannot_have_it_and_stays_where_it_is(client, patient, vet, stranger, to, sentence):
    sample = record_sample(patient, by=vet, kind="blood", taken_on=days_ago(2))
    others = {
        "itself": patient,
        "stranger's": make.patient(stranger),
        "younger": make.patient(vet, days_ago=0),
        "closed": make.patient(vet, closed_on=days_ago(0)),
    }
    number = others[to].case_number if to in others else to
    client.force_login(vet)

    answer = client.post(url("withdraw", patient, sample.pk), {"why": "Mixed up", "to": number})

    assert answer.status_code == 422
    assert sentence in text(answer)
    assert f'value="{number}"' in answer.content.decode()
    assert patient.samples.get() == sample
    assert Sample.written.count() == 1


def test_a_sample_that_was_a_mistake_is_only_withdrawn_and_edited_no_more(client, patient, vet):
    sample = record_sample(patient, by=vet, kind="blood", taken_on=days_ago(2))
    client.force_login(vet)

    silent = client.post(url("withdraw", patient, sample.pk), {"why": "", "to": ""})
    client.post(url("withdraw", patient, sample.pk), {"why": "Never taken", "to": ""})

    assert silent.status_code == 422
    assert "Say why it is withdrawn" in text(silent)
    assert Sample.written.get().withdrawn_why == "Never taken"
    assert client.get(url("edit", patient, sample.pk)).status_code == 404


def test_who_may_withdraw_a_sample(client, patient, vet, nurse, coordinator, carer, stranger):
    sample = record_sample(patient, by=vet, kind="blood", taken_on=days_ago(2))
    make.placement(patient, carer)

    answers = []
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        answers.append(client.get(url("withdraw", patient, sample.pk)).status_code)

    assert answers == [200, 200, 403, 403, 404]

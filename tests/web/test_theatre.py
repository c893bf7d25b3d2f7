"""The theatre: the day's list, the readings, recovery, the print, and who may."""

from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pypdf
import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.timezone import localtime

from hospital.audit.models import AuditEntry
from hospital.clock import now, pretending, today
from hospital.edits import EditCollision
from hospital.medications.actions import give_dose
from hospital.register.actions import use
from hospital.rules.anaesthesia import mark
from hospital.theatre import actions
from hospital.theatre.models import FIGURES, Stage, TheatreReading
from hospital.theatre.queries import readings_of
from hospital.theatre.views import _chart
from tests import make

pytestmark = pytest.mark.django_db


def url(name, it):
    return reverse(f"theatre:{name}", args=[it.patient.case_number, it.pk])


@pytest.fixture
def planned(patient, vet):
    return actions.plan(patient, by=vet, planned_on=today("Europe/London"), kind="wound-closure", vet=vet, place=1, note="", fasting="")


@pytest.fixture
def begun(planned):
    """Anaesthesia began 40 minutes ago."""
    with pretending(now() - timedelta(minutes=40)):
        return actions.begin(planned, seen_version=1)


def read(it, by, minutes_ago=0, seen_version=0, **said):
    return actions.read(it, by=by, at=now() - timedelta(minutes=minutes_ago), seen_version=seen_version, **said)


def awake(it, by, *steps):
    for name in steps:
        it = actions.take_step(it, name, by=by, seen_version=it.version)
    return it


def sent(it, **said):
    """A reading as a browser sends it."""
    empty = dict.fromkeys((*FIGURES, "depth", "reflexes", "note"), "")
    return empty | {"at": mark(now()).isoformat(), "seen_version": "0"} | said


def test_a_nurse_plans_starts_and_records_with_one_press_each(client, nurse, patient, vet):
    client.force_login(nurse)
    form = {"kind": "wound-closure", "planned_on": f"{today():%Y-%m-%d}", "place": "1", "vet": vet.pk, "fasting": "No food", "note": ""}

    client.post(reverse("theatre:plan", args=[patient.case_number]), form)
    it = patient.anaesthetics.get()
    listed = client.get(reverse("theatre:day")).content.decode()
    client.post(url("begin", it), {"seen_version": "1"})
    client.post(url("record", it), sent(it, heart_per_minute="44", temperature_c="27,5"))

    assert f"Start {patient.case_number}" in listed
    assert "No food" in listed
    it.refresh_from_db()
    assert it.stage == Stage.UNDER
    assert (it.readings.get().heart_per_minute, it.readings.get().temperature_c) == (44, Decimal("27.5"))
    assert it.readings.get().recorded_by == nurse


def test_same_as_before_is_one_press_and_repeats_no_words(client, begun, nurse, vet):
    read(begun, vet, 10, heart_per_minute=40, note="Cut begins")
    client.force_login(nurse)

    client.post(url("same", begun), {"at": now().isoformat()})

    last = readings_of(begun)[-1]
    assert (last.heart_per_minute, last.note, last.recorded_by) == (40, "Same as before", nurse)


def test_a_second_press_does_not_write_over_the_first(begun, vet):
    read(begun, vet, 10, heart_per_minute=40)
    actions.read_same(begun, by=vet, at=now())

    with pytest.raises(EditCollision):
        actions.read_same(begun, by=vet, at=now())

    assert begun.readings.count() == 2


def test_a_correction_keeps_what_was_read_before_and_by_whom(client, begun, nurse, vet):
    read(begun, vet, heart_per_minute=400)
    client.force_login(nurse)

    client.post(url("record", begun), sent(begun, heart_per_minute="40", seen_version="1"))

    (row,) = readings_of(begun)
    assert (row.heart_per_minute, [old.heart_per_minute for old in row.former]) == (40, [400])
    assert "Vera Vet" in client.get(url("record", begun)).content.decode()


def test_two_who_read_the_same_mark_do_not_overwrite_each_other(client, begun, nurse, vet):
    read(begun, vet, heart_per_minute=52)
    client.force_login(nurse)

    answer = client.post(url("record", begun), sent(begun, heart_per_minute="28"))

    assert answer.status_code == 409
    assert 'value="28"' in answer.content.decode()
    assert readings_of(begun)[0].heart_per_minute == 52


def test_readings_can_neither_be_changed_nor_deleted_in_the_database(begun, vet):
    kept = TheatreReading.objects.filter(pk=read(begun, vet, heart_per_minute=52).pk)

    for forge in (lambda: kept.update(heart_per_minute=1), kept.delete):
        with pytest.raises(DatabaseError), transaction.atomic():
            forge()
    assert AuditEntry.objects.filter(table="hospital_theatrereading", action="insert").exists()


def test_a_late_row_is_offered_and_filled(client, begun, nurse):
    client.force_login(nurse)
    late = mark(now() - timedelta(minutes=20))

    page = client.get(url("record", begun)).content.decode()
    client.post(url("record", begun), sent(begun, at=late.isoformat(), breaths_per_minute="6"))

    assert "No reading at" in page
    assert begun.readings.get().at == late


@pytest.mark.parametrize("minutes", [60, -30], ids=["before it began", "in the future"])
def test_a_reading_lies_between_the_beginning_and_now(begun, vet, minutes):
    with pytest.raises(ValidationError, match="between the beginning and now"):
        read(begun, vet, minutes, heart_per_minute=40)


@pytest.mark.parametrize(("name", "typed"), [("spo2_percent", "101"), ("heart_per_minute", "many"), ("temperature_c", "-3")])
def test_a_slip_of_the_hand_is_said_at_its_box_and_nothing_is_lost(client, begun, nurse, name, typed):
    client.force_login(nurse)

    answer = client.post(url("record", begun), sent(begun, note="kept", **{name: typed}))

    assert answer.status_code == 422
    assert 'value="kept"' in answer.content.decode()
    assert f'value="{typed}"' in answer.content.decode()
    assert not begun.readings.exists()


def test_an_empty_reading_is_refused(client, begun, nurse):
    client.force_login(nurse)

    assert "Nothing is written" in client.post(url("record", begun), sent(begun)).content.decode()


def test_no_box_holds_a_figure_that_nobody_read(client, begun, nurse, vet):
    read(begun, vet, 10, heart_per_minute=47)
    client.force_login(nurse)

    page = client.get(url("record", begun)).content.decode()

    assert 'data-last="47"' in page
    assert 'value="47"' not in page


def test_recovered_needs_righted_and_somebody_who_says_so(begun, nurse):
    it = awake(begun, nurse, "gas_off_at", "extubated_at")

    with pytest.raises(ValidationError, match="not the next step"):
        awake(it, nurse, "recovered_at")
    it = awake(it, nurse, "righted_at", "recovered_at")

    assert (it.stage, it.recovered_by) == (Stage.DONE, nurse)


def test_a_look_that_is_overdue_is_shown_on_the_list_and_on_the_record(client, begun, nurse):
    with pretending(now() - timedelta(minutes=20)):
        awake(begun, nurse, "gas_off_at", "extubated_at")
    client.force_login(nurse)

    assert "Look at it now" in client.get(url("record", begun)).content.decode()
    assert "Look at it: due" in client.get(reverse("theatre:day")).content.decode()
    read(begun, nurse, temperature_c=Decimal(26))
    assert "Look at it now" not in client.get(url("record", begun)).content.decode()


def test_a_turtle_that_wakes_is_kept_out_of_the_water(client, begun, nurse):
    awake(begun, nurse, "gas_off_at")
    client.force_login(nurse)

    page = client.get(url("record", begun)).content.decode()

    assert "Reptiles wake slowly" in page
    assert "Keep it out of water" in page


def test_an_animal_is_under_one_anaesthetic_at_a_time(begun, patient, vet):
    again = actions.plan(patient, by=vet, planned_on=today("Europe/London"), kind="", vet=vet, place=2, note="", fasting="")

    with pytest.raises(ValidationError, match="has not recovered"):
        actions.begin(again, seen_version=1)


def test_what_has_begun_cannot_be_called_off_and_what_was_called_off_cannot_begin(begun, patient, vet):
    with pytest.raises(ValidationError, match="begun already"):
        actions.call_off(begun, seen_version=begun.version, called_off="No")
    other = actions.plan(patient, by=vet, planned_on=today("Europe/London"), kind="", vet=vet, place=2, note="", fasting="")
    other = actions.call_off(other, seen_version=1, called_off="Ate an hour ago")
    with pytest.raises(ValidationError, match="Ate an hour ago"):
        actions.begin(other, seen_version=2)


def test_what_was_not_checked_is_said_and_the_check_is_kept(client, planned, nurse):
    client.force_login(nurse)
    before = client.get(url("record", planned)).content.decode()
    form = {"asa": "3", "is_emergency": "on", "fasted": "yes", "is_machine_checked": "on", "tube": "tracheal", "tube_mm": "2.5",
            "ventilation": "assisted", "rate_per_minute": "4", "peak_cmh2o": "10", "agents": "Isoflurane in oxygen", "fluids": "",
            "warmth": "Warm pad", "check_every_minutes": "30", "seen_version": "1"}  # fmt: skip

    client.post(url("check", planned), form)

    after = client.get(url("record", planned)).content.decode()
    planned.refresh_from_db()
    assert "machine and circuit checked, no leak" in before
    assert "<li>machine and circuit" not in after
    assert "<li>weighed today" in after
    assert (planned.asa, planned.tube_mm, planned.checked_by) == ("3", Decimal("2.5"), nurse)


def test_rate_and_pressure_are_for_breathing_that_is_helped(planned, vet):
    with pytest.raises(ValidationError, match="breathes by itself"):
        actions.check(planned, by=vet, seen_version=1, ventilation="spontaneous", rate_per_minute=6)


def test_times_are_corrected_in_order_only(client, begun, nurse):
    client.force_login(nurse)
    early, wrong = now() - timedelta(minutes=30), now() - timedelta(minutes=50)
    form = {"extubated_at": "", "righted_at": "", "recovered_at": "", "seen_version": str(begun.version)}

    refused = client.post(url("moments", begun), form | {"begun_at": f"{early:%Y-%m-%dT%H:%M}", "gas_off_at": f"{wrong:%Y-%m-%dT%H:%M}"})

    assert refused.status_code == 422
    assert "not in order" in refused.content.decode()
    begun.refresh_from_db()
    assert begun.gas_off_at is None


def test_the_chart_stands_on_the_page_and_in_a_pdf_that_another_reader_reads(client, begun, nurse, vet):
    for minutes, beats in ((30, 44), (25, 46), (20, 48)):
        read(begun, vet, minutes, heart_per_minute=beats, vaporiser_percent=Decimal("2.5"))
    client.force_login(nurse)

    page = client.get(url("record", begun)).content.decode()
    answer = client.get(url("print", begun))

    text = " ".join(each.extract_text() for each in pypdf.PdfReader(BytesIO(answer.content)).pages)
    assert page.count('class="run"') == 2
    assert answer["Content-Type"] == "application/pdf"
    assert begun.patient.case_number in text
    assert "48" in text
    assert "Vera Vet" in text


def test_the_lines_of_the_printed_chart_are_lines_without_a_style_sheet(begun, vet):
    """The SVG of a PDF reads no style sheet: a line that only a sheet keeps from being filled would be a black patch."""
    for minutes, beats in ((30, 44), (25, 46), (20, 40)):
        read(begun, vet, minutes, heart_per_minute=beats)

    svg = render_to_string("theatre/_chart.html", {"chart": _chart(begun, readings_of(begun))})

    (line,) = [each for each in svg.split("<") if each.startswith("polyline")]
    assert 'fill="none"' in line
    assert 'stroke="#000"' in line


def test_what_comes_next_ticks_what_is_recorded_since(client, begun, vet):
    client.force_login(vet)
    before = client.get(url("next", begun)).content.decode()
    make.order(begun.patient, by=vet)

    after = client.get(url("next", begun)).content.decode()

    assert before.count("Recorded</span>") == 0
    assert after.count("Recorded</span>") == 1
    assert reverse("medications:order", args=[begun.patient.case_number]) in after


def test_a_record_knows_the_procedure_it_was_for(client, begun, vet, patient):
    done = patient.procedures.create(kind="wound-closure", done_on=today("Europe/London"), surgeon=vet, recorded_by=vet)
    client.force_login(vet)

    client.post(url("next", begun), {"procedure": done.pk, "seen_version": begun.version})

    begun.refresh_from_db()
    assert begun.procedure == done


def test_the_list_holds_the_day_and_who_has_not_recovered_and_nobody_elses(client, begun, stranger, nurse):
    client.force_login(nurse)
    tomorrow = f"{today() + timedelta(days=1):%Y-%m-%d}"
    assert begun.patient.case_number in client.get(reverse("theatre:day"), {"day": tomorrow}).content.decode()
    client.force_login(stranger)

    assert begun.patient.case_number not in client.get(reverse("theatre:day")).content.decode()
    assert client.get(url("record", begun)).status_code == 404


def test_the_patients_page_leads_to_its_record(client, begun, nurse):
    client.force_login(nurse)

    page = client.get(reverse("chart:patient", args=[begun.patient.case_number])).content.decode()

    assert url("record", begun) in page
    assert "Under anaesthesia" in page


def test_a_carer_and_a_coordinator_stay_out_of_theatre(client, begun, carer, coordinator):
    for person in (carer.person, coordinator):
        client.force_login(person)

        assert client.get(reverse("theatre:day")).status_code == 403


def test_a_list_without_animals_says_how_to_fill_it(client, nurse):
    client.force_login(nurse)

    assert "Nothing is on the list" in client.get(reverse("theatre:day"), {"day": "no day"}).content.decode()


# --- medicines under anaesthesia ----------------------------------------------------------------------------------


@pytest.fixture
def ketamine(patient, vet, hospital):
    """An order of 0.1 mL, and the drug in the register's safe."""
    page = make.register_page(hospital, vet)
    make.stock(page, "5", by=vet, witness=make.person("Wilma Witness", hospital, "nurse"))
    return make.order(patient, by=vet, drug="ketamine", strength_per_ml=100, volume_ml=Decimal("0.1"), first_dose_at=now()), page


def test_the_record_leads_to_each_order_and_tells_its_line_of_the_register(client, begun, ketamine, nurse):
    order, page = ketamine
    client.force_login(nurse)
    before = client.get(url("record", begun)).content.decode()
    give = reverse("medications:give", args=[begun.patient.case_number, order.pk])
    form = {"kind": "given", "given_at": f"{localtime(now()):%Y-%m-%dT%H:%M}", "page": page.pk, "note": "", "wasted_ml": "", "given_ml": ""}

    client.post(give, form)

    after = client.get(url("record", begun)).content.decode()
    dose = order.doses_given.get()
    assert give in before
    assert dose.register_line.page == page
    assert f"line {dose.register_line.number} of the register" in after
    assert reverse("register:page", args=[page.pk]) in after


def test_what_was_drawn_up_without_the_order_is_never_drawn_up_twice_in_silence(client, begun, ketamine, vet):
    order, page = ketamine
    use(
        page, patient=begun.patient, by=vet, drawn=Decimal("0.1"), given=Decimal("0.1"), wasted=Decimal(0),
        done_at=now() - timedelta(minutes=5),
    )  # fmt: skip
    client.force_login(vet)

    record = client.get(url("record", begun)).content.decode()
    with pytest.raises(ValidationError, match="has this drug for this animal already"):
        give_dose(order, by=vet, kind="given", given_at=now(), note="")
    meant = give_dose(order, by=vet, kind="given", given_at=now(), note="", is_not_double=True)

    assert "Drawn up in the register without an order" in record
    assert meant.register_line.balance_thousandths == 4800

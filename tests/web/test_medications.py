"""Ordering, giving and stopping medicines."""

import random
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse

from handover.facts import case_of
from hospital.admissions.models import Weight
from hospital.audit.queries import history_of
from hospital.clock import now
from hospital.medications import actions, formulary_actions, queries
from hospital.medications.dosing import Course, sheet
from hospital.medications.formulary_forms import FIGURES
from hospital.medications.models import DoseGiven, MedicationOrder
from hospital.medications.wording import line
from hospital.rules.doses import AmountUnit, Asked
from hospital.rules.dosetimes import LateDose, dose_times, nth_dose_at
from hospital.rules.wording import NBSP
from tests import make

pytestmark = pytest.mark.django_db
HOURS = timedelta(hours=1)


def url(name, patient, *args):
    return reverse(f"medications:{name}", args=[patient.case_number, *args])


def chart(patient):
    return reverse("chart:patient", args=[patient.case_number])


def weigh(patient, grams, days_ago=0):
    at = now() - timedelta(days=days_ago)
    return Weight.objects.create(patient=patient, weighed_at=at, weight_g=Decimal(str(grams)))


@pytest.fixture
def weighed(patient):
    weigh(patient, 812)
    return patient


def asked(**fields):
    """The order page as a browser sends it."""
    data = {
        "drug": "meloxicam",
        "dose_per_kg": "0.2",
        "dose_unit": "mg",
        "strength_per_ml": "5",
        "strength_unit": "mg",
        "dilution_parts": "",
        "syringe_ml": "",
        "dose_reason": "As talked over",
        "route": "muscle",
        "every_hours": "24",
        "doses": "5",
        "first_dose_at": f"{now() + HOURS:%Y-%m-%dT%H:%M}",
    }
    return data | fields


def ordered(patient, by, **fields):
    data = {
        "drug": "meloxicam",
        "dose_per_kg": Decimal("0.2"),
        "dose_unit": "mg",
        "strength_per_ml": Decimal(5),
        "strength_unit": "mg",
        "route": "muscle",
        "every_hours": 24,
        "doses": 5,
        "first_dose_at": now() - HOURS,
        "instruction": "",
        "is_weight_checked": False,
        "is_warning_read": False,
        "dose_reason": "As talked over",
        "seen_weight_g": None,
    }
    return actions.order_medication(patient, by=by, **data | fields)


def words(answer):
    return answer.content.decode().replace(NBSP, " ")


# --- who may ------------------------------------------------------------------------------------------------------


def test_a_vet_orders_and_stops_and_a_nurse_gives(client, weighed, vet, nurse, coordinator, carer, stranger):
    order = ordered(weighed, vet)
    make.placement(weighed, carer)
    pages = [url("order", weighed), url("stop", weighed, order.pk), url("give", weighed, order.pk)]

    answers = {}
    for person in (vet, nurse, coordinator, carer.person, stranger):
        client.force_login(person)
        answers[person.name] = [client.get(page).status_code for page in pages]

    assert answers == {
        "Vera Vet": [200, 200, 200],
        "Nina Nurse": [403, 403, 200],
        "Cora Coordinator": [403, 403, 403],
        "Carl Carer": [403, 403, 403],
        "Stan Stranger": [404, 404, 404],
    }


def test_an_order_is_reached_through_its_own_patient_only(client, weighed, vet):
    order = ordered(weighed, vet)
    another = make.patient(vet)
    client.force_login(vet)

    assert client.get(url("give", another, order.pk)).status_code == 404
    assert client.get(url("stop", another, order.pk)).status_code == 404


# --- sums ---------------------------------------------------------------------------------------------------------


def test_a_worked_example_of_the_textbook_sum():
    # dose = weight x dose rate / strength: a 20 kg animal, 2 mg/kg of a solution of 50 mg/mL is 40 mg in 0.8 mL
    # (the form of every worked example in veterinary dose-calculation teaching; common practice, no source).
    asked_for = Asked(Decimal(2), AmountUnit.MG, Decimal(50), AmountUnit.MG)

    worked = sheet(Course("anything", asked_for, "mouth", 12, 10, make.at("2027-03-01 09:00")), Decimal(20000))

    assert worked.worked.dose == 40
    assert worked.drawn.volume_ml == Decimal("0.8")
    assert worked.drawn.syringe.capacity_ml == 1
    assert worked.dispense_ml == 8
    assert worked.last_dose_at == make.at("2027-03-05 21:00")


def test_the_times_of_a_course_are_those_that_the_handover_plans_with():
    chance, zone = random.Random(7), ZoneInfo("Europe/London")
    for _ in range(300):
        first = datetime(2027, 1, 1, tzinfo=UTC) + timedelta(minutes=chance.randrange(365 * 1440))
        every, count = chance.randrange(1, 80), chance.randrange(1, 30)

        planned = dose_times(first.astimezone(zone), every, count)

        assert nth_dose_at(first.astimezone(zone), every, count - 1) == planned[-1]


def test_summer_time_moves_no_dose_on_the_clock_face():
    # Europe/London goes to summer time on 28 March 2027 at 01:00 (European Union directive 2000/84/EC: last Sunday).
    first = datetime(2027, 3, 27, 8, 0, tzinfo=ZoneInfo("Europe/London"))

    assert [f"{nth_dose_at(first, 12, number):%d %H:%M}" for number in range(4)] == [
        "27 08:00",
        "27 20:00",
        "28 08:00",
        "28 20:00",
    ]


# --- the live panel -----------------------------------------------------------------------------------------------


def test_the_dose_is_worked_out_while_one_types_and_nothing_is_saved_or_blamed(client, weighed, vet):
    client.force_login(vet)

    answer = client.post(
        url("order", weighed), asked(doses="", work_out="1"), headers={"HX-Request": "true", "HX-Target": "dose"}
    )
    full = client.post(url("order", weighed), asked(work_out="1"), headers={"HX-Request": "true"})

    assert (answer.status_code, full.status_code) == (200, 200)
    assert "Give the number of doses" not in words(answer)
    assert words(full).lstrip().startswith('<section class="card" id="dose"')
    # 812 g x 0.2 mg/kg = 0.1624 mg; / 5 mg/mL = 0.03248 mL; to the marks of 0.01 mL of a 1 mL syringe: 0.03 mL, -7.6 %
    for piece in ("162.4 micrograms", "0.03 mL", "0.0325 mL", "−7.6%", "812 g", "To dispense", "0.2 mL"):
        assert piece in words(full)
    assert MedicationOrder.objects.count() == 0


def test_the_work_out_button_does_the_same_without_scripts(client, weighed, vet):
    client.force_login(vet)

    answer = client.post(url("order", weighed), asked(work_out="1"))

    assert answer.status_code == 200
    assert "<html" in words(answer)
    assert "162.4 micrograms" in words(answer)
    assert 'value="meloxicam"' in words(answer)
    assert MedicationOrder.objects.count() == 0


def test_a_published_proposal_fills_the_form_and_keeps_the_rest(client, weighed, vet):
    client.force_login(vet)

    page = client.get(url("order", weighed))
    answer = client.post(
        url("order", weighed),
        {"proposal": "turtle-freshwater.meloxicam", "instruction": "with food", "doses": "3", "drug": ""},
    )

    assert "not adopted by this hospital" in words(page)
    assert "Uney et al. 2016" in words(page)
    assert answer.status_code == 200
    for piece in ('value="meloxicam"', 'value="0.2"', 'value="24"', "with food", 'value="3"'):
        assert piece in words(answer)


# --- ordering -----------------------------------------------------------------------------------------------------


def test_an_order_is_worked_from_the_newest_weight(client, weighed, vet):
    weigh(weighed, 800)
    client.force_login(vet)

    answer = client.post(url("order", weighed), asked())

    assert answer.status_code == 302
    order = MedicationOrder.objects.get()
    assert (order.weight_g, order.dose_amount, order.volume_ml, order.syringe_ml) == (
        800,
        Decimal("0.16"),
        Decimal("0.03"),
        1,
    )
    assert order.ordered_by == vet


def test_the_medication_line_follows_the_safe_writing_rules(weighed, vet):
    # ISMP list of error-prone abbreviations; NHS common user interface, medication line (2010): label, full units,
    # no trailing zero, amount per volume, intervals in words.
    order = ordered(
        weighed, vet, dose_per_kg=Decimal("0.2000"), strength_per_ml=Decimal("5.0000"), instruction="Left arm first"
    )

    assert line(order).replace(NBSP, " ") == (
        "meloxicam; 5 mg per mL; DOSE 162.4 micrograms; draw up 0.03 mL; by injection into the muscle; once a day; "
        "5 doses in all; Left arm first"
    )


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"drug": ""}, "Name the medicine."),
        ({"dose_per_kg": "a lot"}, "Give a number, for example 0.2."),
        ({"dose_per_kg": "0"}, "Give a number above 0."),
        ({"dose_per_kg": "-1"}, "Give a number above 0."),
        ({"every_hours": "0"}, "greater than or equal to 1"),
        ({"doses": "100000"}, "less than or equal to 400"),
        ({"first_dose_at": "soon"}, "Give day and time, for example 2027-01-25 14:30."),
        ({"first_dose_at": "2001-01-01T09:00"}, "This is before admission on"),
        ({"first_dose_at": "2199-01-01T09:00"}, "more than a year ahead"),
    ],
)
def test_what_is_wrong_is_said_at_the_field_and_nothing_typed_is_lost(client, weighed, vet, fields, sentence):
    client.force_login(vet)

    answer = client.post(url("order", weighed), asked(instruction="kept") | fields)

    assert answer.status_code == 422
    assert sentence in words(answer)
    assert "kept" in words(answer)
    assert MedicationOrder.objects.count() == 0


def test_a_comma_is_read_as_the_decimal_point_and_a_thousand_separator_is_not(client, weighed, vet):
    client.force_login(vet)

    good = client.post(url("order", weighed), asked(dose_per_kg="0,2"))
    bad = client.post(url("order", weighed), asked(dose_per_kg="1,000.5"))

    assert (good.status_code, bad.status_code) == (302, 422)
    assert MedicationOrder.objects.get().dose_per_kg == Decimal("0.2")


def test_without_a_weight_nothing_is_ordered(client, patient, vet):
    client.force_login(vet)

    answer = client.post(url("order", patient), asked())

    assert answer.status_code == 422
    assert "There is no weight yet. Weigh the animal, then order." in words(answer)


def test_a_volume_that_no_syringe_can_show_is_refused_with_a_dilution(client, patient, vet):
    weigh(patient, 20)  # 20 g x 0.2 mg/kg = 4 micrograms; / 5 mg/mL = 0.0008 mL, below the first mark of 0.01 mL
    client.force_login(vet)

    answer = client.post(url("order", patient), asked())

    assert answer.status_code == 422
    assert "0.0008 mL cannot be drawn up within 10% of the dose." in words(answer)
    assert "Proposal: dilute 1 part in 200 parts altogether, to 0.025 mg per mL, and draw up 0.16 mL." in words(
        answer
    )
    assert MedicationOrder.objects.count() == 0


def test_a_volume_beyond_the_largest_syringe_is_refused(client, weighed, vet):
    client.force_login(vet)

    answer = client.post(url("order", weighed), asked(drug="saline", dose_per_kg="90000", strength_per_ml="1"))

    assert answer.status_code == 422
    assert "more than the largest syringe holds" in words(answer)


# --- hard stops ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", ["ivermectin", "IVERMECTIN 1 % inj.", "Ivermectin (own brand)"])
@pytest.mark.parametrize("group", ["turtle-freshwater", "tortoise", "crocodilian"])
def test_ivermectin_is_refused_for_turtles_tortoises_and_crocodilians(client, vet, typed, group):
    # Teare & Bush 1983, J Am Vet Med Assoc 183:1195-1197: paresis in leopard tortoises at 0.025 mg/kg, deaths above.
    parents = ("reptile", "animal") if group == "crocodilian" else ("chelonian", "reptile", "animal")
    species = make.species(f"Test {group}", f"test {group}", group=make.group(group, parents))
    patient = make.patient(vet, species=species)
    weigh(patient, 1000)
    client.force_login(vet)

    ticks = {"is_warning_read": "ivermectin", "is_weight_checked": "on"}
    answer = client.post(url("order", patient), asked(drug=typed, dose_per_kg="0.2", strength_per_ml="10") | ticks)

    assert answer.status_code == 422
    assert "Ivermectin paralyses and kills turtles, tortoises and crocodilians" in words(answer)
    assert "Teare &amp; Bush 1983" in words(answer)
    assert MedicationOrder.objects.count() == 0


def test_ivermectin_is_not_refused_for_a_hedgehog(client, vet):
    hedgehog = make.species("Erinaceus europaeus", "hedgehog", group=make.group("hedgehog", ("mammal", "animal")))
    patient = make.patient(vet, species=hedgehog)
    weigh(patient, 700)
    client.force_login(vet)

    answer = client.post(url("order", patient), asked(drug="ivermectin", dose_per_kg="0.4", strength_per_ml="1"))

    assert answer.status_code == 302


def test_penicillin_by_mouth_is_refused_for_a_hare_and_not_by_injection(client, vet):
    hare = make.species("Lepus europaeus", "hare", group=make.group("hare", ("medium-mammal", "mammal", "animal")))
    patient = make.patient(vet, species=hare)
    weigh(patient, 3000)
    client.force_login(vet)
    drug = {"drug": "amoxicillin-clavulanate", "dose_per_kg": "8.75", "strength_per_ml": "175"}

    by_mouth = client.post(url("order", patient), asked(route="mouth", **drug))
    injected = client.post(url("order", patient), asked(route="under_skin", **drug))

    assert (by_mouth.status_code, injected.status_code) == (422, 302)
    assert "Penicillins by mouth can kill" in words(by_mouth)


def test_a_warning_must_be_read_before_the_order_stands(client, weighed, vet):
    client.force_login(vet)
    morphine = asked(drug="morphine", dose_per_kg="1.5", strength_per_ml="10", route="under_skin")

    asks = client.post(url("order", weighed), morphine)
    read = client.post(url("order", weighed), morphine | {"is_warning_read": "opioid-water-turtle"})

    assert (asks.status_code, read.status_code) == (422, 302)
    assert "no unsupervised water for 24 hours" in words(asks)


def test_a_warning_read_for_one_medicine_is_not_read_for_another(client, weighed, vet):
    client.force_login(vet)
    read = {"is_warning_read": "opioid-water-turtle"}

    answer = client.post(
        url("order", weighed), asked(drug="buprenorphine", dose_per_kg="0.1", strength_per_ml="0.3", route="under_skin") | read
    )

    assert answer.status_code == 422
    assert "Alone it gave no pain relief in turtles" in words(answer)


# --- doubts -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "status"), [(14, 302), (15, 422)])
def test_a_weight_older_than_fourteen_days_asks_for_a_tick(client, vet, days, status):
    patient = make.patient(vet, days_ago=40)
    weigh(patient, 812, days_ago=days)
    client.force_login(vet)

    answer = client.post(url("order", patient), asked())
    ticked = client.post(url("order", patient), asked(is_weight_checked="on"))

    assert answer.status_code == status
    assert ("more than 14 days ago" in words(answer)) is (status == 422)
    assert ticked.status_code == 302


@pytest.mark.parametrize(("newer", "status"), [(893, 302), (894, 422), (731, 302), (730, 422)])
def test_a_weight_that_moved_by_more_than_a_tenth_asks_for_a_tick(client, patient, vet, newer, status):
    weigh(patient, 812, days_ago=3)  # a tenth is 81.2 g
    weigh(patient, newer)
    client.force_login(vet)

    answer = client.post(url("order", patient), asked(strength_per_ml="1"))

    assert answer.status_code == status
    assert (f"The weight went from 812 g to {newer} g, more than 10%." in words(answer)) is (status == 422)


def test_a_weight_that_came_in_meanwhile_is_shown_before_the_order_stands(client, weighed, vet):
    client.force_login(vet)
    data = asked(seen_weight_g="812.0")
    weigh(weighed, 790)

    first = client.post(url("order", weighed), data)
    seen = first.context["form"]["seen_weight_g"].value()
    second = client.post(url("order", weighed), data | {"seen_weight_g": seen})

    assert (first.status_code, second.status_code) == (422, 302)
    assert "The animal was weighed meanwhile: 790 g." in words(first)
    assert MedicationOrder.objects.get().weight_g == 790


# --- limits: a reason, or a second vet ----------------------------------------------------------------------------


@pytest.fixture
def adopted(weighed, vet):
    """The hospital has adopted what the list has for freshwater turtles."""
    formulary_actions.adopt_group(weighed.species.group, hospital=weighed.hospital, by=vet, at=now())
    return weighed


@pytest.fixture
def second_vet(hospital):
    return make.person("Vilma Vet", hospital, "vet")


def test_an_order_within_the_adopted_row_needs_no_word(client, adopted, vet):
    client.force_login(vet)

    answer = client.post(url("order", adopted), asked(dose_reason=""))

    assert answer.status_code == 302
    order = MedicationOrder.objects.get()
    assert (order.flagged, order.dose_reason, order.needs_countersign) == ("", "", False)
    assert order.adoption.slug == "turtle-freshwater.meloxicam"


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"dose_per_kg": "0.3", "strength_per_ml": "1"}, "The largest usual dose is 0.2 mg per kg; this is 1.5 times as much."),
        ({"dose_per_kg": "0.09", "strength_per_ml": "0.5"}, "The usual dose is 0.2 mg per kg; this is only 45% of it."),
        ({"every_hours": "12"}, "The formulary gives it once a day; this is every 12 hours."),
        ({"doses": "8"}, "The formulary ends after 7 doses; these are 8."),
        ({"route": "body_cavity"}, "The formulary has it by injection into the muscle or by injection into a vein only."),
        ({"drug": "carprofen"}, "Neither the formulary nor the reference list has this medicine for this group."),
    ],
)
def test_what_leaves_the_adopted_row_needs_a_reason(client, adopted, vet, fields, sentence):
    client.force_login(vet)

    asks = client.post(url("order", adopted), asked(dose_reason="") | fields)
    reasoned = client.post(url("order", adopted), asked(dose_reason="Kidneys are sound") | fields)

    assert (asks.status_code, reasoned.status_code) == (422, 302)
    assert sentence in words(asks)
    order = MedicationOrder.objects.get()
    assert (sentence in order.flagged.replace(NBSP, " "), order.dose_reason) == (True, "Kidneys are sound")


def test_without_an_adopted_row_the_reference_list_judges_and_a_reason_is_needed(client, weighed, vet):
    client.force_login(vet)

    answer = client.post(url("order", weighed), asked(dose_reason=""))

    assert answer.status_code == 422
    assert "No vet of this hospital has adopted a row for this medicine and group." in words(answer)


def test_ten_times_the_dose_waits_for_a_second_vet_and_is_nowhere_until_then(client, adopted, vet, second_vet, nurse):
    client.force_login(vet)

    alone = client.post(url("order", adopted), asked(dose_per_kg="2", dose_reason=""))
    reasoned = client.post(url("order", adopted), asked(dose_per_kg="2", dose_reason="Specialist's advice"))

    assert (alone.status_code, reasoned.status_code) == (422, 302)
    assert "From 0.4 mg per kg on a second vet must sign." in words(alone)
    assert "this is 10 times as much" in words(alone)
    order = MedicationOrder.written.get()
    assert order.is_waiting
    assert list(adopted.medication_orders.all()) == []
    assert list(queries.orders_of(adopted)) == []
    assert not [fact for fact in case_of(adopted).facts if fact.event == "last_drug_dose"]
    client.force_login(nurse)
    assert client.get(url("give", adopted, order.pk)).status_code == 404
    with pytest.raises(ValidationError, match="A second vet has not signed this order"):
        actions.give_dose(order, by=nurse, kind="given", given_at=now(), note="")


def test_a_second_vet_signs_with_their_own_sign_in_and_then_it_stands(client, adopted, vet, second_vet, nurse, stranger):
    order = ordered(adopted, vet, dose_per_kg=Decimal(2), dose_reason="Specialist's advice")
    page, signed = url("countersign", adopted, order.pk), {"is_sure": "on", "seen_weight_g": "812.0"}

    refused = {}
    for person in (vet, nurse, stranger):
        client.force_login(person)
        refused[person.name] = client.post(page, signed).status_code
    client.force_login(second_vet)
    careless = client.post(page, signed | {"is_sure": ""})
    looked_at = words(client.get(page))
    answer = client.post(page, signed)

    assert refused == {"Vera Vet": 422, "Nina Nurse": 403, "Stan Stranger": 404}
    assert (careless.status_code, answer.status_code) == (422, 302)
    assert "Specialist&#x27;s advice" in looked_at
    order.refresh_from_db()
    assert (order.countersigned_by, order.is_waiting) == (second_vet, False)
    assert order.first_dose_at == order.countersigned_at  # it was due while it waited
    assert list(adopted.medication_orders.all()) == [order]
    assert client.get(page).status_code == 404


def test_the_database_refuses_a_signature_under_ones_own_order(adopted, vet, second_vet):
    order = ordered(adopted, vet, dose_per_kg=Decimal(2), dose_reason="Specialist's advice")

    with pytest.raises(IntegrityError), transaction.atomic():
        MedicationOrder.written.filter(pk=order.pk).update(countersigned_by=vet, countersigned_at=now())


def test_a_weight_that_moved_while_the_order_waited_is_seen_before_signing(adopted, vet, second_vet):
    order = ordered(adopted, vet, dose_per_kg=Decimal(2), dose_reason="Specialist's advice")
    weigh(adopted, 790)

    with pytest.raises(ValidationError, match="The animal was weighed meanwhile"):
        actions.countersign(order, by=second_vet, seen_weight_g=Decimal(812))
    weigh(adopted, 700)
    with pytest.raises(ValidationError, match="It must be ordered anew"):
        actions.countersign(order, by=second_vet, seen_weight_g=Decimal(700))


@pytest.mark.parametrize("who", ["vet", "second_vet"])
def test_an_order_that_waits_is_taken_back_or_declined_with_a_reason(request, client, adopted, vet, second_vet, who):
    order = ordered(adopted, vet, dose_per_kg=Decimal(2), dose_reason="Specialist's advice")
    client.force_login(request.getfixturevalue(who))
    page = url("decline", adopted, order.pk)

    silent, said = client.post(page, {"reason": ""}), client.post(page, {"reason": "Kidneys"})
    too_late = client.post(url("countersign", adopted, order.pk), {"is_sure": "on", "seen_weight_g": "812.0"})

    assert [silent.status_code, said.status_code] == [422, 302]
    order.refresh_from_db()
    assert (order.is_waiting, order.stop_reason.endswith(": Kidneys")) == (False, True)
    assert too_late.status_code == 422
    assert "Never in force, not countersigned: meloxicam" in words(client.get(chart(adopted)))


def test_an_order_beyond_a_hard_limit_is_refused_where_there_is_no_second_vet(client, adopted, vet):
    client.force_login(vet)

    answer = client.post(url("order", adopted), asked(dose_per_kg="2", dose_reason="Specialist's advice"))

    assert answer.status_code == 422
    assert "This needs a second vet, and this hospital has none." in words(answer)


def test_the_chart_the_formulary_and_the_board_say_what_waits(client, adopted, vet, second_vet):
    ordered(adopted, vet, dose_per_kg=Decimal(2), dose_reason="Specialist's advice")
    client.force_login(second_vet)

    page, waiting = words(client.get(chart(adopted))), words(client.get(reverse("formulary:waiting")))
    board = words(client.get(reverse("boards:today")))

    assert "waits for a second vet. It is not in force and not given." in page
    assert "No medicine is being given." in page
    assert "Look and decide" in waiting
    assert "meloxicam waits for a second vet" in board
    assert adopted.case_number in waiting


# --- two courses at once ------------------------------------------------------------------------------------------


def test_the_same_medicine_twice_needs_a_reason_or_stops_the_earlier_course(client, adopted, vet):
    earlier = ordered(adopted, vet, drug="Meloxicam injection")
    client.force_login(vet)

    asks = client.post(url("order", adopted), asked(dose_reason=""))
    replaces = client.post(url("order", adopted), asked(dose_reason="", stops_earlier="on"))

    assert (asks.status_code, replaces.status_code) == (422, 302)
    assert "Meloxicam injection is ordered already, until" in words(asks)
    earlier.refresh_from_db()
    assert (earlier.stopped_on is not None, earlier.stop_reason) == (True, "Ordered anew")


def test_another_medicine_of_the_class_needs_a_reason_and_is_not_stopped(client, adopted, vet):
    # Two non-steroidal anti-inflammatories at once harm kidneys and gut: common practice, no source.
    earlier = ordered(adopted, vet, drug="carprofen")
    client.force_login(vet)

    asks = client.post(url("order", adopted), asked(dose_reason="", stops_earlier="on"))

    assert asks.status_code == 422
    assert "carprofen is of the same class (anti-inflammatory without steroid)" in words(asks)
    earlier.refresh_from_db()
    assert earlier.stopped_on is None


def test_a_course_that_is_over_or_of_another_class_is_no_overlap(client, adopted, vet):
    ordered(adopted, vet, doses=1, first_dose_at=now() - timedelta(days=3))
    ordered(adopted, vet, drug="ceftazidime", dose_per_kg=Decimal(20), strength_per_ml=Decimal(100), every_hours=72)
    client.force_login(vet)

    assert client.post(url("order", adopted), asked(dose_reason="")).status_code == 302


# --- a slip of the point ------------------------------------------------------------------------------------------


def test_a_tenfold_weight_blocks_every_order_until_the_animal_is_weighed_again(client, adopted, vet):
    weigh(adopted, 8120)
    client.force_login(vet)
    data = asked(seen_weight_g="8120.0", is_weight_checked="on")

    slip = client.post(url("order", adopted), data)
    weigh(adopted, 8110)
    believed = client.post(url("order", adopted), data | {"seen_weight_g": "8110.0"})

    assert (slip.status_code, believed.status_code) == (422, 302)
    assert "this looks like a misplaced decimal point. Weigh the animal again before you order." in words(slip)


# --- units, dilution, syringe -------------------------------------------------------------------------------------


def test_an_order_in_units_says_units_in_full(client, weighed, vet):
    # 4 units per kg of oxytocin, Tucker, Thomas & Rose 2007 (read): 812 g is 3.248 units; 10 units per mL is 0.3248 mL.
    client.force_login(vet)
    oxytocin = {"drug": "oxytocin", "dose_per_kg": "4", "dose_unit": "unit", "strength_per_ml": "10", "strength_unit": "unit"}

    answer = client.post(url("order", weighed), asked(**oxytocin, doses="1"))

    assert answer.status_code == 302
    told = line(MedicationOrder.objects.get()).replace(NBSP, " ")
    assert told.startswith("oxytocin; 10 units per mL; DOSE 3.248 units; draw up 0.32 mL; by injection into the muscle")


def test_units_and_mass_are_never_mixed(client, weighed, vet):
    client.force_login(vet)

    answer = client.post(url("order", weighed), asked(dose_unit="unit"))

    assert answer.status_code == 422
    assert "Dose and strength must both be in units, or both in mg or micrograms." in words(answer)


def test_a_dose_in_micrograms_from_a_bottle_in_mg_needs_no_sum_in_the_head(client, weighed, vet):
    client.force_login(vet)

    client.post(url("order", weighed), asked(dose_per_kg="200", dose_unit="microgram"))

    order = MedicationOrder.objects.get()
    assert (order.dose_amount, order.volume_ml) == (Decimal("162.4"), Decimal("0.03"))


def test_the_proposed_dilution_is_taken_over_with_one_button(client, patient, vet):
    weigh(patient, 20)
    client.force_login(vet)

    taken = client.post(url("order", patient), asked(dilute="200"))
    answer = client.post(url("order", patient), asked(dilution_parts="200"))

    assert (taken.status_code, answer.status_code) == (200, 302)
    assert "0.16 mL" in words(taken)
    order = MedicationOrder.objects.get()
    assert order.stock_ml == Decimal("0.0008")
    told = line(order).replace(NBSP, " ")
    assert "5 mg per mL; diluted 1 part to 200 parts in all, 0.025 mg per mL; DOSE 4 micrograms; draw up 0.16 mL" in told


@pytest.mark.parametrize(
    ("syringe", "drawn", "sentence"),
    [
        ("2.5", "1.6", ""),  # marks of 0.1 mL
        ("10", "1.5", ""),  # marks of 0.5 mL: 7.6 % less
        ("20", None, "1.624 mL cannot be drawn up within 10% of the dose. Try a smaller syringe."),  # marks of 1 mL: 23 % more
        ("1", None, "1.62 mL does not fit into this syringe of 1 mL."),
        ("7", None, "Select a valid choice"),
    ],
)
def test_the_volume_is_rounded_to_the_marks_of_the_chosen_syringe(client, weighed, vet, syringe, drawn, sentence):
    client.force_login(vet)

    answer = client.post(url("order", weighed), asked(strength_per_ml="0.1", syringe_ml=syringe))  # 1.624 mL

    assert answer.status_code == (302 if drawn else 422)
    assert sentence in words(answer)
    assert [str(order.volume_ml.normalize()) for order in MedicationOrder.objects.all()] == ([drawn] if drawn else [])


def test_an_opened_bottle_has_its_day_or_says_that_nobody_knows_it(client, weighed, vet):
    client.force_login(vet)
    ceftazidime = {"drug": "ceftazidime", "dose_per_kg": "20", "strength_per_ml": "100", "every_hours": "72", "doses": "4"}

    known = client.post(url("order", weighed), asked(work_out="1", **ceftazidime))
    unknown = client.post(url("order", weighed), asked(work_out="1"))

    assert "discard 5 days after opening" in words(known)  # made up and in the fridge, Cerreta et al. 2018 (abstract)
    assert "The course outlasts one opened bottle: open another." in words(known)
    assert "after opening: not known, read the label" in words(unknown)


@pytest.mark.parametrize(
    ("field", "text", "instead"),
    [("instruction", "give 50 mcg", "micrograms"), ("instruction", "BID", "every 12 hours"), ("drug", "oxytocin 10 IU", "units")],
)
def test_what_has_been_misread_elsewhere_is_not_written_here(client, weighed, vet, field, text, instead):
    client.force_login(vet)

    answer = client.post(url("order", weighed), asked(**{field: text}))

    assert answer.status_code == 422
    assert f"can be misread. Write instead: {instead}." in words(answer)


# --- giving -------------------------------------------------------------------------------------------------------


@pytest.fixture
def order(weighed, vet):
    return ordered(weighed, vet)


def moment(ago=timedelta(0)):
    return f"{now() - ago:%Y-%m-%dT%H:%M}"


def test_a_nurse_writes_down_a_dose_and_the_next_falls_due_one_interval_later(client, weighed, nurse, order):
    client.force_login(nurse)

    answer = client.post(url("give", weighed, order.pk), {"kind": "given", "given_at": moment()})

    assert answer.status_code == 302
    assert DoseGiven.objects.get().given_by == nurse
    fresh = queries.orders_of(weighed).get()
    assert queries.next_dose_at(fresh, "Europe/London") == order.first_dose_at + timedelta(hours=24)


def test_the_same_dose_is_not_given_twice_by_two_people_unless_meant(client, weighed, vet, nurse, order):
    actions.give_dose(order, by=vet, kind="given", given_at=now() - HOURS / 2, note="")
    client.force_login(nurse)
    page, data = url("give", weighed, order.pk), {"kind": "given", "given_at": moment()}

    asks = client.post(page, data)
    meant = client.post(page, data | {"is_not_double": "on"})

    assert (asks.status_code, meant.status_code) == (422, 302)
    assert "Vera Vet gave a dose at" in words(asks)


def test_a_missed_dose_close_to_a_given_one_is_no_double(client, weighed, vet, order):
    actions.give_dose(order, by=vet, kind="given", given_at=now() - HOURS / 2, note="")
    client.force_login(vet)

    answer = client.post(url("give", weighed, order.pk), {"kind": "missed", "given_at": moment()})

    assert answer.status_code == 302


@pytest.mark.parametrize(
    ("ago", "sentence"),
    [(-timedelta(hours=2), "This is in the future."), (timedelta(days=30), "This is before admission on")],
)
def test_a_dose_is_given_between_admission_and_now(client, weighed, vet, order, ago, sentence):
    client.force_login(vet)

    answer = client.post(url("give", weighed, order.pk), {"kind": "given", "given_at": moment(ago), "note": "kept"})

    assert answer.status_code == 422
    assert sentence in words(answer)
    assert "kept" in words(answer)


@pytest.mark.parametrize(("route", "warns"), [("muscle", True), ("under_skin", True), ("vein", True), ("eye", False)])
def test_the_needle_is_warned_of_where_there_is_one(client, weighed, vet, route, warns):
    order = ordered(weighed, vet, route=route)
    client.force_login(vet)

    assert ("sharps box" in words(client.get(url("give", weighed, order.pk)))) == warns


def test_no_more_doses_than_were_ordered(client, weighed, vet):
    order = ordered(weighed, vet, doses=1)
    actions.give_dose(order, by=vet, kind="given", given_at=now() - 30 * HOURS, note="")
    client.force_login(vet)

    answer = client.post(url("give", weighed, order.pk), {"kind": "given", "given_at": moment()})

    assert answer.status_code == 422
    assert "A vet must order more." in words(answer)


def test_a_dose_written_by_mistake_is_taken_back_after_asking(client, weighed, vet, order):
    dose = actions.give_dose(order, by=vet, kind="given", given_at=now(), note="")
    client.force_login(vet)
    page = url("take-dose-back", weighed, dose.pk)

    asked_first = client.post(page, {"is_sure": ""})
    sure = client.post(page, {"is_sure": "on"})

    assert (asked_first.status_code, sure.status_code) == (422, 302)
    assert DoseGiven.objects.count() == 0
    assert history_of(dose).first().action == "delete"


# --- stopping -----------------------------------------------------------------------------------------------------


def test_a_course_is_stopped_once_and_then_gets_no_more_doses(client, weighed, vet, order):
    client.force_login(vet)
    yesterday = {"stopped_on": f"{now() - timedelta(days=1):%Y-%m-%d}", "stop_reason": "Vomits"}

    first = client.post(url("stop", weighed, order.pk), yesterday)
    second = client.post(url("stop", weighed, order.pk), yesterday | {"stop_reason": "Other"})
    dose = client.post(url("give", weighed, order.pk), {"kind": "given", "given_at": moment()})

    assert [first.status_code, second.status_code, dose.status_code] == [302, 422, 422]
    assert "already stopped" in words(second)
    assert "This course was stopped on" in words(dose)
    order.refresh_from_db()
    assert order.stop_reason == "Vomits"


@pytest.mark.parametrize(
    ("days", "reason", "sentence"),
    [(-1, "Vomits", "in the future"), (0, "", "Say why it was stopped."), (3, "Vomits", "A dose was written down on")],
)
def test_stopping_needs_a_reason_and_a_day_that_agrees_with_the_doses(
    client, weighed, vet, order, days, reason, sentence
):
    actions.give_dose(order, by=vet, kind="given", given_at=now() - timedelta(days=2), note="")
    client.force_login(vet)

    data = {"stopped_on": f"{now() - timedelta(days=days):%Y-%m-%d}", "stop_reason": reason}
    answer = client.post(url("stop", weighed, order.pk), data)

    assert answer.status_code == 422
    assert sentence in words(answer)


def test_a_course_runs_until_the_day_of_its_last_dose_is_over(weighed, vet):
    order = ordered(weighed, vet, doses=3, every_hours=24, first_dose_at=now())
    last = queries.last_dose_at(order, "Europe/London").date()

    assert queries.ends_on(order, "Europe/London") == last
    assert queries.is_running(order, last, "Europe/London")
    assert not queries.is_running(order, last + timedelta(days=1), "Europe/London")


@pytest.mark.parametrize(("grams", "old"), [(893, False), (894, True)])
def test_a_course_asks_for_a_new_order_when_the_weight_moved_by_more_than_a_tenth(weighed, vet, grams, old):
    order = ordered(weighed, vet)

    assert queries.needs_new_weight(order, Decimal(grams)) is old


# --- a late dose, and what is left in the body -------------------------------------------------------------------


def test_a_late_dose_moves_the_later_ones_only_if_the_order_says_so(weighed, vet):
    first_at, late = (hours_ago.astimezone(ZoneInfo("Europe/London")) for hours_ago in (now() - 3 * HOURS, now() - HOURS))
    for rule in ("keep_times", "shift"):
        order = ordered(weighed, vet, first_dose_at=first_at, late_dose=rule)
        actions.give_dose(order, by=vet, kind="given", given_at=late, note="")

    due = [queries.next_dose_at(order, "Europe/London") for order in queries.orders_of(weighed)]

    assert due == [nth_dose_at(first_at, 24, 1), nth_dose_at(late, 24, 1)]


def test_a_shift_moves_the_last_dose_on_the_care_plan_and_is_said_wherever_the_order_stands(weighed, vet):
    order = ordered(weighed, vet, first_dose_at=now() - 23 * HOURS, doses=2, late_dose="shift")
    actions.give_dose(order, by=vet, kind="given", given_at=now() - HOURS, note="")
    zone = ZoneInfo("Europe/London")

    last = next(fact for fact in case_of(weighed).facts if fact.event == "last_drug_dose")

    assert last.on == (now() + 23 * HOURS).astimezone(zone).date()
    assert "Given late, it moves the later doses by as much." in line(order)
    assert "moves the later doses" not in line(ordered(weighed, vet))


def test_the_rule_of_the_row_is_what_the_order_begins_with(client, adopted, vet):
    row, hospital = queries.shelved(adopted.hospital, "turtle-freshwater.meloxicam"), adopted.hospital
    figures = {name: getattr(row.entry, name) for name in FIGURES} | {"late_dose": LateDose.SHIFT}
    formulary_actions.adopt(row, hospital=hospital, by=vet, at=now(), seen_version=1, figures=figures)
    client.force_login(vet)

    page = client.post(url("order", adopted), {"proposal": row.slug})

    assert page.context["form"]["late_dose"].value() == "shift"


@pytest.mark.parametrize(
    ("drug", "half_life_hours", "whole_days"),
    [
        ("meloxicam", "13.5", 3),  # Uney et al. 2016: 13.5 h into muscle; 5 × 13.5 h = 2.8 days
        ("ceftazidime", "35", 8),  # Cerreta et al. 2018: 35 h; 5 × 35 h = 7.3 days
    ],
)
def test_an_order_and_the_chart_say_when_the_medicine_has_washed_out(client, weighed, vet, drug, half_life_hours, whole_days):
    order = ordered(weighed, vet, drug=drug, doses=1)
    actions.give_dose(order, by=vet, kind="given", given_at=order.first_dose_at, note="")
    ends_at = queries.washed_out_at(queries.orders_of(weighed).get(), "Europe/London")
    client.force_login(vet)

    form = words(client.post(url("order", weighed), asked(drug=drug, work_out="1")))

    assert order.half_life_hours == Decimal(half_life_hours)
    assert ends_at - order.first_dose_at == 5 * timedelta(hours=float(half_life_hours))
    assert (whole_days - 1) * 24 * HOURS < ends_at - order.first_dose_at <= whole_days * 24 * HOURS
    assert f"5 half-lives of {half_life_hours} hours" in form
    assert f"washed out {ends_at:%a %d-%b-%Y}" in words(client.get(chart(weighed)))


def test_a_course_that_was_stopped_before_anything_was_given_leaves_nothing_in_the_body(weighed, vet):
    order = ordered(weighed, vet)
    actions.stop_medication(order, stopped_on=now().date(), stop_reason="Wrong animal")

    assert queries.washed_out_at(queries.orders_of(weighed).get(), "Europe/London") is None


def test_a_medicine_without_a_published_half_life_promises_no_washout(weighed, vet):
    assert queries.washed_out_at(ordered(weighed, vet, drug="morphine", route="under_skin", is_warning_read=True), "Europe/London") is None

"""Carers' reports: stored once, answered at once, seen by the hospital; nobody else's animal."""

import io
import threading
import uuid
from datetime import date, timedelta
from decimal import Decimal

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, connections
from django.test import Client
from django.urls import reverse
from django.utils.timezone import get_fixed_timezone
from PIL import Image

from handover.logs.models import LogEntry, LogSeen
from handover.logs.queries import day_of, doses_due
from handover.plans.actions import publish
from handover.schedule.watertime import Sign
from hospital.admissions.models import Finder, Weight
from hospital.clock import now
from hospital.medications.models import DoseGiven
from tests import make

TODAY = date(2027, 3, 22)  # a Monday; the wound was closed on 1 March, 14 dry days, so day 7 of water time
CLOSED = date(2027, 3, 1)


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-22 18:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, vet, carer):
    """A pond turtle with a sutured wound, at home with its carer since the 3rd; its finder must show nowhere."""
    finder = Finder.objects.create(hospital=carer.hospital, name="Finder Canary", phone="01632 960999")
    patient = make.patient(
        vet, admitted_at=make.at("2027-02-28 10:00"), name="Bramble", finder=finder, found_place="Canary Lane",
        found_latitude=Decimal("54.123456"), found_longitude=Decimal("3.654321"), is_zoonosis_risk=True,
    )  # fmt: skip
    who = {"surgeon": vet, "recorded_by": vet}
    operation = patient.procedures.create(kind="wound-repair", done_on=CLOSED, site="left hind limb", **who)
    patient.closures.create(procedure=operation, closed_on=CLOSED, material="nylon", count=6, site="left hind limb")
    patient.bandages.create(procedure=operation, kind="limb-fixation", applied_on=CLOSED, site="left hind limb")
    patient.weights.create(weighed_at=make.at("2027-03-20 09:00"), weight_g=812, weighed_by=vet)
    make.placement(patient, carer, days_ago=19, accepted_at=make.at("2027-03-03 19:00"))
    return patient


@pytest.fixture
def order(turtle, vet):
    """Twice a day, by mouth, from yesterday evening; yesterday's dose was given."""
    first = make.at("2027-03-21 20:00")
    course = turtle.medication_orders.create(
        drug="Meloxicam", dose_per_kg=Decimal("0.2"), strength_per_ml=Decimal("0.5"), weight_g=812, dose_amount=Decimal("0.1624"),
        volume_ml=Decimal("0.32"), syringe_ml=1, route="mouth", every_hours=12, doses=6, first_dose_at=first,
        ordered_by=vet, ordered_at=first,
    )  # fmt: skip
    course.doses_given.create(patient=turtle, given_at=first, given_by=vet)
    return course


def said(**more):
    """What a form sends when all is as usual."""
    usual = {
        "key": str(uuid.uuid4()), "made_at": now().isoformat(), "sent_at": now().isoformat(), "on": "2027-03-22",
        "eaten": "all", "droppings": "normal", "bandage": "dry", "activity": "usual",
    }  # fmt: skip
    return usual | more


def send(client, patient, data, **headers):
    return client.post(reverse("logs:send", args=[patient.case_number]), data, headers=headers or None)


def send_json(client, patient, data):
    return send(client, patient, data, accept="application/json")


def get(client, patient, name, *args, **query):
    return client.get(reverse(f"logs:{name}", args=[patient.case_number, *args]), query)


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


# --- who --------------------------------------------------------------------------------------------------------------

FOR_ALL = ["day", "guide", "coming", "past"]
FOR_STAFF = ["card", "water"]


@pytest.mark.parametrize("name", FOR_ALL)
def test_staff_and_the_carer_see_the_animal_and_nobody_else(
    client, turtle, vet, nurse, coordinator, carer, stranger, hospital, name
):
    other = make.carer("Olga Other", hospital)
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, other.person, stranger):
        client.force_login(person)
        statuses.append(get(client, turtle, name).status_code)

    assert statuses == [200, 200, 200, 200, 404, 404]


@pytest.mark.parametrize(("name", "shown"), [("card", 302), ("water", 200)])
def test_the_hospitals_side_is_for_staff(client, turtle, vet, coordinator, carer, stranger, name, shown):
    statuses = []
    for person in (vet, coordinator, carer.person, stranger):
        client.force_login(person)
        statuses.append(get(client, turtle, name).status_code)

    assert statuses == [shown, shown, 403, 404]


def test_a_stranger_and_another_carer_cannot_send(client, turtle, hospital, stranger):
    other = make.carer("Olga Other", hospital)
    statuses = []
    for person in (other.person, stranger):
        client.force_login(person)
        statuses.append(send(client, turtle, said()).status_code)

    assert statuses == [404, 404]
    assert not LogEntry.objects.exists()


def test_a_carers_answer_is_not_for_another_carer(client, turtle, carer, hospital):
    client.force_login(carer.person)
    data = said()
    send(client, turtle, data)
    client.force_login(make.carer("Olga Other", hospital).person)

    assert get(client, turtle, "answer", data["key"]).status_code == 404


def test_no_carers_page_says_who_found_it_or_where(client, turtle, order, carer):
    client.force_login(carer.person)
    data = said(worries="Quiet.")
    send(client, turtle, data)

    pages = [get(client, turtle, name) for name in FOR_ALL] + [get(client, turtle, "answer", data["key"])]
    pages += [client.get(reverse("logs:mine")), get(client, turtle, "correct", data["key"])]

    for page in pages:
        assert page.status_code == 200
        for canary in ("Canary", "960999", "54.123", "3.654"):
            assert canary not in page.content.decode()


def test_every_carers_page_shows_the_phones(client, turtle, carer):
    client.force_login(carer.person)

    for page in [client.get(reverse("logs:mine")), *(get(client, turtle, name) for name in FOR_ALL)]:
        assert "01632 960001" in text(page)
        assert "01632 960002" in text(page)


# --- my animals and today ---------------------------------------------------------------------------------------------


def test_my_animals_say_what_is_due_and_whether_it_is_logged(client, turtle, order, carer):
    client.force_login(carer.person)
    before = text(client.get(reverse("logs:mine")))
    send(client, turtle, said())

    after = text(client.get(reverse("logs:mine")))

    assert "Not logged yet today" in before
    assert "2 doses of medicine due today" in before
    assert "Bramble" in before
    assert "Logged today" in after


def test_an_animal_not_taken_over_asks_for_it(client, turtle, carer):
    turtle.placements.filter(ended_at=None).update(accepted_at=None)
    client.force_login(carer.person)

    page = text(client.get(reverse("logs:mine")))
    client.post(reverse("placements:accept", args=[turtle.case_number]))

    assert "I have taken it over" in page
    assert turtle.open_placement().accepted_at


def test_nobody_elses_animals_are_mine(client, turtle, hospital):
    client.force_login(make.carer("Olga Other", hospital).person)

    page = client.get(reverse("logs:mine"))

    assert page.context["rows"] == []
    assert "No animal is with you now" in text(page)


def test_my_animals_cost_the_same_however_many(client, turtle, order, carer, vet, django_assert_max_num_queries):
    client.force_login(carer.person)
    client.get(reverse("logs:mine"))
    with django_assert_max_num_queries(60) as few:
        client.get(reverse("logs:mine"))
    needed = len(few)
    for number in range(3):
        another = make.patient(vet, name=f"Twin {number}")
        make.placement(another, carer)

    with django_assert_max_num_queries(needed):
        assert len(client.get(reverse("logs:mine")).context["rows"]) == 4


def test_today_says_minutes_and_why_and_the_medicine_line(client, turtle, order, carer):
    client.force_login(carer.person)

    page = get(client, turtle, "day")

    assert page.context["day"].allowance.minutes == 30
    assert "nothing was logged for Sunday 21 March 2027" in text(page)
    assert "meloxicam" in text(page)
    assert "08:00" in text(page)
    assert "20:00" in text(page)


def test_what_is_usual_is_chosen_on_the_first_report_of_a_day_only(client, turtle, carer):
    client.force_login(carer.person)
    first = get(client, turtle, "day").context["form"]
    send(client, turtle, said(water_minutes="30"))
    second = get(client, turtle, "day").context["form"]

    assert [first[name].value() for name in ("eaten", "bandage")] == ["all", "dry"]
    assert [second[name].value() for name in ("eaten", "bandage")] == [None, None]


def test_a_date_in_the_address_that_is_none_shows_today(client, turtle, carer):
    client.force_login(carer.person)

    assert get(client, turtle, "day", on="2027-02-31").status_code == 200
    assert get(client, turtle, "day", on="2027-03-21").context["form"]["on"].value() == "2027-03-21"
    assert get(client, turtle, "day", on="2027-03-23").context["form"]["on"].value() == "2027-03-22"


# --- receiving --------------------------------------------------------------------------------------------------------


def test_a_usual_day_is_fine(client, turtle, carer):
    client.force_login(carer.person)
    data = said(water_minutes="30")

    stored = send(client, turtle, data)
    answer = client.get(stored.url)

    assert stored.status_code == 302
    assert LogEntry.objects.get().answer == "fine"
    assert "Nothing in this report worries us" in text(answer)
    assert not LogEntry.objects.get().is_worrying


def test_the_same_report_again_is_answered_again_and_stored_once(client, turtle, order, carer):
    client.force_login(carer.person)
    dose = {f"dose_{order.pk}_1": "given"}
    data = said(water_minutes="30", weight_g="800", **dose)

    first, *later = [send_json(client, turtle, data | {"sent_at": now().isoformat()}) for _ in range(4)]

    assert first.json()["status"] == "stored"
    assert {(each.status_code, each.json()["status"], each.json()["answer"]) for each in later} == {(200, "already", "fine")}
    assert LogEntry.objects.count() == 1
    assert Weight.objects.count() == 2
    assert DoseGiven.objects.count() == 2


def test_the_same_key_with_other_words_is_refused_and_offers_a_correction(client, turtle, carer):
    client.force_login(carer.person)
    data = said(water_minutes="30")
    send(client, turtle, data)

    as_json = send_json(client, turtle, data | {"water_minutes": "10"})
    as_page = send(client, turtle, data | {"water_minutes": "10"})

    assert as_json.status_code == as_page.status_code == 409
    assert as_json.json()["status"] == "refused"
    assert "stored before with other words" in text(as_page)
    form = as_page.context["form"]
    assert (form["water_minutes"].value(), form["corrects"].value()) == ("10", data["key"])
    assert form["key"].value() != data["key"]
    assert LogEntry.objects.get().water_minutes == 30


def test_another_persons_key_is_refused_and_shows_nothing_of_theirs(client, turtle, carer, nurse):
    client.force_login(carer.person)
    data = said(worries="Private words")
    send(client, turtle, data)
    client.force_login(nurse)

    answer = send_json(client, turtle, data | {"worries": "Other"})

    assert answer.status_code == 409
    assert "Private" not in text(answer)


@pytest.mark.django_db(transaction=True)
def test_one_report_sent_many_times_at_once_is_stored_once(turtle, carer, rows_may_go):
    """On PostgreSQL really at once; SQLite takes writers one after another, and so does this test there."""
    data, answers = said(water_minutes="30"), []

    def post() -> None:
        phone = Client()
        phone.force_login(carer.person)
        answers.append(send_json(phone, turtle, data).json()["status"])
        if threading.current_thread() is not threading.main_thread():
            connections.close_all()

    if connection.vendor == "postgresql":
        phones = [threading.Thread(target=post) for _ in range(5)]
        for phone in phones:
            phone.start()
        for phone in phones:
            phone.join()
    else:
        for _ in range(5):
            post()

    assert sorted(answers) == ["already"] * 4 + ["stored"]
    assert LogEntry.objects.count() == 1


@pytest.mark.parametrize("sign", list(Sign))
def test_every_sign_asks_for_the_call_that_it_deserves(client, turtle, carer, sign):
    client.force_login(carer.person)

    answer = send_json(client, turtle, said(water_minutes="30", signs=[sign.value]))

    assert answer.json()["phone"] == ("now" if sign.is_severe else "today")
    assert LogEntry.objects.get().is_worrying
    assert answer.json()["reasons"][0].startswith("You saw: ")


@pytest.mark.parametrize(
    ("more", "answer", "words"),
    [
        ({"bandage": "lost"}, "phone_now", "bandage off or lost"),
        ({"bandage": "wet"}, "phone_now", "bandage wet through"),
        ({"bandage": "slipped"}, "stay", "slipped"),
        ({"activity": "limp"}, "phone_now", "weak or limp"),
        ({"activity": "quiet"}, "stay", "quieter than usual"),
        ({"happened": ["carer_hurt"]}, "phone_now", "Somebody was hurt"),
        ({"happened": ["escaped"]}, "phone_now", "It has escaped"),
        ({"happened": ["died"]}, "phone_now", "It has died"),
        ({"droppings": "bloody"}, "stay", "blood in the droppings"),
        ({"water_minutes": "45"}, "stay", "45 minutes in water; 30 were allowed"),
        ({"water_minutes": "10"}, "stay", "10 minutes in water; 24 or more count"),
        ({"weight_g": "700"}, "phone_now", "It has lost 13.8 % of its weight"),
        ({"weight_g": "780"}, "stay", "It has lost 3.9 % of its weight"),
        ({"weight_g": "8120"}, "stay", "8120 g is far from the last weight, 812 g"),
    ],
)  # fmt: skip
def test_what_is_reported_gets_its_answer_in_plain_words(client, turtle, carer, more, answer, words):
    client.force_login(carer.person)

    told = send_json(client, turtle, said(water_minutes="30") | more).json()

    assert told["answer"] == answer
    assert words.lower() in " ".join(told["reasons"]).lower().replace("\xa0", " ")


def test_phone_now_shows_the_numbers_to_tap_and_stops_the_water(client, turtle, carer):
    client.force_login(carer.person)

    page = client.get(send(client, turtle, said(water_minutes="30", signs=["wound_open"])).url)
    today = get(client, turtle, "day")

    assert "Phone the hospital now" in text(page)
    assert page.content.decode().count('href="tel:01632960001"') >= 2
    assert 'href="tel:01632960002"' in page.content.decode()
    assert today.context["day"].allowance.minutes == 0
    assert "No water. Phone the hospital now." in text(today)


def test_somebody_hurt_gets_the_cautions_with_the_answer(client, turtle, carer):
    client.force_login(carer.person)

    page = text(client.get(send(client, turtle, said(happened=["carer_hurt"])).url))

    assert "wash with soap and running water for 15 minutes" in page
    assert "Can make people ill" in page


def test_a_refusal_to_eat_for_days_asks_for_a_call(client, turtle, carer):
    client.force_login(carer.person)
    send(client, turtle, said(on="2027-03-19", made_at="2027-03-19T18:00:00+00:00", sent_at="", eaten="all"))

    told = send_json(client, turtle, said(eaten="none", water_minutes="30")).json()

    assert told["answer"] == "stay"
    assert "It has not eaten for 72 hours." in told["reasons"]


def test_a_weight_joins_the_hospitals_weights_unless_it_cannot_be_right(client, turtle, carer):
    client.force_login(carer.person)
    send(client, turtle, said(weight_g="805,5 g"))
    send(client, turtle, said(weight_g="8055"))

    assert [w.weight_g for w in turtle.weights.all()] == [812, Decimal("805.5")]
    assert turtle.weights.last().weighed_by == carer.person
    assert turtle.logs.last().weight_g == 8055


def test_doses_join_the_hospitals_doses_at_their_times(client, turtle, order, carer):
    client.force_login(carer.person)
    at_noon = get(client, turtle, "day").context["form"].dose_fields

    told = send_json(client, turtle, said(**{f"dose_{order.pk}_1": "given", f"dose_{order.pk}_2": "refused"})).json()

    assert [dose.number for dose, _field in at_noon] == [1, 2]
    given = list(order.doses_given.values_list("kind", "given_at"))[1:]
    assert given == [("given", make.at("2027-03-22 08:00")), ("refused", make.at("2027-03-22 18:00"))]
    assert told["reasons"] == ["1 dose was not taken."]
    assert doses_due(type(order).objects.prefetch_related("doses_given").get(), TODAY, "Europe/London") == []


def test_a_dose_that_two_people_wrote_down_is_kept_in_the_report_and_flagged(client, turtle, order, carer, vet):
    order.doses_given.create(patient=turtle, given_at=make.at("2027-03-22 08:10"), given_by=vet)
    client.force_login(carer.person)

    send(client, turtle, said(**{f"dose_{order.pk}_1": "given"}))

    entry = LogEntry.objects.get()
    assert order.doses_given.count() == 2
    assert entry.doses[0]["kind"] == "given"
    assert [flag["flag"] for flag in entry.reasons if "flag" in flag] == ["dose"]
    assert entry.is_worrying


def test_doses_of_another_animal_are_never_written(client, turtle, order, carer, vet):
    other = make.patient(vet)
    make.placement(other, carer)
    client.force_login(carer.person)

    send(client, other, said(**{f"dose_{order.pk}_1": "given"}))

    assert order.doses_given.count() == 1


def test_doses_left_out_on_earlier_days_are_not_made_up_for(client, turtle, order, carer):
    order.doses_given.all().delete()
    client.force_login(carer.person)

    page = get(client, turtle, "day")

    assert [dose.number for dose, _field in page.context["form"].dose_fields] == [1, 2]
    assert "Never give two at once" in text(page)


# --- days and clocks ---------------------------------------------------------------------------------------------------


def test_the_day_is_the_hospitals_day(client, turtle, carer):
    """Half past eleven at night in Greenwich is the next day for a hospital at UTC+13."""
    turtle.hospital.zone = "Pacific/Tongatapu"
    turtle.hospital.save()
    client.force_login(carer.person)

    with time_machine.travel(make.at("2027-03-22 23:30"), tick=False):
        page = get(client, turtle, "day")
        stored = send(client, turtle, said(on="2027-03-23"))

    assert page.context["form"]["on"].value() == "2027-03-23"
    assert stored.status_code == 302


@pytest.mark.parametrize(
    ("on", "words"),
    [
        ("2027-03-23", "This day is in the future."),
        ("2027-02-27", "before admission"),
        ("2027-03-02", "This is before the animal came to you."),
        ("soon", "Enter a valid date."),
    ],
)
def test_impossible_days_are_refused_with_a_sentence(client, turtle, carer, on, words):
    client.force_login(carer.person)

    answer = send(client, turtle, said(on=on, worries="Not lost"))

    assert answer.status_code == 422
    assert words in text(answer)
    assert "Not lost" in text(answer)
    assert not LogEntry.objects.exists()


def test_an_earlier_day_may_be_reported_later(client, turtle, carer):
    client.force_login(carer.person)

    send(client, turtle, said(on="2027-03-20", weight_g="809"))

    assert LogEntry.objects.get().on == date(2027, 3, 20)
    assert turtle.weights.last().weighed_at.date() == date(2027, 3, 20)


@pytest.mark.parametrize(
    ("sent", "flagged"),
    [(timedelta(minutes=10), []), (timedelta(minutes=11), [11]), (timedelta(days=-1), [-1440]), (timedelta(days=1), [1440])],
)
def test_a_wrong_clock_is_flagged_and_never_refused(client, turtle, carer, sent, flagged):
    client.force_login(carer.person)
    wrong = (now() + sent).isoformat()

    answer = send_json(client, turtle, said(made_at=wrong, sent_at=wrong))

    entry = LogEntry.objects.get()
    assert answer.json()["status"] == "stored"
    assert [flag["minutes"] for flag in entry.reasons if flag.get("flag") == "clock"] == flagged
    assert not entry.is_worrying
    assert entry.received_at == now()


def test_a_report_that_waited_for_signal_is_no_wrong_clock(client, turtle, carer):
    client.force_login(carer.person)
    written = make.at("2027-03-22 07:00").astimezone(get_fixed_timezone(60))

    send(client, turtle, said(made_at=written.isoformat()))

    assert LogEntry.objects.get().reasons == []
    assert LogEntry.objects.get().made_at == written


def test_a_moment_without_its_offset_is_asked_for_again(client, turtle, carer):
    client.force_login(carer.person)

    answer = send_json(client, turtle, said(made_at="2027-03-22T07:00:00"))

    assert answer.status_code == 422
    assert "with its offset" in answer.json()["errors"][0]


def test_a_report_written_while_the_animal_was_there_is_kept_after_it_left(client, turtle, carer, vet):
    client.force_login(carer.person)
    make.placement(turtle, None, by=vet, days_ago=1)
    before = send_json(client, turtle, said(on="2027-03-20", made_at="2027-03-20T19:00:00+00:00", water_minutes="15"))
    after = send_json(client, turtle, said())

    assert before.json()["status"] == "stored"
    assert LogEntry.objects.get().placement.carer == carer
    assert LogEntry.objects.get().is_worrying
    assert after.status_code == 422
    assert "not with you any more" in after.json()["errors"][0]
    assert get(client, turtle, "day").status_code == 404


def test_a_page_sent_after_it_left_loses_no_word(client, turtle, carer, vet):
    client.force_login(carer.person)
    make.placement(turtle, None, by=vet, days_ago=1)

    answer = send(client, turtle, said(worries="He was drinking well"))

    assert answer.status_code == 422
    assert "He was drinking well" in text(answer)
    assert "Canary" not in answer.content.decode()


def test_a_report_about_a_closed_case_is_kept(client, turtle, carer):
    client.force_login(carer.person)
    turtle.closed_on = TODAY
    turtle.save()

    answer = send_json(client, turtle, said(weight_g="800"))

    assert answer.json()["status"] == "stored"
    assert LogEntry.objects.get().reasons[-1]["flag"] == "weight"


def test_staff_may_report_for_a_carer(client, turtle, nurse):
    client.force_login(nurse)

    answer = send_json(client, turtle, said(water_minutes="30"))

    assert answer.json()["answer"] == "fine"
    assert LogEntry.objects.get().placement == turtle.open_placement()


# --- corrections, photographs ------------------------------------------------------------------------------------------


def test_a_correction_is_a_new_report_that_counts_from_then_on(client, turtle, carer):
    client.force_login(carer.person)
    data = said(water_minutes="45")
    send(client, turtle, data)
    start = get(client, turtle, "correct", data["key"]).context["form"]

    told = send_json(client, turtle, said(water_minutes="30", corrects=data["key"])).json()
    again = send_json(client, turtle, said(water_minutes="20", corrects=data["key"])).json()

    assert start["water_minutes"].value() == 45
    assert told["answer"] == "fine"
    assert again["reasons"] == ["20 minutes in water; 24 or more count towards the next step."]
    assert [entry.water_minutes for entry in LogEntry.objects.counting()] == [20]
    assert LogEntry.objects.count() == 3
    assert day_of(turtle, TODAY).minutes_so_far == 20


def test_taking_a_severe_sign_back_does_not_give_the_water_back(client, turtle, carer):
    client.force_login(carer.person)
    data = said(water_minutes="30", signs=["bleeding"])
    send(client, turtle, data)

    told = send_json(client, turtle, said(water_minutes="30", corrects=data["key"])).json()

    assert told["answer"] == "phone_now"
    assert day_of(turtle, TODAY).allowance.phone_now


def test_two_reports_of_a_day_count_together(client, turtle, carer):
    client.force_login(carer.person)
    send(client, turtle, said(water_minutes="20"))

    told = send_json(client, turtle, said(water_minutes="15", made_at=(now() + timedelta(minutes=1)).isoformat())).json()

    assert told["reasons"] == ["35 minutes in water; 30 were allowed."]


def picture() -> bytes:
    made = io.BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "Canary description"
    Image.new("RGB", (60, 40), "green").save(made, "JPEG", exif=exif)
    return made.getvalue()


def test_a_photograph_is_kept_without_what_the_camera_wrote(client, turtle, carer, nurse, stranger):
    client.force_login(carer.person)
    data = said()
    send(client, turtle, data | {"photo": SimpleUploadedFile("IMG_1.jpg", picture(), "image/jpeg")})

    shown = get(client, turtle, "photo", data["key"])
    client.force_login(stranger)

    assert shown["Content-Type"] == "image/jpeg"
    assert shown["X-Content-Type-Options"] == "nosniff"
    assert b"Canary" in picture()
    assert b"Canary" not in shown.content
    assert get(client, turtle, "photo", data["key"]).status_code == 404


def test_what_is_no_photograph_is_refused_and_the_words_stay(client, turtle, carer):
    client.force_login(carer.person)

    answer = send(client, turtle, said(worries="See photo", photo=SimpleUploadedFile("a.jpg", b"<script>", "image/jpeg")))

    assert answer.status_code == 422
    assert "not a photograph" in text(answer)
    assert "See photo" in text(answer)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"water_minutes": "a while"}, "whole number"),
        ({"water_minutes": "-1"}, "cannot be below 0"),
        ({"water_minutes": "1441"}, "1440 minutes"),
        ({"weight_g": "heavy"}, "in grams as a number"),
        ({"eaten": "chips"}, "Select a valid choice"),
        ({"key": "x"}, "valid UUID"),
    ],
)
def test_slips_are_told_at_the_field(client, turtle, carer, wrong, words):
    client.force_login(carer.person)

    answer = send(client, turtle, said(worries="Still here") | wrong)

    assert answer.status_code == 422
    assert words in text(answer)
    assert "Still here" in text(answer)


# --- the hospital's side -----------------------------------------------------------------------------------------------


def test_worrying_reports_wait_until_somebody_has_seen_them(client, turtle, carer, coordinator, stranger):
    client.force_login(carer.person)
    send(client, turtle, said(worries="He keeps picking at the bandage"))
    send(client, turtle, said(water_minutes="30"))
    client.force_login(coordinator)
    waiting = client.get(reverse("logs:worrying"))

    entry = LogEntry.objects.get(is_worrying=True)
    client.post(reverse("logs:seen", args=[turtle.case_number, entry.key]), {"note": "Rang her"})

    assert "He keeps picking at the bandage" in text(waiting)
    assert len(waiting.context["rows"]) == 1
    assert LogSeen.objects.get().note == "Rang her"
    assert client.get(reverse("logs:worrying")).context["rows"] == []
    client.force_login(stranger)
    assert client.get(reverse("logs:worrying")).context["rows"] == []


def test_the_gravest_reports_come_first(client, turtle, carer, coordinator):
    client.force_login(carer.person)
    send(client, turtle, said(on="2027-03-20", worries="Looks sad"))
    send(client, turtle, said(on="2027-03-21", droppings="bloody"))
    send(client, turtle, said(signs=["bleeding"]))
    client.force_login(coordinator)

    rows = client.get(reverse("logs:worrying")).context["rows"]

    assert [row["entry"].answer for row in rows] == ["phone_now", "stay", "fine"]


def test_a_second_note_does_not_replace_the_first(client, turtle, carer, coordinator, vet):
    client.force_login(carer.person)
    send(client, turtle, said(worries="Hm"))
    address = reverse("logs:seen", args=[turtle.case_number, LogEntry.objects.get().key])
    client.force_login(coordinator)
    client.post(address, {"note": "Rang her"})
    client.force_login(vet)

    page = client.post(address, {"note": "Will look tomorrow"}, follow=True)

    assert LogSeen.objects.get().note == "Rang her"
    assert "Somebody else saved this record" in text(page)


@pytest.mark.parametrize("who", ["carer", "stranger"])
def test_only_staff_of_the_hospital_acknowledge(client, turtle, carer, stranger, who):
    client.force_login(carer.person)
    send(client, turtle, said(worries="Hm"))
    entry = LogEntry.objects.get()
    client.force_login(carer.person if who == "carer" else stranger)

    answer = client.post(reverse("logs:seen", args=[turtle.case_number, entry.key]))

    assert answer.status_code in (403, 404)
    assert client.get(reverse("logs:worrying")).status_code == (403 if who == "carer" else 200)
    assert not LogSeen.objects.exists()


def test_the_chart_shows_the_last_days_and_the_worries(client, turtle, carer, vet):
    client.force_login(carer.person)
    send(client, turtle, said(worries="He keeps picking at it", signs=["wound_red"]))
    client.force_login(vet)

    part = client.get(reverse("logs:card", args=[turtle.case_number]), headers={"HX-Request": "true"})

    assert part.content.decode().lstrip().startswith("<section")
    assert "Wound red or swollen" in text(part)
    assert "He keeps picking at it" in text(part)
    assert "1 worrying report not seen" in text(part)


def test_the_list_of_worries_costs_the_same_however_long(client, turtle, carer, coordinator, django_assert_max_num_queries):
    client.force_login(carer.person)
    for _ in range(2):
        send(client, turtle, said(worries="Hm"))
    client.force_login(coordinator)
    with django_assert_max_num_queries(30) as few:
        client.get(reverse("logs:worrying"))
    needed = len(few)
    client.force_login(carer.person)
    for _ in range(4):
        send(client, turtle, said(worries="Hm"))
    client.force_login(coordinator)

    with django_assert_max_num_queries(needed):
        assert len(client.get(reverse("logs:worrying")).context["rows"]) == 6


def test_the_dates_of_the_plan_are_on_the_carers_pages(client, turtle, carer, vet):
    publish(turtle, by=vet)
    client.force_login(carer.person)

    page, today = get(client, turtle, "coming"), get(client, turtle, "day")

    assert "Sutures or staples out" in text(page)
    assert today.context["day"].visits
    assert today.context["day"].visits[0].on.strftime("%Y") in text(today)


def test_a_visit_that_has_gone_by_is_late_and_never_the_next_one(client, turtle, carer, vet):
    publish(turtle, by=vet)
    client.force_login(carer.person)
    first = get(client, turtle, "day").context["day"].visits[0]

    with time_machine.travel(make.at(f"{first.on + timedelta(1)} 09:00"), tick=False):
        client.force_login(carer.person)
        today, mine = get(client, turtle, "day"), client.get(reverse("logs:mine"))

    assert first.event_id in [each.event_id for each in today.context["day"].missed_visits]
    assert all(each.on > first.on for each in today.context["day"].visits)
    assert "Late: phone and ask for a day" in text(today)
    assert f"was due at the hospital on {first.on:%A} {first.on.day}" in text(mine)


def test_a_report_with_nothing_in_it_is_refused_and_not_thanked_for(client, turtle, carer):
    client.force_login(carer.person)
    empty = dict.fromkeys(("water_minutes", "eaten", "food", "droppings", "bandage", "activity", "weight_g"), "")

    answer = send(client, turtle, said(**empty))

    assert answer.status_code == 422
    assert "Nothing is filled in." in text(answer)
    assert not LogEntry.objects.exists()


def test_who_is_told_to_phone_now_is_not_told_to_wait_for_tomorrow(client, turtle, carer):
    client.force_login(carer.person)

    now_page = text(client.get(send(client, turtle, said(water_minutes="30", signs=["wound_open"])).url))

    assert "Look again tomorrow" not in now_page
    assert "When you have phoned: do what the hospital says." in now_page


def test_the_last_weight_stands_beside_the_box_for_the_next(client, turtle, carer):
    client.force_login(carer.person)

    assert "The last time: <strong>812 g</strong>" in text(get(client, turtle, "day"))

"""A paper log sheet typed in: checked as the carer's page is, stored once, all of it or nothing, and never over what is logged."""

import uuid
from datetime import date
from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse

from handover.logs.models import LogEntry
from hospital.medications.models import DoseGiven
from tests import make

TODAY = date(2027, 3, 22)


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-22 18:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, vet, carer):
    """At home with its carer since the 18th, on water time, weighed before."""
    patient = make.patient(vet, admitted_at=make.at("2027-02-28 10:00"), name="Bramble")
    operation = patient.procedures.create(kind="wound-repair", done_on=date(2027, 3, 1), site="left limb", surgeon=vet, recorded_by=vet)
    patient.closures.create(procedure=operation, closed_on=date(2027, 3, 1), material="nylon", count=6, site="left limb")
    patient.weights.create(weighed_at=make.at("2027-03-17 09:00"), weight_g=812, weighed_by=vet)
    make.placement(patient, carer, days_ago=4, accepted_at=make.at("2027-03-18 19:00"))
    return patient


def address(patient, until="2027-03-22"):
    return f"{reverse('logs:paper', args=[patient.case_number])}?until={until}"


def sheet(page, **by_day):
    """What the page's form sends: its hidden boxes, and the words typed for each day (named d20 for the 20th)."""
    data = {}
    for row in page.context["week"].rows:
        if row.form:
            data |= {row.form.add_prefix(name): str(row.form[name].value() or "") for name in row.form.fields}
    for day, words in by_day.items():
        data |= {f"2027-03-{day[1:]}-{name}": value for name, value in words.items()}
    return data


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


# --- who --------------------------------------------------------------------------------------------------------------


def test_staff_and_the_carer_may_copy_and_nobody_else(client, turtle, vet, nurse, coordinator, carer, stranger, hospital):
    other = make.carer("Olga Other", hospital)
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, other.person, stranger):
        client.force_login(person)
        statuses.append(client.get(address(turtle)).status_code)

    assert statuses == [200, 200, 200, 200, 404, 404]


def test_a_stranger_stores_nothing(client, turtle, stranger, vet):
    client.force_login(vet)
    data = sheet(client.get(address(turtle)), d20={"eaten": "all"})
    client.force_login(stranger)

    assert client.post(address(turtle), data).status_code == 404
    assert not LogEntry.objects.exists()


def test_it_is_reached_from_the_reports_the_patients_page_and_the_board(client, turtle, vet, carer):
    link = reverse("logs:paper", args=[turtle.case_number])
    client.force_login(vet)
    for page in (reverse("logs:past", args=[turtle.case_number]), reverse("boards:quiet")):
        assert link in text(client.get(page)), page
    assert link in text(client.get(reverse("logs:card", args=[turtle.case_number]), headers={"HX-Request": "true"}))
    client.force_login(carer.person)

    assert link in text(client.get(reverse("logs:past", args=[turtle.case_number])))


# --- storing ----------------------------------------------------------------------------------------------------------


def test_the_days_that_are_filled_in_are_stored_and_the_empty_ones_are_not(client, turtle, coordinator):
    client.force_login(coordinator)
    page = client.get(address(turtle))

    answer = client.post(address(turtle), sheet(page, d20={"eaten": "all", "weight_g": "806,5"}, d21={"water_minutes": "15"}))

    assert answer.status_code == 302
    rows = LogEntry.objects.order_by("on")
    assert [(row.on.day, row.eaten, row.water_minutes, row.weight_g) for row in rows] == [
        (20, "all", None, Decimal("806.5")),
        (21, "", 15, None),
    ]
    assert all(row.is_from_paper and row.author == coordinator for row in rows)
    assert all(row.made_at.hour == 12 for row in rows)  # about noon: the paper says no time
    assert turtle.weights.latest("weighed_at").weight_g == Decimal("806.5")
    assert "copied from paper by Cora Coordinator, time not known" in text(client.get(answer.url))


def test_the_answers_are_those_of_the_app(client, turtle, vet, nurse, carer):
    client.force_login(nurse)
    client.post(address(turtle), sheet(client.get(address(turtle)), d19={"droppings": "bloody"}, d20={"activity": "limp"}))
    copied = list(LogEntry.objects.order_by("on"))
    client.force_login(carer.person)
    for entry in copied:
        said = {"key": str(uuid.uuid4()), "made_at": entry.made_at.isoformat(), "on": entry.on.isoformat(), "corrects": str(entry.key)}
        client.post(reverse("logs:send", args=[turtle.case_number]), said | {"droppings": entry.droppings, "activity": entry.activity})

    told = list(LogEntry.objects.filter(corrects__isnull=False).order_by("on"))

    assert [each.answer for each in copied] == [each.answer for each in told] == ["stay", "phone_now"]
    assert [each.reasons for each in copied] == [each.reasons for each in told]


def test_the_same_sheet_sent_twice_is_stored_once(client, turtle, vet):
    client.force_login(vet)
    data = sheet(client.get(address(turtle)), d20={"eaten": "some", "worries": "Slow."}, d22={"eaten": "all"})

    first, second = client.post(address(turtle), data), client.post(address(turtle), data)

    assert (first.status_code, second.status_code) == (302, 302)
    assert LogEntry.objects.count() == 2


def test_a_mistake_in_one_box_stores_nothing_and_loses_nothing(client, turtle, vet):
    client.force_login(vet)
    data = sheet(
        client.get(address(turtle)),
        d19={"eaten": "all", "worries": "Sneezed twice"},
        d20={"weight_g": "heavy"},
        d21={"water_minutes": "2000"},
    )

    answer = client.post(address(turtle), data)

    assert answer.status_code == 422
    assert not LogEntry.objects.exists()
    for words in (
        "There is a problem",
        "Nothing of this sheet is stored yet",
        "A day has 1440 minutes.",
        'value="Sneezed twice"',
        'value="heavy"',
    ):
        assert words in text(answer)
    assert 'href="#id_2027-03-20-weight_g"' in text(answer)
    assert "<title>Error:" in text(answer)


def test_a_day_that_is_logged_stands_there_to_read_and_is_never_written_over(client, turtle, vet, carer):
    client.force_login(vet)
    stale = sheet(client.get(address(turtle)), d20={"eaten": "none", "worries": "From the paper"}, d21={"eaten": "all"})
    client.force_login(carer.person)
    said = {"key": str(uuid.uuid4()), "made_at": make.at("2027-03-20 08:00").isoformat(), "on": "2027-03-20", "eaten": "all"}
    client.post(reverse("logs:send", args=[turtle.case_number]), said)
    client.force_login(vet)

    page, answer = client.get(address(turtle)), client.post(address(turtle), stale)

    assert "Logged already" in text(page)
    assert 'name="2027-03-20-eaten"' not in text(page)
    assert answer.status_code == 422
    assert "This day was logged meanwhile" in text(answer)
    assert 'value="From the paper"' in text(answer)
    assert LogEntry.objects.count() == 1


def test_a_dose_of_the_sheet_is_written_down_as_given(client, turtle, vet):
    make.order(turtle, first_dose_at=make.at("2027-03-20 08:00"))
    client.force_login(vet)
    page = client.get(address(turtle))
    dose = next(row for row in page.context["week"].rows if row.on.day == 20).form.doses[0].field

    client.post(address(turtle), sheet(page, d20={dose: "given"}))

    assert [each.given_at for each in DoseGiven.objects.all()] == [make.at("2027-03-20 08:00")]


def test_a_carer_copies_from_the_day_on_which_the_animal_came(client, turtle, carer, vet):
    client.force_login(carer.person)
    mine = [row.on.day for row in client.get(address(turtle)).context["week"].rows]
    client.force_login(vet)
    all_days = [row.on.day for row in client.get(address(turtle)).context["week"].rows]

    assert mine == [18, 19, 20, 21, 22]
    assert all_days == [16, 17, 18, 19, 20, 21, 22]


def test_a_sheet_without_a_word_stores_nothing_and_says_so(client, turtle, vet):
    client.force_login(vet)

    answer = client.post(address(turtle), sheet(client.get(address(turtle))))

    assert "Nothing was typed, so nothing was stored." in text(answer)
    assert not LogEntry.objects.exists()


@pytest.mark.parametrize("until", ["2027-13-40", "tomorrow", "2031-01-01", "1999-01-01"])
def test_a_week_that_cannot_be_asked_for_shows_one_that_can(client, turtle, vet, until):
    client.force_login(vet)

    days = [row.on for row in client.get(address(turtle, until)).context["week"].rows]

    assert days
    assert date(2027, 2, 28) <= days[0] <= days[-1] <= TODAY


def test_the_page_of_an_earlier_day_names_it_in_its_heading(client, turtle, carer):
    client.force_login(carer.person)
    page = text(client.get(reverse("logs:day", args=[turtle.case_number]) + "?on=2027-03-20"))

    assert "<h1>Report for Saturday 20 March 2027</h1>" in page

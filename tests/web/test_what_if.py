"""What would move a date, and what if: old and new side by side, nothing written."""

from datetime import date, timedelta

import pytest
import time_machine
from django.apps import apps
from django.urls import reverse

from handover.plans.actions import fix_day, hold_back
from handover.plans.queries import live_plan
from handover.protocols.actions import adopt
from handover.protocols.models import LibraryRow
from handover.schedule.plan import Planned
from hospital.clock import now
from hospital.people.models import CarerAway
from hospital.sites.models import ClosedDay
from tests import make
from tests.web.test_plans import OPERATED, TODAY, decide, hidden, page, published, sutures, text, turtle

__all__ = ["sutures", "turtle"]  # fixtures


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        yield


@pytest.fixture
def at_a_carers(turtle, carer):
    make.placement(turtle, carer)
    return turtle


RULE = "turtle-freshwater.suture-removal.sutures"
HTMX = {"HTTP_HX_REQUEST": "true"}


def ask(client, patient, **query):
    """The page with this in its address; a name such as day_0_on is written day-0-on."""
    named = {name.replace("_", "-", 2): value for name, value in query.items()}
    return client.get(reverse("plans:what-if", args=[patient.case_number]), named)


def rows_in_the_database() -> dict[str, int]:
    return {model._meta.label: model.objects.count() for model in apps.get_models() if model._meta.label != "sessions.Session"}


# --- what would move it ---------------------------------------------------------------------------------------------


def test_each_date_says_what_would_move_it_and_where_its_figures_come_from(client, turtle, nurse, sutures):
    """Sutures come out 28 to 42 days after 26 February, usually on day 42, 9 April (NC State University, Turtle Ally Program):
    no day later, and 14 days earlier at the most, 26 March."""
    client.force_login(nurse)

    plan_page = page(client, turtle).content.decode()
    shown = text(page(client, turtle, "what-moves", event=sutures))

    assert f"{reverse('plans:what-moves', args=[turtle.case_number])}?event={sutures.replace(':', '%3A')}" in plan_page
    assert reverse("protocols:row", args=["rule", RULE]) in plan_page
    assert "14 days earlier (Fri 26-Mar-2027) with every rule kept; not a day later." in shown
    assert "It shares its visit with: " in shown
    assert "Apart from them, " in shown
    assert "one more visit" in shown.lower()
    assert f"day-0-event_id={sutures.replace(':', '%3A')}&amp;day-0-on=2027-04-08" in shown


def test_what_would_move_a_date_is_for_staff_and_only_for_what_is_planned(client, turtle, vet, carer, stranger, sutures):
    make.placement(turtle, carer)
    statuses = []
    for person, event in ((vet, sutures), (vet, "moon walk"), (vet, ""), (carer.person, sutures), (stranger, sutures)):
        client.force_login(person)
        statuses.append(page(client, turtle, "what-moves", event=event).status_code)

    assert statuses == [200, 404, 404, 403, 404]


# --- what if --------------------------------------------------------------------------------------------------------


def test_nothing_supposed_shows_the_plan_to_move_dates_on(client, turtle, nurse, sutures):
    client.force_login(nurse)

    answer = ask(client, turtle)

    assert answer.status_code == 200
    assert "Nothing is supposed yet." in text(answer)
    assert {track.event_id for track in answer.context["picture"].tracks} >= {sutures}
    assert not any(track.has_moved for track in answer.context["picture"].tracks)
    assert "The carer is away" not in text(answer)


def test_a_supposed_day_stands_beside_todays_plan_with_its_cost(client, turtle, nurse, sutures):
    client.force_login(nurse)

    answer = ask(client, turtle, day_0_event_id=sutures, day_0_on="2027-04-07")
    shown = text(answer)

    track = next(track for track in answer.context["picture"].tracks if track.event_id == sutures)
    assert (track.on, track.home, track.has_moved) == (date(2027, 4, 7), date(2027, 4, 9), True)
    assert '<del class="nowrap">Fri 09-Apr-2027</del>' in shown
    assert '<ins class="nowrap">Wed 07-Apr-2027</ins>' in shown
    assert "You suppose Wed 07-Apr-2027." in shown
    old, new = (answer.context["prices"][-1][side] for side in ("old", "new"))
    assert old == live_plan(turtle, TODAY).planned.cost
    assert new > old
    assert f"(+{new - old} point" in shown


SUPPOSED = {
    "day": {"day_0_event_id": "sutures", "day_0_on": "2027-04-07"},
    "wait": {"wait_0_event_id": "sutures", "wait_0_not_before": "2027-04-23"},
    "shut": {"shut_0_on": "2027-04-09"},
    "away": {"away_0_starts_on": "2027-04-08", "away_0_ends_on": "2027-04-11"},
    "rule": {"rule_0_rule_id": RULE, "rule_0_min_days": "43", "rule_0_usual_days": "49", "rule_0_max_days": "56"},
}


def made_true(kind, patient, by, hospital, carer, sutures):
    """The same, decided and recorded as the real forms do."""
    if kind == "day":
        fix_day(patient, by=by, event_id=sutures, on=date(2027, 4, 7), reason="x")
    if kind == "wait":
        hold_back(patient, by=by, event_id=sutures, not_before=date(2027, 4, 23), reason="x")
    if kind == "shut":
        ClosedDay.objects.create(hospital=hospital, on=date(2027, 4, 9))
    if kind == "away":
        CarerAway.objects.create(carer=carer, starts_on=date(2027, 4, 8), ends_on=date(2027, 4, 11))
    if kind == "rule":
        row = LibraryRow.objects.get(slug=RULE)
        adopt(row, hospital=hospital, by=by, at=now(), seen_version=1, figures={"min_days": 43, "usual_days": 49, "max_days": 56})


@pytest.mark.parametrize("kind", SUPPOSED)
def test_what_is_supposed_is_what_would_happen_and_nothing_is_written(client, at_a_carers, vet, hospital, carer, sutures, kind):
    published(at_a_carers, vet)
    client.force_login(vet)
    before = rows_in_the_database()
    query = {name: sutures if value == "sutures" else value for name, value in SUPPOSED[kind].items()}

    answer = ask(client, at_a_carers, **query)

    assert answer.status_code == 200
    assert rows_in_the_database() == before
    assert isinstance(live_plan(at_a_carers, TODAY).answer, Planned)
    supposed = answer.context["then"].planned.days
    assert supposed != live_plan(at_a_carers, TODAY).planned.days
    made_true(kind, at_a_carers, vet, hospital, carer, sutures)
    assert live_plan(at_a_carers, TODAY).planned.days == supposed


def test_several_at_once_and_each_can_be_taken_out(client, at_a_carers, nurse, sutures):
    client.force_login(nurse)

    answer = ask(client, at_a_carers, **SUPPOSED["shut"], **SUPPOSED["rule"], shut_1_on="2027-04-16")
    words = [(words, without) for _, words, without, _ in answer.context["supposed"]]

    assert answer.context["then"].planned.days[sutures] == OPERATED + timedelta(48)  # day 49, 16 April, is shut
    assert [each for each, _ in words[:2]] == ["The clinic closed on Fri 09-Apr-2027", "The clinic closed on Fri 16-Apr-2027"]
    assert words[0][1].startswith("shut-0-on=2027-04-16&rule-0-rule_id=")


def test_the_address_is_made_clean_and_htmx_gets_the_part_alone(client, turtle, vet, sutures):
    client.force_login(vet)
    typed = {"day-0-event_id": "", "day-0-on": "", "day-3-event_id": sutures, "day-3-on": "2027-04-07", "shut-0-on": " "}
    address = reverse("plans:what-if", args=[turtle.case_number])
    clean = f"{address}?day-0-event_id={sutures.replace(':', '%3A')}&day-0-on=2027-04-07"

    plain = client.get(address, typed)
    part = client.get(address, typed, **HTMX)

    assert (plain.status_code, plain["Location"]) == (302, clean)
    assert (part.status_code, part["HX-Push-Url"]) == (200, clean)
    assert "<html" not in part.content.decode()
    assert part.content.decode().count('id="what-if"') == 1
    assert client.get(clean).status_code == 200


@pytest.mark.parametrize(
    ("query", "field", "sentence"),
    [
        ({"day_0_event_id": "sutures", "day_0_on": "2027-02-28"}, "day-0-on", "This day has gone by. Choose today or a later day."),
        ({"day_0_event_id": "sutures", "day_0_on": "soon"}, "day-0-on", "Give the day as year-month-day"),
        ({"day_0_event_id": "sutures", "day_0_on": "9999-12-31"}, "day-0-on", "This is more than two years away."),
        ({"day_0_event_id": "moon", "day_0_on": "2027-04-07"}, "day-0-event_id", "Choose something that is planned for this animal."),
        ({"day_0_on": "2027-04-07"}, "day-0-event_id", "Choose something that is planned for this animal."),
        ({"day_0_event_id": "sutures"}, "day-0-on", "Give the day."),
        ({"wait_0_event_id": "sutures", "wait_0_not_before": "2027-03-01"}, "wait-0-not_before", "Choose a day after today."),
        ({"away_0_starts_on": "2027-04-08", "away_0_ends_on": "2027-04-07"}, "away-0-ends_on", "The last day is before the first."),
        ({"rule_0_rule_id": RULE}, "rule-0-usual_days", "Give at least one figure"),
        ({"rule_0_rule_id": RULE, "rule_0_usual_days": "-3"}, "rule-0-usual_days", "Give a whole number of days from 0 to 730."),
        ({"rule_0_rule_id": RULE, "rule_0_min_days": "60"}, "rule-0-min_days", "must rise"),
        ({"rule_0_rule_id": "moon", "rule_0_min_days": "6"}, "rule-0-rule_id", "Choose a rule that plans something"),
    ],
)
def test_nonsense_is_told_at_its_field_and_the_rest_is_kept(client, at_a_carers, vet, sutures, query, field, sentence):
    client.force_login(vet)
    query = {name: sutures if value == "sutures" else value for name, value in query.items()}

    answer = ask(client, at_a_carers, **query, shut_0_on="2027-04-16")
    shown = answer.content.decode()

    assert answer.status_code == 422
    assert sentence in text(answer)
    assert f'id="id_{field}_error"' in shown
    assert f'href="#id_{field}"' in shown
    assert 'value="2027-04-16"' in shown
    assert all(f'value="{value}"' in shown for name, value in query.items() if name.endswith(("_on", "_days")))
    assert "Nothing was worked out" in text(answer)
    assert [words for _, words, *_ in answer.context["supposed"]] == ["The clinic closed on Fri 16-Apr-2027"]
    assert answer.context["picture"].tracks


def test_every_mistake_is_told_at_once(client, at_a_carers, vet, sutures):
    client.force_login(vet)

    answer = ask(client, at_a_carers, day_0_event_id=sutures, day_0_on="2027-02-01", shut_0_on="x", shut_1_on="2026-01-01")

    assert {form.prefix for form in answer.context["asked"].mistaken} == {"day-0", "shut-0", "shut-1"}


def test_nobody_is_sent_away_from_an_animal_that_is_with_no_carer(client, turtle, vet):
    client.force_login(vet)

    answer = ask(client, turtle, **SUPPOSED["away"])

    assert answer.status_code == 422
    assert "This animal is with no carer. Take this out." in text(answer)


def test_a_supposed_collision_is_told_in_words_with_what_would_settle_it(client, turtle, vet, sutures):
    """10 March is 12 days after the closure; the rule asks for 28, 26 March: 16 days more."""
    client.force_login(vet)

    answer = ask(client, turtle, day_0_event_id=sutures, day_0_on="2027-03-10", shut_0_on="2027-04-16")
    shown = text(answer)

    assert answer.status_code == 200
    assert "These cannot all be kept." in shown
    assert "They miss each other by 16 days." in shown
    assert "“Sutures or staples out · left hind limb” is fixed for Wed 10-Mar-2027." in shown
    assert not answer.context["prices"]
    track = next(track for track in answer.context["picture"].tracks if track.event_id == sutures)
    assert (track.state, track.on) == ("collides", date(2027, 3, 10))
    settled = [more for words, more in answer.context["cures"] if more is not None]
    assert any("day-0-on=2027-03-26" in more and "shut-0-on=2027-04-16" in more for more in settled)
    assert "shut-0-on=2027-04-16" in settled  # taking the supposed day out


def test_while_todays_dates_collide_what_if_shows_the_way_out(client, turtle, vet, sutures):
    published(turtle, vet)
    fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 3, 10), reason="x")
    client.force_login(vet)

    empty = ask(client, turtle)
    answer = ask(client, turtle, day_0_event_id=sutures, day_0_on="2027-04-08")

    assert "These cannot all be kept." in text(empty)
    assert answer.context["then"].planned.days[sutures] == date(2027, 4, 8)
    assert "Promised" in text(answer)


# --- making it true -------------------------------------------------------------------------------------------------


def ways(answer):
    return {label: link for *_, offered in answer.context["supposed"] for link, label in offered}


def test_each_supposition_leads_to_the_real_form_for_those_who_may(client, at_a_carers, vet, nurse, coordinator, carer, sutures):
    query = {name: sutures if value == "sutures" else value for each in SUPPOSED.values() for name, value in each.items()}
    offered = {}
    for person in (vet, nurse, coordinator):
        client.force_login(person)
        offered[person] = ways(ask(client, at_a_carers, **query))

    assert offered[nurse] == {}
    assert set(offered[vet]) == {"Fix this day", "Say “not yet”", "Change the protocol, for every animal"}
    assert set(offered[coordinator]) == {"Fix this day", "Close the clinic on this day", "Enter the days away"}

    filled = {}
    for person in (vet, coordinator):
        client.force_login(person)
        for label, link in offered[person].items():
            form = client.get(link).context["form"]
            filled[label] = {name: str(form[name].value()) for name in form.fields}
    assert filled["Fix this day"].items() >= {"event_id": sutures, "on": "2027-04-07"}.items()
    assert filled["Say “not yet”"].items() >= {"event_id": sutures, "not_before": "2027-04-23"}.items()
    assert filled["Close the clinic on this day"]["on"] == "2027-04-09"
    assert filled["Enter the days away"].items() >= {"starts_on": "2027-04-08", "ends_on": "2027-04-11"}.items()
    assert filled["Change the protocol, for every animal"].items() >= {"usual_days": "49", "max_days": "56", "min_days": "43"}.items()


def test_a_closed_case_can_be_looked_at_and_nothing_be_done(client, turtle, vet, sutures):
    turtle.closed_on = TODAY
    turtle.save()
    client.force_login(vet)

    assert ways(ask(client, turtle, day_0_event_id=sutures, day_0_on="2027-04-07")) == {}


def test_rules_that_make_no_problem_are_told(client, turtle, hospital, vet):
    row = LibraryRow.objects.get(slug=RULE)
    circle = row.content | {"id": "x", "event": "wound_closure", "anchor": "suture_removal", "applies_to": ""}
    made_up = LibraryRow(kind="rule", slug="x", group_id="animal", content=circle, source="x", how_known="x")
    adopt(made_up, hospital=hospital, by=vet, at=now(), seen_version=0)
    client.force_login(vet)

    answer = ask(client, turtle)

    assert answer.status_code == 200
    assert "run in a circle" in text(answer)


# --- a conflict is settled by one press ------------------------------------------------------------------------------


def test_the_cures_of_a_conflict_are_one_press_each_and_the_cheapest_first(client, at_a_carers, vet, sutures):
    published(at_a_carers, vet)
    fix_day(at_a_carers, by=vet, event_id=sutures, on=date(2027, 3, 10), reason="x")
    client.force_login(vet)

    answer = page(client, at_a_carers)
    offers = answer.context["cures"]
    pin = next(offer for offer in offers if offer.line.way == "pin")
    sent = {"event_id": sutures, "on": pin.line.on.isoformat(), "reason": pin.line.reason, "seen_latest": pin.seen_latest}

    assert "They miss each other by 16 days." in text(answer)
    assert [offer.line.broken for offer in offers] == sorted(offer.line.broken for offer in offers)
    assert offers[0].line.way == "unpin"  # every promised date is kept again
    assert offers[0].line.broken.promises == 0
    assert pin.line.broken.promises >= 1
    assert all(f'name="{name}" value="{value}"' in answer.content.decode() for name, value in sent.items())
    assert decide(client, at_a_carers, "pin", **sent).status_code == 302
    assert live_plan(at_a_carers, TODAY).planned.days[sutures] == pin.line.on


def test_a_cure_by_another_rule_leads_to_the_rule_with_its_figure(client, turtle, vet, nurse, sutures):
    fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 3, 10), reason="x")
    client.force_login(vet)
    link = f"{reverse('protocols:row', args=['rule', RULE])}?min_days=12"

    assert link in page(client, turtle).content.decode()
    assert client.get(link).context["form"]["min_days"].value() == "12"
    client.force_login(nurse)
    assert link not in page(client, turtle).content.decode()


def test_a_decision_made_meanwhile_is_not_replaced_by_the_press(client, turtle, vet, coordinator, sutures):
    fix_day(turtle, by=vet, event_id=sutures, on=date(2027, 3, 10), reason="x")
    client.force_login(vet)
    pin = next(offer for offer in page(client, turtle).context["cures"] if offer.line.way == "pin")
    fix_day(turtle, by=coordinator, event_id=sutures, on=date(2027, 4, 6), reason="Lift")

    refused = decide(client, turtle, "pin", event_id=sutures, on=pin.line.on.isoformat(), seen_latest=pin.seen_latest)

    assert refused.status_code == 422
    assert "Cora Coordinator has just decided on Tue 06-Apr-2027" in text(refused)
    assert int(hidden(refused)["seen_latest"]) > pin.seen_latest

"""The night's check: every live case planned anew, what it lists, what it leaves alone, and where people see it."""

import json
from datetime import date, timedelta
from io import StringIO

import pytest
import time_machine
from django.apps import apps
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from handover.boards.overnight import FILTERS, KINDS
from handover.management.commands.replan import progress_line
from handover.plans import proposals
from handover.plans.actions import fix_day, publish
from handover.plans.models import Pin, Plan, Proposal
from handover.plans.nightly import Run, check_cases, store, tallies
from handover.plans.proposals import Found, check_batch
from handover.plans.queries import changes_since, live_plan, plan_in_force
from handover.plans.told import SENTENCES, sentence_of
from handover.protocols.actions import adopt_group
from handover.schedule import changes
from hospital.admissions.models import Patient, TaxonGroup
from hospital.audit.models import AuditEntry
from hospital.clock import now, today
from hospital.people.models import CarerAway
from hospital.sites.models import ClosedDay
from tests import make

TODAY = date(2027, 3, 1)  # a Monday
OPERATED = date(2027, 2, 26)
Kind = Proposal.Kind


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-01 02:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, vet):
    """A pond turtle whose left hind limb was fixed and sutured on Friday 26 February 2027, with its plan published."""
    return operated(vet, name="Bramble")


def operated(vet, **fields):
    patient = make.patient(vet, admitted_at=make.at("2027-02-25 10:00"), **fields)
    operation = patient.procedures.create(
        kind="limb-fixation", done_on=OPERATED, site="left hind limb", surgeon=vet, recorded_by=vet
    )
    about = {"procedure": operation, "site": "left hind limb"}
    patient.closures.create(closed_on=OPERATED, material="nylon", count=6, **about)
    bandage = patient.bandages.create(kind="limb-fixation", applied_on=OPERATED, **about)
    bandage.changes.create(patient=patient, changed_on=date(2027, 2, 27), changed_by=vet)
    make.placement(patient, None, days_ago=90, ward="Warm room, tub 3")
    publish(patient, by=vet)
    return patient


def replan(*arguments, workers=1, **options):
    """(exit status, what it printed, what it said beside it). One process, so that it sees this test's transaction."""
    out, beside = StringIO(), StringIO()
    try:
        call_command("replan", *arguments, workers=workers, stdout=out, stderr=beside, **options)
    except SystemExit as end:
        return end.code, out.getvalue(), beside.getvalue()
    return 0, out.getvalue(), beside.getvalue()


def report(*arguments, **options):
    status, out, _ = replan(*arguments, json=True, **options)
    return status, json.loads(out)


def kind_of(patient):
    return Proposal.objects.get(patient=patient).kind


def sutures_of(patient):
    return f"suture_removal:closure-{patient.closures.get().pk}"


def close_next_recheck(patient):
    on = plan_in_force(patient).dates.filter(event="recheck", done_on=None).first().on
    ClosedDay.objects.create(hospital=patient.hospital, on=on)
    return on


def let_collide(patient, vet):
    """Sutures stay 28 days at least: NC State University, Turtle Ally Program, module "Common Surgical Techniques"."""
    fix_day(patient, by=vet, event_id=sutures_of(patient), on=date(2027, 3, 2), reason="Asked for")


def make_unreadable(patient, vet):
    """A course whose last dose lies beyond the last year that a calendar here knows: no form lets it in."""
    make.order(patient, by=vet, every_hours=32_000, doses=32_000)


# --- what it finds --------------------------------------------------------------------------------------------------


def test_a_plan_that_stands_is_as_agreed_and_nobody_is_needed(turtle):
    status, out, _ = replan("--all")

    assert status == 0, out
    assert kind_of(turtle) == Kind.AGREED
    assert "1 case checked; plan as agreed: 1." in out


def test_a_plan_that_would_change_is_listed_with_what_publishing_would_change(turtle):
    on = close_next_recheck(turtle)
    status, found = report("--all")

    (animal,) = found["hospitals"][0]["animals"]
    live = live_plan(turtle, TODAY)
    expected = [(each.event_id, str(each.kind)) for each in changes_since(plan_in_force(turtle), live)]
    assert status == 1
    assert (animal["case"], animal["kind"]) == (turtle.case_number, "changed")
    assert [(each["event_id"], each["kind"]) for each in animal["changes"]] == expected
    assert f"would move from {on:%a %d-%b-%Y} to " in animal["sentence"]
    assert animal["address"].endswith(reverse("plans:replan", args=[turtle.case_number]))
    proposal = Proposal.objects.get()
    assert (proposal.days, proposal.plan) == (live.digest, plan_in_force(turtle))


def test_dates_that_collide_are_listed_with_the_demands_that_do(turtle, vet):
    let_collide(turtle, vet)
    status, found = report("--all")

    (animal,) = found["hospitals"][0]["animals"]
    assert status == 1
    assert animal["kind"] == "conflict"
    assert set(animal["conflict"]) == set(live_plan(turtle, TODAY).conflict.members)
    assert "is fixed for Tue 02-Mar-2027" in animal["sentence"]


def test_what_is_late_is_listed_whatever_else_is_found(turtle):
    """Sutures out 28 to 42 days after closure: NC State University, Turtle Ally Program, module "Common Surgical Techniques"."""
    with time_machine.travel(now() + timedelta(days=70), tick=False):
        _, found = report("--all")

    (animal,) = found["hospitals"][0]["animals"]
    late = {each["event_id"]: each for each in animal["late"]}
    assert found["hospitals"][0]["late"] == 1
    assert late[sutures_of(turtle)]["last_day"] == (OPERATED + timedelta(days=42)).isoformat()
    assert late[sutures_of(turtle)]["what"] == "Sutures or staples out · left hind limb"


def test_an_animal_without_a_plan_in_force_waits_for_nobody_until_it_lives_with_a_carer(turtle, vet, carer):
    other = make.patient(vet, admitted_at=make.at("2027-02-27 10:00"))
    in_the_ward, _ = report("--all")
    make.placement(other, carer, days_ago=1)
    at_home, found = report("--all", again=True)

    assert kind_of(other) == Kind.FIRST
    assert (in_the_ward, at_home) == (0, 1)
    assert "dates to publish" in found["hospitals"][0]["animals"][0]["sentence"]


def test_what_was_done_on_another_day_is_no_change_of_a_day_to_come(turtle):
    live, published = live_plan(turtle, TODAY), plan_in_force(turtle)
    done = changes.Change("recheck:1", changes.Kind.DONE, TODAY, TODAY - timedelta(days=1))
    moved = changes.Change("recheck:2", changes.Kind.MOVED, TODAY, TODAY + timedelta(days=1))

    assert proposals.kind_of(live, published, (done,)) == Kind.AGREED
    assert proposals.kind_of(live, published, (done, moved)) == Kind.CHANGED


def test_each_hospital_is_checked_on_its_own_day(turtle, vet):
    far = make.hospital(name="Far Hospital", slug="far", zone="Pacific/Kiritimati")  # UTC+14: 02:00 UTC is 16:00 there
    near = make.hospital(name="Near Hospital", slug="near", zone="Pacific/Pago_Pago")  # UTC-11: it is the day before there
    animals = [make.patient(vet, at=place) for place in (far, near)]
    replan("--all")

    days = {proposal.patient_id: proposal.on for proposal in Proposal.objects.all()}
    assert [days[animal.pk] for animal in animals] == [date(2027, 3, 1), date(2027, 2, 28)]


def test_a_check_that_goes_on_beyond_midnight_is_that_of_the_day_on_which_it_began(turtle, vet):
    operated(vet, name="Thorn")
    with time_machine.travel(make.at("2027-03-01 23:59"), tick=False) as clock:
        for each in check_cases(Patient.objects.in_care(), batch=1):
            clock.move_to(make.at("2027-03-02 00:01"))
            run = each
        (tally,) = tallies(Patient.objects.in_care(), run.days)

    assert set(Proposal.objects.values_list("on", flat=True)) == {TODAY}
    assert (tally.day, tally.checked) == (TODAY, 2)


# --- what it leaves alone -------------------------------------------------------------------------------------------


def test_it_writes_nothing_but_proposals(turtle, vet):
    let_collide(turtle, vet)
    close_next_recheck(operated(vet, name="Thorn"))
    models = [model for app in ("hospital", "handover") for model in apps.get_app_config(app).get_models() if model is not Proposal]

    def everything():
        return {model.__name__: list(model.objects.order_by("pk").values()) for model in models}

    before = everything()
    replan("--all")

    assert Proposal.objects.count() == 2
    assert everything() == before


def test_a_closed_case_is_not_checked_and_its_proposal_goes(turtle, vet):
    other = operated(vet, name="Thorn")
    replan("--all")
    Patient.objects.filter(pk=other.pk).update(closed_on=TODAY)
    _, found = report("--all")

    assert found["cases"] == 1
    assert list(Proposal.objects.values_list("patient", flat=True)) == [turtle.pk]


def test_one_animal_that_cannot_be_read_never_stops_the_others(turtle, vet):
    animals = [operated(vet, name=f"Other{n}") for n in range(6)]
    make_unreadable(animals[3], vet)
    status, found = report("--all")

    told = {animal["case"]: animal for animal in found["hospitals"][0]["animals"]}
    assert status == 1
    assert found["checked"] == 7
    assert list(told) == [animals[3].case_number]
    assert told[animals[3].case_number]["kind"] == "trouble"
    assert "OverflowError" in told[animals[3].case_number]["sentence"]


def test_one_animal_that_cannot_be_planned_never_stops_the_others(turtle, vet):
    """A day beyond which no calendar goes: no form lets it in."""
    other = operated(vet, name="Thorn")
    Pin.objects.create(patient=turtle, event_id=sutures_of(turtle), on=date.max, decided_by=vet, decided_at=now())
    replan("--all")

    assert (kind_of(turtle), kind_of(other)) == (Kind.TROUBLE, Kind.AGREED)
    assert "OverflowError" in Proposal.objects.get(patient=turtle).why[0]


# --- running it again -----------------------------------------------------------------------------------------------


def later_that_night(minutes):
    return time_machine.travel(now() + timedelta(minutes=minutes), tick=False)


def test_running_it_again_passes_over_what_has_not_changed(turtle, vet, carer):
    other, third = operated(vet, name="Thorn"), operated(vet, name="Fern")
    make.placement(third, carer, days_ago=1)
    _, first = report("--all")
    made = dict(Proposal.objects.values_list("patient", "made_at"))
    with later_that_night(5):
        _, second = report("--all")
        unchanged = dict(Proposal.objects.values_list("patient", "made_at"))
        turtle.examinations.create(kind="recheck", examined_on=TODAY, examined_by=vet)
        CarerAway.objects.create(carer=carer, starts_on=TODAY, ends_on=TODAY + timedelta(days=20))
        _, third_run = report("--all")

    assert [each["unchanged_since_earlier_check"] for each in (first, second, third_run)] == [0, 3, 1]
    assert unchanged == made
    again = {pk for pk, at in Proposal.objects.values_list("patient", "made_at") if at != made[pk]}
    assert again == {turtle.pk, third.pk}
    assert other.pk not in again


def test_a_plan_published_since_a_closed_day_and_a_new_day_are_all_looked_at_again(turtle, vet):
    close_next_recheck(turtle)
    report("--all")
    publish(turtle, by=vet)
    _, after_publishing = report("--all")
    kind = kind_of(turtle)
    ClosedDay.objects.create(hospital=turtle.hospital, on=TODAY + timedelta(days=300))
    _, after_closing = report("--all")
    with time_machine.travel(now() + timedelta(days=1), tick=False):
        _, tomorrow = report("--all")

    assert [each["unchanged_since_earlier_check"] for each in (after_publishing, after_closing, tomorrow)] == [0, 0, 0]
    assert kind == Kind.AGREED
    assert Proposal.objects.get().on == TODAY + timedelta(days=1)


def test_again_plans_anew_what_was_checked_already(turtle):
    report("--all")
    with later_that_night(5):
        _, found = report("--all", again=True)

    assert found["unchanged_since_earlier_check"] == 0
    assert Proposal.objects.get().made_at == make.at("2027-03-01 02:05")


def test_every_batch_is_kept_as_soon_as_it_is_done(turtle, vet):
    for n in range(4):
        operated(vet, name=f"Other{n}")
    kept = [Proposal.objects.count() for _ in check_cases(Patient.objects.in_care(), batch=2)]

    assert kept == [0, 2, 4, 5]


def test_a_batch_costs_the_same_number_of_queries_however_many_animals_it_holds(turtle, vet, carer):
    def asked(again=True):
        with CaptureQueriesContext(connection) as queries:
            for _ in check_cases(Patient.objects.in_care(), again=again):
                pass
        return len(queries)

    close_next_recheck(turtle)
    make.placement(turtle, carer, days_ago=1)
    few = asked()
    for n in range(5):
        make.placement(operated(vet, name=f"Other{n}"), carer, days_ago=1)
    many = asked()

    assert many == few <= 40


# --- cases by name, and bad arguments -------------------------------------------------------------------------------


def test_cases_are_checked_by_number_as_people_type_them(turtle, vet):
    operated(vet, name="Thorn")
    typed = f"{turtle.case_number[:2]}-{turtle.case_number[2:].lower()}"
    _, found = report(typed)

    assert (found["cases"], Proposal.objects.get().patient) == (1, turtle)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ([], "Name cases, or say --all"),
        (["--all", "{case}"], "Name cases, or say --all"),
        (["{wrong}"], "a character is wrong"),
        (["{unused}"], "There is no case"),
        (["{closed}"], "was closed on 2027-03-01"),
        (["--all", "--batch", "0"], "--batch must be a whole number"),
    ],
)
def test_bad_arguments_are_refused_in_a_sentence(turtle, vet, arguments, sentence):
    from hospital.rules.casenumbers import case_number

    closed = operated(vet, name="Thorn")
    Patient.objects.filter(pk=closed.pk).update(closed_on=TODAY)
    last = turtle.case_number[-1]
    wrong = turtle.case_number[:-1] + ("2" if last != "2" else "3")
    words = {"case": turtle.case_number, "wrong": wrong, "unused": case_number(900_000), "closed": closed.case_number}

    with pytest.raises(CommandError, match=sentence) as refused:
        replan(*(each.format(**words) for each in arguments))

    assert refused.value.returncode == 2
    assert not Proposal.objects.exists()


def test_an_installation_without_animals_says_so(db, hospital):
    status, out, _ = replan("--all")

    assert (status, out.strip()) == (0, "There is no animal in care: nothing to check.")


def test_the_summary_names_each_animal_under_what_was_found(turtle, vet):
    let_collide(turtle, vet)
    thorn = operated(vet, name="Thorn")
    close_next_recheck(thorn)
    _, out, _ = replan("--all")

    lines = out.splitlines()
    assert lines[0] == "Test Hospital, Mon 01-Mar-2027"
    assert lines.index("  Dates collide") < lines.index("  Days would change")
    assert f"    {turtle.case_number}  Bramble, European pond turtle: " in out
    assert f"    {thorn.case_number}  Thorn, European pond turtle: " in out


def test_progress_tells_count_rate_and_rest():
    assert progress_line(Run(10_000, checked=1_400), 28.0) == "1400 of 10000 cases, 50 a second, 2 min 52 s left"
    assert progress_line(Run(10_000), 0.0) == "0 of 10000 cases"
    assert progress_line(Run(10_000, checked=10_000), 200.0) == "10000 of 10000 cases in 3 min 20 s"


def test_where_there_is_no_terminal_progress_is_plain_lines(turtle):
    _, _, beside = replan("--all")
    _, _, quiet = replan("--all", verbosity=0)

    assert beside.splitlines() == [line for line in beside.splitlines() if line.startswith("1 of 1 cases")]
    assert "\r" not in beside
    assert quiet == ""


# --- what the database holds ----------------------------------------------------------------------------------------


def test_a_batch_that_cannot_be_stored_is_stored_not_at_all(turtle, vet):
    from django.db import DatabaseError, transaction

    found = check_batch([turtle.pk], turtle.hospital, TODAY).found
    with pytest.raises(DatabaseError), transaction.atomic():
        store([*found, Found(turtle.pk + 1, "x" * 20 if connection.vendor == "postgresql" else None)], turtle.hospital, TODAY)

    assert not Proposal.objects.exists()


def test_proposals_leave_no_audit_rows_and_may_be_replaced(turtle):
    before = AuditEntry.objects.count()
    report("--all")
    report("--all", again=True)

    assert AuditEntry.objects.count() == before
    assert Plan.objects.count() == 1


def test_every_kind_of_finding_and_of_change_has_words():
    assert set(KINDS) == set(Kind)
    assert set(FILTERS) - {"", "late"} == set(Kind) - {Kind.AGREED}
    assert set(SENTENCES) == set(changes.Kind)


# --- where people see it --------------------------------------------------------------------------------------------


def board(client, name, **query):
    return client.get(reverse(f"boards:{name}", query=query or None))


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


@pytest.fixture
def three(turtle, vet):
    """One whose dates collide, one that would change, one as agreed; all checked at two in the morning."""
    let_collide(turtle, vet)
    thorn, fern = operated(vet, name="Thorn"), operated(vet, name="Fern")
    home = make.carer("Holly Home", thorn.hospital)
    make.placement(thorn, home, days_ago=1)
    on = plan_in_force(thorn).dates.filter(event="recheck", done_on=None).first().on
    CarerAway.objects.create(carer=home, starts_on=on, ends_on=on)
    replan("--all")
    return turtle, thorn, fern


def test_the_day_board_says_that_the_check_has_not_run_and_how_it_is_run(client, turtle, coordinator):
    client.force_login(coordinator)

    for name in ("today", "proposals"):
        page = text(board(client, name))
        assert "The night’s check has not run today." in page
        assert "python3 manage.py replan --all" in page


def test_the_day_board_lists_whose_plan_would_change_or_collides(client, three, coordinator):
    turtle, thorn, _ = three
    client.force_login(coordinator)
    found = board(client, "today")

    assert [each.patient for each in found.context["overnight"].pressing] == [turtle, thorn]
    assert "3 plans were made anew and held against those in force; last at Mon 01-Mar-2027 02:00." in text(found)
    for patient in (turtle, thorn):
        assert f'href="{reverse("plans:replan", args=[patient.case_number])}"' in found.content.decode()
        assert sentence_of(patient.proposal).split("”")[0] in text(found)


def test_the_page_of_all_findings_can_be_narrowed_to_a_kind(client, three, coordinator):
    turtle, thorn, _ = three
    client.force_login(coordinator)

    def shown(**query):
        return [each.patient for each in board(client, "proposals", **query).context["shown"]]

    assert shown() == [turtle, thorn]
    assert shown(kind="conflict") == [turtle]
    assert shown(kind="changed") == [thorn]
    assert shown(kind="trouble") == []
    assert shown(kind="nonsense") == [turtle, thorn]
    assert shown(words="thorn") == [thorn]
    assert "Dates collide (1)" in text(board(client, "proposals"))
    assert "?kind=conflict&amp;words=bramble" in board(client, "proposals", words="bramble").content.decode()


def test_what_is_late_can_be_chosen_whatever_else_was_found(client, turtle, coordinator):
    with time_machine.travel(now() + timedelta(days=70), tick=False):
        replan("--all")
        client.force_login(coordinator)
        found = board(client, "proposals", kind="late")

    assert [each.patient for each in found.context["shown"]] == [turtle]
    assert "Late: “" in text(found)


def published_since(patient, vet):
    publish(patient, by=vet)


def examined_since(patient, vet):
    patient.examinations.create(kind="recheck", examined_on=TODAY, examined_by=vet)


def away_no_more(patient, vet):
    CarerAway.objects.all().delete()


@pytest.mark.parametrize("meanwhile", [published_since, examined_since, away_no_more])
def test_a_finding_is_shown_only_while_it_is_true(client, three, vet, meanwhile):
    turtle, thorn, _ = three
    client.force_login(vet)
    before = [each.patient for each in board(client, "proposals").context["shown"]]
    meanwhile(thorn, vet)
    after = board(client, "proposals")

    assert thorn in before
    assert [each.patient for each in after.context["shown"]] == [turtle]
    assert "Of 1 animal something was recorded or published since" in text(after)


def test_yesterdays_findings_are_not_shown(client, three, vet):
    client.force_login(vet)
    with time_machine.travel(now() + timedelta(days=1), tick=False):
        client.force_login(vet)
        page = text(board(client, "today"))

    assert "The night’s check has not run today." in page


def test_a_protocol_put_in_force_since_takes_the_findings_back(client, three, vet, hospital):
    client.force_login(vet)
    adopt_group(TaxonGroup.objects.get(pk="bird"), hospital=hospital, by=vet, at=now())

    assert board(client, "proposals").context["shown"] == []


def test_animals_that_the_check_has_not_seen_are_counted(client, three, vet):
    operated(vet, name="Newcomer")
    client.force_login(vet)

    assert "1 animal has not been checked today" in text(board(client, "today"))


def test_another_hospitals_findings_stay_there(client, three, stranger, carer):
    client.force_login(stranger)
    theirs = [text(board(client, name)) for name in ("today", "proposals")]
    client.force_login(carer.person)
    refused = board(client, "proposals").status_code

    assert all(patient.case_number not in page for patient in three for page in theirs)
    assert refused == 403


def test_an_animal_that_cannot_be_read_is_named_on_the_page(client, turtle, vet):
    found = Found(turtle.pk, Kind.TROUBLE, why=["The program that plans it broke off (signal 11)."])
    store([found], turtle.hospital, today(turtle.hospital.zone))
    client.force_login(vet)

    page = board(client, "proposals", kind="trouble")

    assert [each.patient for each in page.context["shown"]] == [turtle]
    assert "broke off (signal 11)" in text(page)

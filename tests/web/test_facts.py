"""What was recorded about an animal, as the facts that its plan counts from."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from handover.facts import case_of, cases_of, setup_of
from handover.plans.models import Hold, Pin, RuleChoice
from handover.protocols.queries import gates_in_force, rules_in_force
from handover.schedule.problem import CARER, CLINIC
from handover.schedule.protocol import problem_for
from hospital.clock import now
from hospital.people.models import CarerAway
from hospital.sites.models import ClosedDay
from tests import make

TODAY = date(2027, 3, 1)  # a Monday
OPERATED = date(2027, 2, 26)


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        yield


@pytest.fixture
def turtle(vet):
    return make.patient(vet, admitted_at=make.at("2027-02-25 10:00"))


def operate(patient, kind="limb-fixation", on=OPERATED, **fields):
    who = {"surgeon": patient.admitted_by, "recorded_by": patient.admitted_by}
    return patient.procedures.create(kind=kind, done_on=on, **who | {"site": "left hind limb"} | fields)


def close(procedure, **fields):
    wanted = {"patient": procedure.patient, "closed_on": procedure.done_on, "site": "left hind limb"}
    return procedure.closures.create(**wanted | {"material": "nylon"} | fields)


def bandage(patient, kind="limb-fixation", on=OPERATED, **fields):
    return patient.bandages.create(**{"kind": kind, "site": "left hind limb", "applied_on": on} | fields)


def implant(procedure, kind, **fields):
    wanted = {"patient": procedure.patient, "placed_on": procedure.done_on, "site": "left hind limb"}
    return procedure.implants.create(kind=kind, **wanted | fields)


def examine(patient, kind, on):
    return patient.examinations.create(kind=kind, examined_on=on, examined_by=patient.admitted_by)


def decided(patient):
    return {"patient": patient, "decided_by": patient.admitted_by, "decided_at": now()}


def facts_of(patient, event):
    return [fact for fact in case_of(patient).facts if fact.event == event]


def only(patient, event):
    (fact,) = facts_of(patient, event)
    return fact


# --- one kind of row after the other --------------------------------------------------------------------------------


def test_an_admission_is_on_the_hospitals_own_day(vet):
    late = make.patient(vet, admitted_at=make.at("2027-06-30 23:30"))  # half past midnight in London in summer

    assert only(late, "admission").on == date(2027, 7, 1)


def test_a_procedure_gives_the_anchors_of_its_kind(turtle):
    operation = operate(turtle, "shell-repair")

    assert only(turtle, "shell_repair").subject == only(turtle, "surgery").subject == f"procedure-{operation.pk}"


def test_an_anaesthetic_gives_an_awakening_to_watch(turtle):
    operate(turtle, anaesthetic="alfaxalone")

    assert only(turtle, "extubation").on == OPERATED


@pytest.mark.parametrize(
    ("material", "tag"),
    [("nylon", "sutures"), ("staples", "staples"), ("polydioxanone", "absorbable"), ("adhesive", "adhesive")],
)
def test_a_closure_says_what_holds_it(turtle, material, tag):
    closure = close(operate(turtle, "wound-closure"), material=material)

    closed = only(turtle, "wound_closure")

    assert (closed.subject, closed.label, closed.tags) == (f"closure-{closure.pk}", "left hind limb", {tag})


def test_a_closure_whose_limb_is_fixed_says_so(turtle):
    operation = operate(turtle, "wound-closure")
    close(operation)
    bandage(turtle, procedure=operation)

    assert only(turtle, "wound_closure").tags == {"sutures", "limb_fixation"}


@pytest.mark.parametrize(("kind", "tag"), [("coeliotomy", "coelomic"), ("shell-repair", "shell_repair")])
def test_a_closure_says_what_kind_of_operation_it_belongs_to(turtle, kind, tag):
    close(operate(turtle, kind))

    assert tag in only(turtle, "wound_closure").tags


def test_sutures_that_are_out_are_done(turtle):
    closure = close(operate(turtle), removed_on=date(2027, 3, 1))

    out = only(turtle, "suture_removal")

    assert (out.subject, out.on) == (f"closure-{closure.pk}", date(2027, 3, 1))


def test_a_bandage_gives_its_changes_and_its_end(turtle):
    wrap = bandage(turtle, kind="figure-of-eight", removed_on=TODAY)
    wrap.changes.create(patient=turtle, changed_on=date(2027, 2, 28), changed_by=turtle.admitted_by)

    assert only(turtle, "bandage_applied").tags == {"figure_of_eight"}
    assert only(turtle, "bandage_change").subject == f"bandage-{wrap.pk}"
    assert only(turtle, "bandage_removal").on == TODAY
    assert facts_of(turtle, "splint_removal") == []


def test_a_splint_ends_as_a_splint(turtle):
    bandage(turtle, kind="splint", removed_on=TODAY)

    assert only(turtle, "splint_applied").on == OPERATED
    assert only(turtle, "splint_removal").on == TODAY
    assert facts_of(turtle, "bandage_removal") == []


def test_the_first_look_at_a_bandage_is_whoever_looked_first_on_a_later_day(turtle, carer):
    bandage(turtle)
    make_log(turtle, carer, on=OPERATED)
    make_log(turtle, carer, on=OPERATED + timedelta(1))
    examine(turtle, "recheck", TODAY)

    assert only(turtle, "bandage_first_check").on == OPERATED + timedelta(1)


def make_log(patient, carer, on):
    times = {"on": on, "made_at": now(), "received_at": now()}
    patient.logs.create(key=uuid4(), author=carer.person, bandage="dry", answer="fine", **times)


def test_implants_of_an_operation_are_out_when_the_last_one_is(turtle):
    operation = operate(turtle, "fracture-fixation")
    first = implant(operation, "intramedullary-pin", removed_on=date(2027, 2, 28))
    second = implant(operation, "external-fixator")
    implant(operation, "cerclage", must_come_out=False)

    assert only(turtle, "fracture_stabilised").tags == {"removable_implant", "external_fixator"}
    assert facts_of(turtle, "implant_removal") == []
    second.removed_on = TODAY
    second.save()
    assert only(turtle, "implant_removal").on == TODAY
    assert only(turtle, "implant_removal").subject == f"procedure-{first.procedure_id}"


def test_a_drain_comes_out_by_itself(turtle):
    operation = operate(turtle, "fracture-fixation")
    implant(operation, "intramedullary-pin")
    drain = implant(operation, "drain", removed_on=TODAY)

    assert {f"implant-{drain.pk}", f"procedure-{operation.pk}"} == {
        fact.subject for fact in facts_of(turtle, "surgery")
    }
    assert only(turtle, "implant_removal").subject == f"implant-{drain.pk}"


def test_a_recheck_is_a_fact_and_an_admission_examination_is_none(turtle):
    examine(turtle, "admission", OPERATED)
    examine(turtle, "recheck", TODAY)

    assert [fact.on for fact in facts_of(turtle, "recheck")] == [TODAY]


def test_a_release_assessment_is_passed_unless_a_vet_then_said_not_yet(turtle):
    examine(turtle, "release_assessment", TODAY)

    assert only(turtle, "release_assessment").on == TODAY
    Hold.objects.create(
        event_id="release_assessment", from_on=TODAY, not_before=TODAY + timedelta(14), reason="weak", **decided(turtle)
    )
    assert facts_of(turtle, "release_assessment") == []
    assert only(turtle, "recheck").on == TODAY


def test_milestones_are_facts_and_what_is_true_of_the_case_is_a_tag(turtle):
    for event in ("full_water", "hand_reared"):
        turtle.milestones.create(event=event, happened_on=TODAY, recorded_by=turtle.admitted_by)

    assert only(turtle, "full_water").on == TODAY
    assert case_of(turtle).tags == {"hand_reared"}


def test_an_animal_kept_apart_is_in_quarantine(vet):
    assert case_of(make.patient(vet, is_biosecurity_risk=True)).tags == {"quarantine"}


def order(patient, **fields):
    dose = {"dose_per_kg": 1, "strength_per_ml": 1, "weight_g": 800, "dose_amount": 1, "volume_ml": 1, "syringe_ml": 1}
    times = {"every_hours": 24, "doses": 5, "first_dose_at": make.at("2027-02-27 09:00")}
    who = {"ordered_by": patient.admitted_by, "ordered_at": now()}
    return patient.medication_orders.create(
        drug="Meloxicam oral suspension", route="mouth", **dose | times | who | fields
    )


def test_a_course_ends_with_its_last_dose_even_if_that_is_still_to_come(turtle):
    course = order(turtle)

    last = only(turtle, "last_drug_dose")

    assert (last.on, last.subject) == (date(2027, 3, 3), f"course-{course.pk}")
    assert "meloxicam" in last.tags


def test_a_course_across_the_change_to_summer_time_keeps_its_hour(turtle):
    order(turtle, first_dose_at=make.at("2027-03-27 23:30"), doses=2)  # 23:30 in London; the clocks go on at 01:00 UTC

    assert only(turtle, "last_drug_dose").on == date(2027, 3, 28)


def test_a_course_that_was_stopped_ended_then_and_one_never_begun_is_none(turtle):
    order(turtle, stopped_on=date(2027, 2, 28))
    order(turtle, stopped_on=date(2027, 2, 26))

    assert only(turtle, "last_drug_dose").on == date(2027, 2, 28)


# --- decisions and calendars ----------------------------------------------------------------------------------------


def test_only_decisions_that_still_hold_are_read(turtle):
    Pin.objects.create(event_id="recheck:1", on=TODAY, ended_at=now(), **decided(turtle))
    Pin.objects.create(event_id="recheck:1", on=date(2027, 3, 4), **decided(turtle))
    Hold.objects.create(event_id="full_water", from_on=TODAY, not_before=date(2027, 5, 1), **decided(turtle))
    RuleChoice.objects.create(rule="turtle-freshwater.suture-removal.slow", **decided(turtle))

    case = case_of(turtle)

    assert [(pin.event_id, pin.on) for pin in case.pins] == [("recheck:1", date(2027, 3, 4))]
    assert [hold.event_id for hold in case.holds] == ["full_water"]
    assert case.chosen == {"turtle-freshwater.suture-removal.slow"}


def test_closed_days_and_a_carers_absence_are_what_the_plan_must_work_round(turtle, hospital, carer):
    ClosedDay.objects.create(hospital=hospital, on=date(2027, 3, 26), reason="Good Friday")
    ClosedDay.objects.create(hospital=hospital, on=date(2026, 12, 25))
    CarerAway.objects.create(carer=carer, starts_on=date(2027, 3, 8), ends_on=date(2027, 3, 12))
    make.placement(turtle, carer)

    closed = setup_of(turtle, TODAY).closed

    assert closed[CLINIC].weekdays == {5, 6}
    assert closed[CLINIC].dates == {date(2027, 3, 26)}
    assert closed[CARER].spans == ((date(2027, 3, 8), date(2027, 3, 12)),)


def test_an_animal_in_the_ward_waits_for_no_carer(turtle, carer):
    CarerAway.objects.create(carer=carer, starts_on=date(2027, 3, 8), ends_on=date(2027, 3, 12))
    make.placement(turtle, carer)
    make.placement(turtle, None, days_ago=0)

    assert CARER not in setup_of(turtle, TODAY).closed


def test_a_southern_hospital_is_known_to_be_one(vet):
    south = make.hospital(name="South", slug="south", latitude=Decimal("-27.5"))

    assert case_of(make.patient(vet, at=south)).is_southern


def test_many_patients_take_as_many_queries_as_one(vet, carer):
    def queries(patients):
        with CaptureQueriesContext(connection) as seen:
            cases = cases_of(patients)
            for patient in patients:
                setup_of(patient, TODAY)
        return len(seen), len(cases)

    patients = [make.patient(vet, admitted_at=make.at("2027-02-25 10:00")) for _ in range(5)]
    for patient in patients:
        operation = operate(patient)
        close(operation)
        bandage(patient, procedure=operation)
        implant(operation, "drain")
        examine(patient, "recheck", TODAY)
        order(patient)
        make.placement(patient, carer)

    assert queries(fresh(patients[:1]))[0] == queries(fresh(patients))[0] <= 22


def fresh(patients):
    return list(type(patients[0]).objects.filter(pk__in=[patient.pk for patient in patients]))


# --- the whole way --------------------------------------------------------------------------------------------------


def test_a_turtle_with_a_fixed_limb_gets_the_windows_of_its_protocol(adopted, hospital, turtle):
    """Sutures out 28 to 42 days after closure: NC State University, Turtle Ally Program, module "Common Surgical
    Procedures". First water after two dry days, at most three: the hospital's default, common practice, no source."""
    operation = operate(turtle)
    closure = close(operation)
    bandage(turtle, procedure=operation)

    instance = problem_for(case_of(turtle), rules_in_force(hospital), gates_in_force(hospital), setup_of(turtle, TODAY))
    lags = {lag.end: lag for lag in instance.problem.lags if lag.start.startswith("wound_closure")}

    sutures = lags[f"suture_removal:closure-{closure.pk}"]
    water = lags["dry_dock_end"]
    assert (sutures.min, sutures.usual, sutures.max) == (28, 42, 42)
    assert (water.min, water.usual, water.max) == (2, 2, 3)
    assert instance.meaning[sutures.end].label == "left hind limb"

"""Examinations and rechecks."""

from datetime import timedelta
from decimal import Decimal
from html import unescape
from xml.etree import ElementTree

import pytest
from django.contrib.staticfiles import finders
from django.urls import reverse

from hospital.admissions.models import Species, Weight
from hospital.clock import now, today
from hospital.examinations.actions import mark, open_problem, record_examination
from hospital.examinations.models import Examination
from hospital.examinations.vocabulary import PLACES, REGIONS, VIEWS_OF, nearest_place
from hospital.procedures.actions import put_bandage_on, record_procedure, take_closure_out
from hospital.procedures.models import BandageChange, Milestone
from tests import make

pytestmark = pytest.mark.django_db


def url(name, patient, *args):
    return reverse(f"examinations:{name}", args=[patient.case_number, *args])


def days_ago(days):
    return today("Europe/London") - timedelta(days=days)


@pytest.fixture
def operated(patient, vet):
    """A patient with two closures, a bandage and an implant, from five days ago."""
    sutures = {"site": "left flank", "material": "nylon", "count": 6}
    record_procedure(
        patient,
        by=vet,
        kind="wound-closure",
        done_on=days_ago(5),
        surgeon=vet,
        closures=[sutures, sutures | {"site": "left thigh"}],
        bandages=[{"kind": "shell-dressing", "site": "carapace"}],
        implants=[{"kind": "drain", "site": "flank", "must_come_out": True}],
    )
    return patient


def seen(**fields):
    return {"examined_on": days_ago(0).isoformat(), "wound": "clean"} | fields


def words(answer):
    return answer.content.decode()


# --- who may ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", ["add", "recheck"])
def test_vets_and_nurses_examine_and_nobody_else(client, patient, vet, nurse, coordinator, carer, stranger, page):
    make.placement(patient, carer)
    expected = {vet: 200, nurse: 200, coordinator: 403, carer.person: 403, stranger: 404}

    answers = {}
    for person in expected:
        client.force_login(person)
        answers[person] = client.get(url(page, patient)).status_code

    assert answers == expected


# --- examinations -------------------------------------------------------------------------------------------------


def test_an_examination_is_recorded_with_the_weight_in_one_go(client, patient, nurse):
    client.force_login(nurse)

    answer = client.post(url("add", patient), seen(kind="admission", findings="Bright.", weight_g="812"))

    assert answer.status_code == 302
    examination = Examination.objects.get()
    assert (examination.kind, examination.wound, examination.examined_by) == ("admission", "clean", nurse)
    assert Weight.objects.get().weight_g == 812


def test_the_first_examination_begins_with_what_was_said_on_admission_and_later_ones_do_not(client, vet):
    animal = make.patient(vet, triage="now", triage_note="Shell cracked by a mower.")
    client.force_login(vet)

    first = words(client.get(url("add", animal)))
    client.post(url("add", animal), seen(kind="admission"))
    later = words(client.get(url("add", animal)))

    told = "</strong>: Shell cracked by a mower."
    assert (told in first, told in later) == (True, False)


@pytest.mark.parametrize("page", ["add", "recheck"])
def test_whoever_examines_is_warned_of_bites_and_of_what_is_catching(client, vet, page):
    fox = make.species("Vulpes vulpes", "Red fox", is_aquatic=False, is_dangerous=True)
    titles = ["May bite or scratch", "Can make people ill"]
    client.force_login(vet)

    warned = words(client.get(url(page, make.patient(vet, species=fox, is_zoonosis_risk=True))))
    harmless = words(client.get(url(page, make.patient(vet))))

    assert [title in warned for title in titles] == [True, True]
    assert [title in harmless for title in titles] == [False, False]


def test_the_fall_in_weight_that_calls_a_vet_stands_there_with_its_source(client, vet):
    # Divers & Stahl, Mader's Reptile and Amphibian Medicine and Surgery, 3rd ed. 2019, from memory: 3 % a week, 8 % a month.
    client.force_login(vet)

    animal = make.patient(vet)
    page = unescape(words(client.get(url("add", animal))))
    chart = unescape(words(client.get(reverse("chart:patient", args=[animal.case_number]))))

    line = page[page.index("A vet hears") :].split("</p>")[0]
    assert line in chart
    assert "the same day of a fall of 3% within 7 days, at once of 8% within 30 days. Source: Divers & Stahl" in line
    assert "3rd ed. 2019, from memory." in line


def test_the_address_chooses_the_kind_and_a_recheck_has_its_own_page(client, patient, vet):
    client.force_login(vet)

    page = client.get(url("add", patient), {"kind": "release_assessment"})
    recheck = client.get(url("add", patient), {"kind": "recheck"})

    assert '<option value="release_assessment" selected' in words(page)
    assert recheck.url == url("recheck", patient)


def test_a_release_assessment_is_a_vets_judgement(client, patient, vet, nurse):
    answers = []
    for person in (nurse, vet):
        client.force_login(person)
        answers.append(client.post(url("add", patient), seen(kind="release_assessment")))

    assert [answer.status_code for answer in answers] == [422, 302]
    assert "A release assessment is a vet" in words(answers[0])


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"examined_on": days_ago(-1).isoformat()}, "in the future"),
        ({"examined_on": days_ago(30).isoformat()}, "before admission"),
        ({"wound": "fine"}, "Select a valid choice."),
        ({"wound": ""}, "Say how the wound is, or that there is none."),
        ({"weight_g": "1.2 kg"}, "Give the weight in grams"),
    ],
)
@pytest.mark.parametrize("page", ["add", "recheck"])
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(client, patient, vet, page, fields, sentence):
    client.force_login(vet)

    answer = client.post(url(page, patient), seen(kind="other", findings="kept") | fields)

    assert answer.status_code == 422
    assert sentence in words(answer)
    assert "kept" in words(answer)
    assert Examination.objects.count() == 0


def test_an_unlikely_weight_is_asked_about_and_the_examination_waits_with_it(client, patient, vet):
    Weight.objects.create(patient=patient, weighed_at=now(), weight_g=Decimal(812))
    client.force_login(vet)
    data = seen(kind="other", weight_g="8120")

    asks = client.post(url("add", patient), data)
    sure = client.post(url("add", patient), data | {"is_sure": "on"})

    assert (asks.status_code, sure.status_code) == (422, 302)
    assert 'name="is_sure"' in words(asks)
    assert Examination.objects.count() == 1


def test_two_people_who_correct_one_examination_see_both_versions(client, patient, vet):
    client.force_login(vet)
    client.post(url("add", patient), seen(kind="other"))
    page = url("edit", patient, Examination.objects.get().pk)
    data = seen(kind="other", seen_version=1)

    first = client.post(page, data | {"findings": "theirs"})
    second = client.post(page, data | {"findings": "mine"})
    moved_on = {"seen_version": second.context["form"]["seen_version"].value()}
    third = client.post(page, data | {"findings": "mine"} | moved_on)

    assert [first.status_code, second.status_code, third.status_code] == [302, 409, 302]
    assert "theirs" in words(second)
    assert "Both versions" in words(second)
    assert Examination.objects.get().findings == "mine"


# --- rechecks -----------------------------------------------------------------------------------------------------


def done_now(patient):
    """The recheck page with everything ticked but the second closure."""
    closure, bandage, implant = patient.closures.first(), patient.bandages.get(), patient.implants.get()
    return {
        "closures_out": [closure.pk],
        f"bandage_{bandage.pk}": "off",
        "implants_out": [implant.pk],
        "milestones": ["full_water"],
        "weight_g": "800",
    }


def test_one_page_records_what_was_seen_and_all_that_was_done(client, operated, vet):
    client.force_login(vet)

    answer = client.post(url("recheck", operated), seen(advice="Water all day.", **done_now(operated)))

    assert answer.status_code == 302
    examination = Examination.objects.get()
    assert (examination.kind, examination.advice) == ("recheck", "Water all day.")
    assert [row.removed_on for row in operated.closures.all()] == [days_ago(0), None]
    assert operated.bandages.get().removed_on == operated.implants.get().removed_on == days_ago(0)
    assert Milestone.objects.get().event == "full_water"
    assert Weight.objects.get().weight_g == 800


def test_steps_in_water_are_offered_for_animals_that_live_there(client, patient, vet):
    hedgehog = make.patient(vet, species=make.species("Erinaceus europaeus", "European hedgehog", is_aquatic=False))
    client.force_login(vet)

    assert 'value="full_water"' in words(client.get(url("recheck", patient)))
    assert 'value="full_water"' not in words(client.get(url("recheck", hedgehog)))
    assert 'value="cage_rest_end"' in words(client.get(url("recheck", hedgehog)))


def test_a_bandage_may_be_changed_or_left_as_it_is(client, operated, vet):
    other = put_bandage_on(operated, kind="tail", site="tail", applied_on=days_ago(3))
    first = operated.bandages.exclude(pk=other.pk).get()
    client.force_login(vet)

    client.post(url("recheck", operated), seen(**{f"bandage_{first.pk}": "changed", f"bandage_{other.pk}": ""}))

    assert BandageChange.objects.get().bandage == first
    assert set(operated.bandages.values_list("removed_on", flat=True)) == {None}


def test_a_recheck_of_an_earlier_day_dates_everything_to_that_day(client, operated, vet):
    client.force_login(vet)

    client.post(url("recheck", operated), seen(**done_now(operated)) | {"examined_on": days_ago(2).isoformat()})

    assert operated.closures.first().removed_on == Milestone.objects.get().happened_on == days_ago(2)
    assert Weight.objects.get().weighed_at.date() == days_ago(2)


def test_a_recheck_is_written_whole_or_not_at_all(client, operated, vet):
    before_the_operation = {"examined_on": days_ago(7).isoformat()}
    client.force_login(vet)

    answer = client.post(url("recheck", operated), seen(findings="kept", **done_now(operated)) | before_the_operation)

    assert answer.status_code == 422
    assert "It cannot come off before it went on" in words(answer)
    assert "kept" in words(answer)
    assert Examination.objects.count() == Milestone.objects.count() == Weight.objects.count() == 0
    assert operated.closures.first().removed_on is None


def test_sutures_that_somebody_took_out_meanwhile_are_not_taken_out_again(client, operated, vet):
    data = seen(**done_now(operated))
    take_closure_out(operated.closures.first(), removed_on=days_ago(1))
    client.force_login(vet)

    answer = client.post(url("recheck", operated), data)

    assert answer.status_code == 422
    assert "recorded as out by somebody else meanwhile" in words(answer)
    assert Examination.objects.count() == 0


def test_another_animals_sutures_cannot_be_taken_out_here(client, operated, vet):
    another = make.patient(vet)
    client.force_login(vet)

    answer = client.post(url("recheck", another), seen(closures_out=[operated.closures.first().pk]))

    assert answer.status_code == 422
    assert operated.closures.first().removed_on is None


def test_a_closed_case_is_not_rechecked(client, operated, vet):
    operated.closed_on = days_ago(0)
    operated.save()
    client.force_login(vet)

    answer = client.post(url("recheck", operated), seen())

    assert answer.status_code == 422
    assert "This case was closed on" in words(answer)


def test_after_a_recheck_comes_the_plan(client, operated, vet):
    client.force_login(vet)

    answer = client.post(url("recheck", operated), seen())

    assert answer.url == f"/patients/{operated.case_number}/plan/replan/"


# --- what was looked at -------------------------------------------------------------------------------------------


def test_nothing_that_was_not_looked_at_is_called_normal(client, patient, vet):
    client.force_login(vet)

    client.post(url("add", patient), seen(kind="other", system_eyes="normal", odd_skin="Ulcer, 4 mm"))
    examination = Examination.objects.get()
    page = words(client.get(reverse("chart:patient", args=[patient.case_number])))

    assert examination.systems == {"eyes": "", "skin": "Ulcer, 4 mm"}
    assert "Normal: eyes" in page
    assert "Shell and skin: Ulcer, 4 mm" in page
    assert "Nerves and balance" not in page


def test_one_tick_says_that_all_the_rest_is_normal(client, patient, vet):
    client.force_login(vet)

    client.post(url("add", patient), seen(kind="other", rest_is_normal="on", system_heart="odd", odd_heart="Murmur"))

    assert Examination.objects.get().systems == {
        "eyes": "", "mouth": "", "skin": "", "heart": "Murmur", "breathing": "", "gut": "", "cloaca": "", "bones": "", "nerves": "",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("said", "field", "sentence"),
    [
        ({"system_eyes": "odd"}, "odd_eyes", "Write what is not normal."),
        ({"system_eyes": "normal", "odd_eyes": "Red"}, "odd_eyes", "Normal is ticked and something is written."),
        ({"temperature_c": "warm"}, "temperature_c", "Write a number, for example 38.5."),
        ({"decision": "euthanase"}, "decision_reason", "Say why: the next reader must be able to follow the decision."),
        ({"condition_score": "9"}, "condition_score", "Select a valid choice."),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_nothing_is_lost(client, patient, vet, said, field, sentence):
    client.force_login(vet)

    answer = client.post(url("add", patient), seen(kind="other", findings="Kept words", **said))

    assert answer.status_code == 422
    assert sentence in answer.context["form"].errors[field][0]
    assert "Kept words" in words(answer)
    assert not Examination.objects.exists()


@pytest.mark.parametrize(
    ("scientific_name", "scale", "top"),
    [("Tyto alba", "keel", 5), ("Phascolarctos cinereus", "scapula", 10), ("Emys orbicularis", "five", 5)]
)
def test_the_scale_of_body_condition_is_the_groups_own_and_is_kept_by_name(client, reference, vet, scientific_name, scale, top):
    """Birds by keel and breast muscle, 1 to 5: LafeberVet, Body Condition Scoring in Birds. Koalas 1 to 10: from memory."""
    patient = make.patient(vet, species=Species.objects.get(scientific_name=scientific_name))
    client.force_login(vet)

    client.post(url("add", patient), seen(kind="other", condition_score=str(top)))

    examination = Examination.objects.get()
    assert (examination.condition_score, examination.condition_scale) == (top, scale)


def test_a_bird_has_a_crop_and_a_turtle_has_none(client, reference, patient, vet):
    owl = make.patient(vet, species=Species.objects.get(scientific_name="Tyto alba"))
    client.force_login(vet)

    assert "Crop" in words(client.get(url("add", owl)))
    assert "Crop" not in words(client.get(url("add", patient)))


@pytest.mark.parametrize(("decision", "kind"), [("euthanase", "euthanased"), ("transfer", "transferred")])
def test_a_decision_leads_to_its_outcome_with_the_reason_and_closes_nothing_by_itself(client, patient, vet, decision, kind):
    client.force_login(vet)

    answer = client.post(url("add", patient), seen(kind="other", decision=decision, decision_reason="Spine broken"), follow=True)

    assert answer.request["PATH_INFO"] == reverse("outcomes:record", args=[patient.case_number])
    assert answer.context["form"]["kind"].value() == kind
    assert answer.context["form"]["reason"].value() == "Spine broken"
    patient.refresh_from_db()
    assert patient.closed_on is None


def test_an_edit_keeps_the_systems_and_the_scale(client, patient, vet):
    client.force_login(vet)
    client.post(url("add", patient), seen(kind="other", system_eyes="normal", odd_skin="Ulcer", condition_score="2"))
    examination = Examination.objects.get()
    form = client.get(url("edit", patient, examination.pk)).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields}

    client.post(url("edit", patient, examination.pk), sent | {"odd_skin": "Ulcer, 2 mm"})

    examination.refresh_from_db()
    assert examination.systems == {"eyes": "", "skin": "Ulcer, 2 mm"}
    assert (examination.condition_score, examination.condition_scale) == (2, "five")


# --- the drawing --------------------------------------------------------------------------------------------------


@pytest.fixture
def looked_at(patient, vet):
    return record_examination(patient, by=vet, kind="other", examined_on=days_ago(3), wound="open")


def test_a_touch_on_the_drawing_sets_a_numbered_mark(client, patient, looked_at, vet):
    client.force_login(vet)

    client.post(url("drawing", patient, looked_at.pk), {"kind": "bite", "words": "12 mm", "top.x": "150", "top.y": "162"})
    client.post(url("drawing", patient, looked_at.pk), {"kind": "burn", "under.x": "30", "under.y": "90"})

    assert [(m.number, m.kind, m.view, m.x, m.y) for m in looked_at.marks.all()] == [
        (1, "bite", "top", 500, 540), (2, "burn", "under", 100, 300),
    ]  # fmt: skip
    page = words(client.get(url("drawing", patient, looked_at.pk)))
    assert "1: Bite, middle of the upper shell: 12 mm" in page


def test_a_place_of_the_list_does_without_pointing_and_no_place_at_all_is_asked_for(client, patient, looked_at, vet):
    client.force_login(vet)

    named = client.post(url("drawing", patient, looked_at.pk), {"kind": "wound", "place": "under:vent"})
    nowhere = client.post(url("drawing", patient, looked_at.pk), {"kind": "wound", "words": "Kept words", "top.x": "0", "top.y": "0"})
    strange = client.post(url("drawing", patient, looked_at.pk), {"kind": "wound", "place": "inside:heart"})

    assert named.status_code == 302
    assert looked_at.marks.get().view == "under"
    assert nowhere.status_code == strange.status_code == 422
    assert "Kept words" in words(nowhere)


def test_a_wound_keeps_its_number_at_the_next_examination(client, patient, looked_at, vet):
    client.force_login(vet)
    client.post(url("drawing", patient, looked_at.pk), {"kind": "bite", "place": "top:head"})
    client.post(url("drawing", patient, looked_at.pk), {"kind": "burn", "place": "top:tail"})
    later = record_examination(patient, by=vet, kind="other", examined_on=days_ago(0), wound="healing")

    client.post(url("take-over", patient, later.pk))
    first = later.marks.get(number=1)
    client.post(url("unmark", patient, first.pk), {"seen_version": first.version})
    client.post(url("drawing", patient, later.pk), {"kind": "swelling", "place": "top:head"})

    assert [(m.number, m.kind) for m in later.marks.all()] == [(2, "burn"), (3, "swelling")]
    assert [m.number for m in looked_at.marks.all()] == [1, 2]
    shown = words(client.get(url("drawings", patient)))
    assert shown.index("3: Swelling") < shown.index("1: Bite")


def test_a_mark_of_another_patient_is_not_there(client, looked_at, patient, vet):
    other = make.patient(vet)
    made = mark(looked_at, by=vet, kind="wound", view="top", x=1, y=1)
    client.force_login(vet)

    assert client.post(url("unmark", other, made.pk), {"seen_version": 1}).status_code == 404
    assert client.get(url("drawing", other, looked_at.pk)).status_code == 404


@pytest.mark.parametrize("plan", sorted({plan for plan, _view in REGIONS}))
def test_every_body_plan_has_its_drawings_and_named_places_on_them(plan):
    for view in VIEWS_OF[plan]:
        drawn = ElementTree.parse(finders.find(f"hospital/outlines/{plan}-{view}.svg")).getroot()

        assert drawn.get("viewBox") == "0 0 1000 1000"
        assert all(0 < x < 1000 and 0 < y < 1000 for x, y in REGIONS[plan, view].values())
        assert all(nearest_place(plan, view, x, y) == PLACES[key] for key, (x, y) in REGIONS[plan, view].items())


def test_left_from_above_is_left_from_below_on_the_other_side():
    for plan in ("chelonian", "lizard", "bird", "bat", "frog"):
        above, below = REGIONS[plan, "top"], REGIONS[plan, "under"]
        paired = [key for key in above if key in below and key.endswith(("left", "right"))]

        assert paired
        assert all(above[key][0] == 1000 - below[key][0] for key in paired)


# --- problems -----------------------------------------------------------------------------------------------------


def test_problems_found_stand_at_the_head_of_the_chart_until_they_are_closed(client, patient, vet):
    client.force_login(vet)
    client.post(url("add", patient), seen(kind="other", problems="Shell fracture\n\n Dehydration "))
    problem = patient.problems.get(name="Dehydration")

    client.post(
        url("problem-close", patient, problem.pk),
        {"closed_on": days_ago(0).isoformat(), "close_reason": "Drinks", "seen_version": problem.version},
    )
    record = client.get(reverse("chart:patient", args=[patient.case_number])).context["record"]

    assert [each.name for each in record.open_problems] == ["Shell fracture"]
    assert [(each.name, each.close_reason) for each in record.closed_problems] == [("Dehydration", "Drinks")]


def test_a_problem_grows_into_a_diagnosis_and_two_who_write_at_once_see_both(client, patient, vet):
    client.force_login(vet)
    problem = open_problem(patient, by=vet, name="Swollen joint", found_on=days_ago(1))
    sent = {"name": "Septic arthritis", "found_on": days_ago(1).isoformat(), "note": "", "seen_version": "1"}

    first = client.post(url("problem-edit", patient, problem.pk), sent)
    second = client.post(url("problem-edit", patient, problem.pk), sent | {"name": "Gout"})

    problem.refresh_from_db()
    assert first.status_code == 302
    assert second.status_code == 409
    assert problem.name == "Septic arthritis"
    assert "Gout" in words(second)
    assert "Septic arthritis" in words(second)


def test_the_same_problem_is_not_opened_twice_and_not_closed_before_it_began(client, patient, vet):
    client.force_login(vet)
    problem = open_problem(patient, by=vet, name="Mange", found_on=days_ago(1))

    again = client.post(url("problem-add", patient), {"name": "mange", "found_on": days_ago(0).isoformat()})
    before = client.post(
        url("problem-close", patient, problem.pk), {"closed_on": days_ago(2).isoformat(), "close_reason": "x", "seen_version": "1"}
    )

    assert again.status_code == before.status_code == 422
    assert "on the list already" in words(again)
    assert "before it was found" in words(before)


@pytest.mark.parametrize("name", ["problem-add", "drawings"])
def test_carers_do_not_read_problems_and_drawings(client, patient, carer, stranger, name):
    make.placement(patient, carer)
    for person, status in ((carer.person, 403), (stranger, 404)):
        client.force_login(person)
        assert client.get(url(name, patient)).status_code == status

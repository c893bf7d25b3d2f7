"""Recording what is done to an animal, and what it leaves on or in it."""

from datetime import timedelta

import pytest
from django.urls import reverse

from hospital.audit.queries import history_of
from hospital.clock import now, today
from hospital.edits import EditCollision
from hospital.procedures import actions
from hospital.procedures.forms import NOTHING_WRITTEN
from hospital.procedures.models import Bandage, BandageChange, Closure, Implant, Milestone, Procedure
from hospital.procedures.vocabulary import AT_RECHECK, USUALLY_LEAVES, event_names, milestones, vocabulary
from tests import make

pytestmark = pytest.mark.django_db


def url(name, patient, *args):
    return reverse(f"procedures:{name}", args=[patient.case_number, *args])


def days_ago(days):
    return today("Europe/London") - timedelta(days=days)


def sent(by, *, closures=(), bandages=(), implants=(), **fields):
    """The procedure page as a browser sends it."""
    data = {"kind": "imaging", "done_on": days_ago(2).isoformat(), "surgeon": by.pk} | fields
    for name, rows in (("closures", closures), ("bandages", bandages), ("implants", implants)):
        data |= {f"{name}-TOTAL_FORMS": len(rows), f"{name}-INITIAL_FORMS": 0}
        for number, row in enumerate(rows):
            data |= {f"{name}-{number}-{field}": value for field, value in row.items()}
    return data


NYLON = {"site": "left flank", "material": "nylon", "pattern": "horizontal-mattress", "count": 6}
WRAP = {"kind": "figure-of-eight", "site": "left wing", "padding": "cotton", "outer": "cohesive"}
PIN = {"kind": "intramedullary-pin", "size": "1.6 mm", "site": "left ulna"}


def made(patient, by, **fields):
    """A recorded procedure with one closure, one bandage and one implant."""
    wanted = {"kind": "wound-closure", "done_on": days_ago(5), "surgeon": by, "closures": [NYLON], "bandages": [WRAP]}
    return actions.record_procedure(patient, by=by, **wanted | {"implants": [PIN | {"must_come_out": True}]} | fields)


@pytest.fixture
def closure(patient, vet):
    return made(patient, vet).closures.get()


@pytest.fixture
def bandage(patient, vet):
    return made(patient, vet).bandages.get()


@pytest.fixture
def implant(patient, vet):
    return made(patient, vet).implants.get()


# --- who may ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("page", ["add", "hint", "bandage-on", "milestone"])
def test_vets_and_nurses_record_and_nobody_else(client, patient, vet, nurse, coordinator, carer, stranger, page):
    make.placement(patient, carer)
    expected = {vet: 200, nurse: 200, coordinator: 403, carer.person: 403, stranger: 404}

    answers = {}
    for person in expected:
        client.force_login(person)
        answers[person] = client.get(url(page, patient)).status_code

    assert answers == expected


def test_what_is_on_an_animal_is_reached_through_its_own_patient_only(client, patient, vet, closure, bandage, implant):
    another = make.patient(vet)
    client.force_login(vet)

    pages = [
        url("closure-out", another, closure.pk),
        url("bandage-off", another, bandage.pk),
        url("bandage-changed", another, bandage.pk),
        url("bandage-edit", another, bandage.pk),
        url("implant-out", another, implant.pk),
        url("edit", another, closure.procedure_id),
    ]

    assert [client.get(page).status_code for page in pages] == [404] * len(pages)


# --- recording ----------------------------------------------------------------------------------------------------


def test_one_page_records_an_operation_with_all_that_it_leaves(client, patient, vet):
    client.force_login(vet)

    answer = client.post(
        url("add", patient),
        sent(vet, closures=[NYLON, NYLON | {"site": "left thigh"}], bandages=[WRAP], implants=[PIN], findings="Clean."),
    )

    assert answer.status_code == 302
    procedure = Procedure.objects.get()
    assert [(row.site, row.closed_on, row.count) for row in procedure.closures.all()] == [
        ("left flank", days_ago(2), 6),
        ("left thigh", days_ago(2), 6),
    ]
    assert procedure.bandages.get().applied_on == days_ago(2)
    assert procedure.implants.get().must_come_out
    assert procedure.recorded_by == vet


def test_an_empty_row_counts_for_nothing(client, patient, vet):
    client.force_login(vet)

    client.post(url("add", patient), sent(vet, closures=[{"site": "", "material": "", "pattern": "", "count": ""}]))

    assert Procedure.objects.get().closures.count() == 0


@pytest.mark.parametrize(
    ("kind", "rows", "written"),
    [("wound-closure", "closures", NYLON), ("fracture-fixation", "implants", PIN), ("wing-strapping", "bandages", WRAP)],
)
def test_a_procedure_that_usually_leaves_something_asks_when_nothing_is_written(client, patient, vet, kind, rows, written):
    client.force_login(vet)

    asked = client.post(url("add", patient), sent(vet, kind=kind))
    on_purpose = client.post(url("add", patient), sent(vet, kind=kind, left_nothing="on"))
    with_row = client.post(url("add", patient), sent(vet, kind=kind, **{rows: [written]}))

    assert asked.status_code == 422
    assert "or say that there is none" in asked.content.decode()
    assert 'name="left_nothing"' in asked.content.decode()
    assert 'name="left_nothing"' not in client.get(url("add", patient)).content.decode()
    assert (on_purpose.status_code, with_row.status_code) == (302, 302)
    assert Procedure.objects.count() == 2


def test_what_a_kind_usually_leaves_is_of_the_list_and_has_its_question():
    assert set(USUALLY_LEAVES) <= set(vocabulary().procedures)
    assert set(USUALLY_LEAVES.values()) == set(NOTHING_WRITTEN)


@pytest.mark.parametrize(("choice", "comes_out"), [("", False), ("yes", True), ("no", False)])
def test_whether_an_implant_must_come_out_is_as_usual_for_its_kind_unless_said(client, patient, vet, choice, comes_out):
    client.force_login(vet)

    client.post(url("add", patient), sent(vet, implants=[PIN | {"kind": "cerclage", "must_come_out": choice}]))

    assert not vocabulary().implants["cerclage"].must_come_out
    assert Implant.objects.get().must_come_out is comes_out


def test_asking_for_one_more_row_keeps_what_was_typed_and_saves_nothing(client, patient, vet):
    client.force_login(vet)

    answer = client.post(
        url("add", patient),
        sent(vet, closures=[NYLON], done_on="not a day", findings="half a senten", more="bandages"),
    )

    html = answer.content.decode()
    assert answer.status_code == 200
    assert "half a senten" in html
    assert "left flank" in html
    assert 'name="bandages-0-site"' in html
    assert "There is a problem" not in html
    assert Procedure.objects.count() == 0


def test_one_more_row_comes_as_a_part_with_its_first_field_in_focus(client, patient, vet):
    client.force_login(vet)

    answer = client.post(url("add", patient), sent(vet, more="implants"), headers={"HX-Request": "true"})

    html = answer.content.decode()
    assert html.lstrip().startswith('<form id="procedure-form"')
    assert html.count("autofocus") == 1


def test_a_page_whose_row_count_was_tampered_with_is_refused_without_a_traceback(client, patient, vet):
    client.force_login(vet)

    for nonsense in ("9999999", "x", ""):
        data = sent(vet, closures=[NYLON]) | {"closures-TOTAL_FORMS": nonsense}
        assert client.post(url("add", patient), data).status_code == 422
        assert client.post(url("add", patient), data | {"more": "closures"}).status_code == 200
    assert Procedure.objects.count() == 0


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"kind": ""}, "Choose the procedure."),
        ({"done_on": "31/31/2027"}, "Give the day as year-month-day"),
        ({"done_on": days_ago(-1).isoformat()}, "This day is in the future."),
        ({"done_on": days_ago(20).isoformat()}, "This is before admission on"),
        ({"closures": [NYLON | {"site": ""}]}, "Say where the closed wound is."),
        ({"closures": [NYLON | {"count": "0"}]}, "greater than or equal to 1"),
        ({"closures": [NYLON | {"material": "string"}]}, "Select a valid choice."),
    ],
)
def test_what_is_wrong_is_said_and_nothing_typed_is_lost(client, patient, vet, fields, sentence):
    client.force_login(vet)

    answer = client.post(url("add", patient), sent(vet, findings="kept", **fields))

    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in html
    assert "There is a problem" in html
    assert "kept" in html
    assert Procedure.objects.count() == 0


def test_an_operation_is_written_whole_or_not_at_all(patient, vet):
    with pytest.raises(actions.ValidationError):
        made(patient, vet, bandages=[WRAP | {"site": ""}])

    assert Procedure.objects.count() == Closure.objects.count() == Implant.objects.count() == 0


def test_nothing_is_added_to_a_closed_case(client, patient, vet):
    patient.closed_on = days_ago(1)
    patient.save()
    client.force_login(vet)

    answer = client.post(url("add", patient), sent(vet))

    assert answer.status_code == 422
    assert "This case was closed on" in answer.content.decode()


def test_the_kind_that_was_chosen_says_what_to_write_down_and_to_beware_of(client, patient, vet):
    client.force_login(vet)

    answer = client.get(url("hint", patient), {"kind": "hook-removal"})

    assert "account for every hook" in answer.content.decode()


# --- correcting ---------------------------------------------------------------------------------------------------


def as_opened(procedure, by, **changes):
    """The edit page as it was opened, with some changes."""
    closure = procedure.closures.get()
    row = NYLON | {"row_id": closure.pk, "seen_version": closure.version} | changes.pop("closure", {})
    return sent(by, closures=[row], seen_version=procedure.version, done_on=procedure.done_on.isoformat(), **changes)


@pytest.fixture
def procedure(patient, vet):
    return made(patient, vet, bandages=[], implants=[])


def test_a_corrected_day_takes_what_went_on_that_day_with_it(client, patient, vet, procedure):
    client.force_login(vet)

    answer = client.post(
        url("edit", patient, procedure.pk), as_opened(procedure, vet) | {"done_on": days_ago(4).isoformat()}
    )

    assert answer.status_code == 302
    assert procedure.closures.get().closed_on == days_ago(4)


def test_a_day_out_that_was_wrong_is_taken_away_again(client, patient, vet, procedure):
    actions.take_closure_out(procedure.closures.get(), removed_on=days_ago(0))
    client.force_login(vet)

    client.post(url("edit", patient, procedure.pk), as_opened(procedure, vet, closure={"removed_on": ""}))

    assert procedure.closures.get().removed_on is None


def test_a_closure_cannot_come_out_before_it_went_in(client, patient, vet, procedure):
    client.force_login(vet)

    early = {"removed_on": days_ago(6).isoformat()}
    answer = client.post(url("edit", patient, procedure.pk), as_opened(procedure, vet, closure=early))

    assert answer.status_code == 422
    assert "It cannot come off before it went on" in answer.content.decode()


def test_a_row_written_by_mistake_goes_and_the_history_keeps_it(client, patient, vet, procedure):
    closure = procedure.closures.get()
    client.force_login(vet)

    client.post(url("edit", patient, procedure.pk), as_opened(procedure, vet, closure={"is_mistake": "on"}))

    assert procedure.closures.count() == 0
    assert history_of(closure).first().action == "delete"


def test_a_bandage_that_was_changed_was_no_mistake(client, patient, vet, bandage):
    actions.change_bandage(bandage, by=vet, changed_on=days_ago(1), note="")
    procedure = bandage.procedure
    row = WRAP | {"row_id": bandage.pk, "seen_version": bandage.version, "is_mistake": "on"}
    client.force_login(vet)

    answer = client.post(
        url("edit", patient, procedure.pk),
        sent(vet, bandages=[row], seen_version=procedure.version, done_on=procedure.done_on.isoformat()),
    )

    assert answer.status_code == 422
    assert "has recorded changes" in answer.content.decode()
    assert Bandage.objects.filter(pk=bandage.pk).exists()


def test_two_people_see_both_versions_and_the_second_save_wins_on_purpose(client, patient, vet, procedure):
    client.force_login(vet)
    opened = as_opened(procedure, vet, findings="mine", closure={"site": "right flank"})
    client.post(url("edit", patient, procedure.pk), as_opened(procedure, vet, findings="theirs"))

    first = client.post(url("edit", patient, procedure.pk), opened)
    html = first.content.decode()
    again = {field.html_name: field.value() for form in forms_of(first) for field in form}
    second = client.post(url("edit", patient, procedure.pk), opened | seen(again))

    assert first.status_code == 409
    assert "Both versions" in html
    assert "theirs" in html
    assert "mine" in html
    assert second.status_code == 302
    procedure.refresh_from_db()
    assert (procedure.findings, procedure.closures.get().site) == ("mine", "right flank")


def forms_of(answer):
    form = answer.context["form"]
    return [form, *(row for rows in form.rows.values() for row in rows.forms)]


def seen(values):
    return {name: value for name, value in values.items() if name.endswith("seen_version") and value is not None}


def test_a_closure_taken_out_meanwhile_is_not_put_back_by_an_open_edit_page(client, patient, vet, procedure):
    client.force_login(vet)
    opened = as_opened(procedure, vet, findings="mine", closure={"removed_on": ""})
    actions.take_closure_out(procedure.closures.get(), removed_on=days_ago(0))

    answer = client.post(url("edit", patient, procedure.pk), opened)

    assert answer.status_code == 409
    assert "out on" in answer.content.decode()
    assert procedure.closures.get().removed_on == days_ago(0)
    procedure.refresh_from_db()
    assert procedure.findings == ""


# --- what follows -------------------------------------------------------------------------------------------------


def test_sutures_come_out_once(client, patient, vet, nurse, closure):
    client.force_login(nurse)

    first = client.post(url("closure-out", patient, closure.pk), {"removed_on": days_ago(1).isoformat()})
    second = client.post(url("closure-out", patient, closure.pk), {"removed_on": days_ago(0).isoformat()})

    assert (first.status_code, second.status_code) == (302, 422)
    assert "Somebody has already recorded this" in second.content.decode()
    closure.refresh_from_db()
    assert closure.removed_on == days_ago(1)


@pytest.mark.parametrize(
    ("on", "sentence"),
    [(days_ago(-1), "in the future"), (days_ago(6), "before it went on"), (days_ago(20), "before admission")],
)
def test_a_day_off_lies_between_the_day_on_and_today(client, patient, vet, closure, bandage, implant, on, sentence):
    client.force_login(vet)

    pages = [
        url("closure-out", patient, closure.pk),
        url("bandage-off", patient, bandage.pk),
        url("implant-out", patient, implant.pk),
    ]

    for page in pages:
        answer = client.post(page, {"removed_on": on.isoformat()})
        assert answer.status_code == 422
        assert sentence in answer.content.decode()


def test_a_bandage_is_changed_any_number_of_times_then_comes_off(client, patient, vet, bandage):
    client.force_login(vet)

    for days in (3, 1):
        client.post(url("bandage-changed", patient, bandage.pk), {"changed_on": days_ago(days).isoformat()})
    client.post(url("bandage-off", patient, bandage.pk), {"removed_on": days_ago(0).isoformat()})

    assert [change.changed_on for change in bandage.changes.all()] == [days_ago(3), days_ago(1)]
    bandage.refresh_from_db()
    assert bandage.removed_on == days_ago(0)


@pytest.mark.parametrize(
    ("page", "field", "on", "sentence"),
    [
        ("bandage-changed", "changed_on", days_ago(6), "It was put on later"),
        ("bandage-off", "removed_on", days_ago(3), "It was changed later"),
    ],
)
def test_a_bandage_is_changed_while_it_is_on(client, patient, vet, bandage, page, field, on, sentence):
    actions.change_bandage(bandage, by=vet, changed_on=days_ago(2), note="")
    client.force_login(vet)

    answer = client.post(url(page, patient, bandage.pk), {field: on.isoformat()})

    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_a_bandage_that_is_off_is_not_changed(client, patient, vet, bandage):
    actions.take_bandage_off(bandage, removed_on=days_ago(1))
    client.force_login(vet)

    answer = client.post(url("bandage-changed", patient, bandage.pk), {"changed_on": days_ago(0).isoformat()})

    assert answer.status_code == 422
    assert "Record a new one instead" in answer.content.decode()


def test_a_bandage_goes_on_without_an_operation(client, patient, nurse):
    client.force_login(nurse)

    answer = client.post(url("bandage-on", patient), WRAP | {"applied_on": days_ago(1).isoformat()})

    assert answer.status_code == 302
    assert (Bandage.objects.get().site, Bandage.objects.get().procedure) == ("left wing", None)


def test_two_people_who_correct_one_bandage_see_both_versions(client, patient, vet):
    bandage = actions.put_bandage_on(patient, **WRAP, applied_on=days_ago(2))
    client.force_login(vet)
    page = url("bandage-edit", patient, bandage.pk)
    data = WRAP | {"applied_on": days_ago(2).isoformat(), "seen_version": 1}

    first = client.post(page, data | {"site": "right wing"})
    second = client.post(page, data | {"site": "both wings"})
    moved_on = {"seen_version": second.context["form"]["seen_version"].value()}
    third = client.post(page, data | {"site": "both wings"} | moved_on)

    assert [first.status_code, second.status_code, third.status_code] == [302, 409, 302]
    assert "right wing" in second.content.decode()
    bandage.refresh_from_db()
    assert bandage.site == "both wings"


def test_a_bandage_cannot_have_gone_on_after_it_was_changed(client, patient, vet, bandage):
    actions.change_bandage(bandage, by=vet, changed_on=days_ago(4), note="")
    client.force_login(vet)

    answer = client.post(
        url("bandage-edit", patient, bandage.pk),
        WRAP | {"applied_on": days_ago(1).isoformat(), "seen_version": bandage.version},
    )

    assert answer.status_code == 422
    assert "It was changed earlier" in answer.content.decode()


def test_a_milestone_is_recorded_once_a_day_and_can_be_taken_back(client, patient, vet):
    client.force_login(vet)
    data = {"event": "full_water", "happened_on": days_ago(1).isoformat()}

    first, second = (client.post(url("milestone", patient), data) for _ in range(2))
    kept = Milestone.objects.get()
    back = client.post(url("milestone-take-back", patient, kept.pk), {"is_sure": "on"})

    assert (first.status_code, second.status_code, back.status_code) == (302, 422, 302)
    assert "This is already recorded for that day." in second.content.decode()
    assert Milestone.objects.count() == 0
    assert history_of(kept).first().action == "delete"


def test_a_bandage_change_written_by_mistake_is_taken_back_after_asking(client, patient, vet, bandage):
    change = actions.change_bandage(bandage, by=vet, changed_on=days_ago(1), note="")
    client.force_login(vet)
    page = url("bandage-change-take-back", patient, change.pk)

    asked = client.post(page, {"is_sure": ""})
    sure = client.post(page, {"is_sure": "on"})

    assert (asked.status_code, sure.status_code) == (422, 302)
    assert BandageChange.objects.count() == 0


# --- words --------------------------------------------------------------------------------------------------------


def test_every_milestone_is_an_event_that_the_plan_knows():
    offered = {event for events in milestones().values() for event in events}

    assert offered | set(AT_RECHECK) <= set(event_names())


def test_whether_an_animal_is_fit_to_go_is_for_a_vet_to_say(client, patient, vet, nurse):
    data = {"event": "release_assessment", "happened_on": days_ago(0).isoformat()}

    answers = []
    for person in (nurse, vet):
        client.force_login(person)
        answers.append(client.post(url("milestone", patient), data).status_code)

    assert answers == [422, 302]


def test_save_edit_of_a_row_still_refuses_a_version_that_was_overtaken(patient, vet, procedure):
    closure = procedure.closures.get()
    row = NYLON | {"row_id": closure.pk, "seen_version": 7, "removed_on": None}

    with pytest.raises(EditCollision):
        actions.edit_procedure(
            procedure,
            seen_version=procedure.version,
            closures=[row],
            bandages=[],
            implants=[],
            kind="wound-closure",
            done_on=days_ago(5),
            surgeon=vet,
        )


def test_the_same_form_sent_again_by_the_back_button_is_stored_once(client, patient, vet):
    client.force_login(vet)
    address = reverse("procedures:add", args=[patient.case_number])
    form = client.get(address).context["form"]
    rows = {f"{name}-{count}": "0" for name in ("closures", "bandages", "implants") for count in ("TOTAL_FORMS", "INITIAL_FORMS")}
    sent = {"key": str(form["key"].value()), "kind": "wound-care", "done_on": today().isoformat(), "surgeon": vet.pk} | rows

    answers = [client.post(address, sent).status_code for _ in range(2)]

    assert answers == [302, 302]
    assert patient.procedures.count() == 1


def test_layers_stand_in_their_order_on_the_page_and_in_the_theatre_record(client, patient, vet):
    done = patient.procedures.create(kind="fracture-fixation", done_on=today(), surgeon=vet, recorded_by=vet)
    on = {"patient": patient, "procedure": done}
    Bandage.objects.create(
        kind="splint", site="left foot", outer="cohesive wrap", contact="hydrocolloid", stiffening="cast tape", padding="cotton",
        applied_on=today(), **on,
    )  # fmt: skip
    Implant.objects.create(kind="intramedullary-pin", size="1.1 mm", site="left ulna", position="in at the elbow", placed_on=today(), **on)
    it = patient.anaesthetics.create(kind="fracture-fixation", planned_on=today(), vet=vet, planned_by=vet, begun_at=now(), procedure=done)
    client.force_login(vet)

    page = client.get(reverse("chart:patient", args=[patient.case_number])).content.decode()
    record = client.get(reverse("theatre:record", args=[patient.case_number, it.pk])).content.decode()

    order = [page.index(word) for word in ("hydrocolloid", "cotton", "cast tape", "cohesive wrap")]
    assert order == sorted(order)
    assert "contact layer: hydrocolloid; padding: cotton; splint or cast: cast tape; outer layer: cohesive wrap" in record
    assert "in at the elbow, must come out before release" in record

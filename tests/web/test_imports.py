"""Old spreadsheets taken in: what is asked, refused, noted, written once, and undone; who may."""

import io
from datetime import date, timedelta
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import DatabaseError, transaction
from django.urls import reverse
from django.utils.timezone import localtime
from openpyxl import Workbook

from handover.demo.records import tell_records
from hospital.admissions.actions import record_weight
from hospital.admissions.models import Finder, Identification, Patient, Weight
from hospital.audit.models import AuditEntry
from hospital.clock import now, pretending
from hospital.exports.models import Export
from hospital.imports import actions
from hospital.imports.files import identities
from hospital.imports.models import Import, ImportedCase
from hospital.imports.queries import table_of
from hospital.imports.words import proposals
from hospital.jobs.actions import ask, run
from hospital.jobs.models import Job
from hospital.outcomes.models import Outcome
from tests import make

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("reference")]

HEADINGS = "Case no,Date in,Species,Weight (g),Reason,Outcome,Outcome date,Found by"
OWL = "7/19,2019-03-13,Barn owl,310,Hit by car,Released,2019-04-02,Ada Finder"


@pytest.fixture
def up(client, coordinator):
    client.force_login(coordinator)
    return client


def table(*rows, headings=HEADINGS):
    return "\n".join([headings, *rows]) + "\n"


def uploaded(text, by, *, name="old.csv", **said):
    """A file with its columns and words said as the pages propose them."""
    content = text.encode() if isinstance(text, str) else text
    of = actions.upload(by.memberships.get().hospital, by=by, file=SimpleUploadedFile(name, content))
    reading = of.reading | said
    return actions.say_columns(of, seen_version=of.version, columns=of.columns, **reading)


def proposed(of, **species):
    words = {}
    for word in proposals(table_of(of), of.columns, {}):
        words.setdefault(word.field, {})[word.folded] = word.likely or "refuse"
    words.setdefault("species", {}).update(species)
    return actions.say_words(of, seen_version=of.version, words=words)


def worked(of, *kinds):
    for kind in kinds:
        job = run(ask(kind, of.hospital, subject=of.key, by=of.uploaded_by).key)
        assert job.state == Job.State.DONE, job.note
    return Import.objects.select_related("hospital", "uploaded_by").get(pk=of.pk)


def checked(text, by, **said):
    return worked(proposed(uploaded(text, by, **said)), "check-import")


def written(text, by, **said):
    return worked(checked(text, by, **said), "write-import")


def sentences(of, **of_kind):
    return {(p.row, p.code) for p in of.problems.filter(**of_kind)}


# --- one row ------------------------------------------------------------------------------------------------------


def test_a_row_becomes_a_closed_case_with_what_the_row_says_and_nothing_else(coordinator):
    of = written(table(OWL), coordinator)

    owl = of.cases.get().patient
    assert (owl.species.common_name, owl.cause_id, owl.closed_on) == ("Barn owl", "road-vehicle", date(2019, 4, 2))
    assert localtime(owl.admitted_at).date() == date(2019, 3, 13)
    assert (owl.outcome.kind, owl.outcome.decided_by, owl.outcome.latitude) == (Outcome.Kind.RELEASED, None, None)
    assert [(w.weight_g, w.weighed_by) for w in owl.weights.all()] == [(Decimal(310), None)]
    assert (owl.placements.count(), owl.sex, owl.finder) == (0, "unknown", None)


def test_the_old_number_is_found_by_the_search_and_shown_on_the_record(coordinator, up):
    owl = written(table(OWL), coordinator).cases.get().patient

    found = up.get(reverse("admissions:closed"), {"words": "7/19"})
    record = up.get(reverse("chart:patient", args=[owl.case_number]))

    assert owl.case_number in found.text
    assert "Former number" in record.text
    assert "From an old file" in record.text


def test_whoever_found_the_animal_is_left_out_and_kept_nowhere(coordinator):
    of = written(table(OWL), coordinator)

    assert of.columns[-1] == "leave_out"
    assert "Ada" not in str(of.cases.get().cells)
    assert not Finder.objects.exists()
    assert not AuditEntry.objects.filter(after__icontains="Ada Finder").exists()


def test_an_old_case_without_an_end_is_closed_and_its_end_is_not_invented(coordinator, up):
    of = written(table("8/19,2019-03-13,Barn owl,,,,,"), coordinator)

    owl = of.cases.get().patient
    assert (Outcome.objects.count(), of.cases.get().ended_on) == (0, None)
    assert not Patient.objects.in_care().exists()
    assert "no day on which the case ended" in up.get(reverse("chart:patient", args=[owl.case_number])).text


# --- what is wrong ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("1,31/02/2019,Barn owl,,,,,", "admitted-unreadable"),
        ("1,,Barn owl,,,,,", "no-admission"),
        ("1,2019-03-13,,,,,,", "no-species"),
        ("1,2019-03-13,Wumpus,,,,,", "species-not-chosen"),
        ("1,2999-03-13,Barn owl,,,,,", "admitted-in-future"),
        ("1,2019-03-13,Barn owl,,,Died,2019-03-01,", "ended-before-admission"),
        ("1,2019-03-13,Barn owl,,,Died,sometime,", "ended-unreadable"),
        ("1,2019-03-13,Barn owl,,,,,,,spilt", "too-many-cells"),
    ],
)
def test_a_row_that_cannot_be_a_case_is_refused_by_number_and_reason(coordinator, row, code):
    of = checked(table(OWL, row), coordinator)

    assert sentences(of, is_refusal=True) == {(3, code)}
    assert (of.counts["new"], of.counts["refused"]) == (1, 1)


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("1,2019-03-13,Barn owl,about 300,,,,", "weight-unreadable"),
        ("1,2019-03-13,Barn owl,0,,,,", "no-such-weight"),
        ("1,2019-03-13,Barn owl,,,Rehomed,2019-04-01,", "outcome-as-words"),
        ("1,2019-03-13,Barn owl,,,Died,,", "end-without-day"),
        ("1,2019-03-13,Barn owl,,Fell off a cloud,,,", "cause-as-words"),
        ("1,2019-03-13,Barn owl,,orphaned; hit by car,,,", "several-causes"),
        (",2019-03-13,Barn owl,,,,,", "no-former-number"),
    ],
)
def test_what_cannot_be_understood_is_noted_and_kept_as_it_stood(coordinator, row, code):
    of = written(table(row), coordinator)

    assert (2, code) in sentences(of, is_refusal=False)
    assert set(filter(None, row.split(","))) == set(of.cases.get().cells.values())


def test_every_row_is_new_here_or_refused_and_none_goes_missing(coordinator):
    of = checked(table(OWL, "1,,Barn owl,,,,,", "2,2019-05-05,Mute swan,,,,,"), coordinator)

    assert of.counts["rows"] == 3 == of.counts["new"] + of.counts["here"] + of.counts["refused"]


def test_the_refused_rows_are_a_file_in_which_no_cell_is_a_formula(coordinator, up):
    of = checked(table('=1+1,,Barn owl,,"=HYPERLINK(1)",,,'), coordinator)

    answer = up.get(reverse("imports:refused", args=[of.key]))

    text = b"".join(answer.streaming_content).decode()
    assert "'=1+1,,Barn owl,,'=HYPERLINK(1)" in text
    assert "The row has no day of admission." in text


# --- what is asked ------------------------------------------------------------------------------------------------


def test_days_that_can_be_read_in_two_ways_are_asked_about(coordinator, up):
    of = actions.upload(
        coordinator.memberships.get().hospital,
        by=coordinator,
        file=SimpleUploadedFile("a.csv", table("1,03/04/2019,Barn owl,,,,,").encode()),
    )
    said = {f"column-{n}": meant for n, meant in enumerate(of.columns)} | {"seen_version": of.version, "weight_unit": "g"}

    asked = up.post(reverse("imports:columns", args=[of.key]), said)
    answered = up.post(reverse("imports:columns", args=[of.key]), said | {"day_order": "month-first"})

    assert (asked.status_code, answered.status_code) == (422, 302)
    assert "can be read in two ways" in asked.text
    assert worked(proposed(Import.objects.get()), "check-import", "write-import").cases.get().patient.admitted_at.month == 3


def test_a_weight_without_a_unit_is_asked_about(coordinator, up):
    of = actions.upload(
        coordinator.memberships.get().hospital,
        by=coordinator,
        file=SimpleUploadedFile("a.csv", table(OWL, headings=HEADINGS.replace(" (g)", "")).encode()),
    )
    said = {f"column-{n}": meant for n, meant in enumerate(of.columns)} | {"seen_version": of.version}

    assert "in which unit" in up.post(reverse("imports:columns", args=[of.key]), said).text


def test_a_misspelt_species_is_proposed_and_an_unknown_one_is_asked_about(coordinator, up):
    of = uploaded(table("1,2019-03-13,Barn owll,,,,,", "2,2019-03-13,Wumpus,,,,,"), coordinator)

    page = up.get(reverse("imports:words", args=[of.key]))
    refused = up.post(reverse("imports:words", args=[of.key]), {"seen_version": of.version})

    assert "Barn owl (Tyto alba)" in page.text
    assert [word.likely != "" for word in page.context["form"].words if word.field == "species"] == [True, False]
    assert refused.status_code == 422


def test_of_a_bird_only_the_group_may_be_known(coordinator):
    of = worked(proposed(uploaded(table("1,2019-03-13,Bird,,,,,"), coordinator)), "check-import", "write-import")

    species = of.cases.get().patient.species
    assert (species.scientific_name, species.group_id, species.sensitivity) == ("Aves", "bird", None)


# --- files --------------------------------------------------------------------------------------------------------


def xlsx(text):
    book, file = Workbook(), io.BytesIO()
    for row in text.splitlines():
        book.active.append([date.fromisoformat(c) if c[:2] == "20" and c.count("-") == 2 else c for c in row.split(",")])
    book.save(file)
    return file.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        table(OWL.replace("Ada", "Zoë")).encode("cp1252"),
        table(OWL.replace("Ada", "Zoë")).encode("utf-16"),
        table(OWL.replace("Ada", "Zoë")).encode("utf-8-sig"),
        table(OWL).replace(",", ";").encode(),
        table(OWL).replace(",", "\t").replace("\n", "\r").encode(),
        b"Admissions of 2019\n\n" + table(OWL).encode(),
        xlsx(table(OWL)),
    ],
    ids=["cp1252", "utf-16", "utf-8 with mark", "semicolons", "tabs and old line ends", "a title above", "xlsx"],
)
def test_the_same_table_is_read_from_any_common_file(coordinator, content):
    of = written(content, coordinator)

    owl = of.cases.get().patient
    assert (owl.species.common_name, owl.closed_on) == ("Barn owl", date(2019, 4, 2))


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 broken", b"%PDF-1.7", b'{"patients": []}', b"only headings,here\n"])
def test_what_is_no_table_is_refused_with_a_sentence(up, content):
    answer = up.post(reverse("imports:upload"), {"file": SimpleUploadedFile("a.csv", content)})

    assert answer.status_code == 422
    assert not Import.objects.exists()


# --- once, all or none, undone ------------------------------------------------------------------------------------


def test_the_same_file_twice_adds_nothing_however_it_was_saved(coordinator):
    written(table(OWL), coordinator)

    again = checked(table(OWL).replace(",", ";"), coordinator)

    assert (again.counts["new"], again.counts["here"]) == (0, 1)


def test_rows_alike_in_one_file_are_all_kept_and_never_twice(coordinator):
    first = written(table(OWL, OWL), coordinator)

    again = checked(table(OWL, OWL), coordinator)

    assert (first.counts["new"], again.counts["here"], Patient.objects.count()) == (2, 2, 2)


def test_a_row_that_contradicts_a_case_here_is_refused(coordinator):
    written(table(OWL), coordinator)

    again = checked(table(OWL.replace("Released", "Died")), coordinator)

    assert sentences(again, is_refusal=True) == {(2, "contradicts")}


def test_writing_is_all_or_nothing(coordinator):
    of = checked(table(OWL, "8/19,2019-03-14,Mute swan,,,,,"), coordinator)
    make.patient(coordinator)
    ImportedCase.objects.create(
        patient=Patient.objects.get(), of=of, hospital=of.hospital, row=9, identity=_identity(of, -1), cells={}
    )  # the same row came by another way since the check

    job = run(ask("write-import", of.hospital, subject=of.key, by=coordinator).key)

    assert (job.state, Patient.objects.count(), Weight.objects.count()) == (Job.State.FAILED, 1, 0)


def _identity(of, place):
    return list(identities(table_of(of)))[place]


def test_an_import_can_be_undone_and_taken_in_again(coordinator):
    of = written(table(OWL), coordinator)

    undone = worked(of, "undo-import")

    assert (undone.state, Patient.objects.count(), Weight.objects.count(), Outcome.objects.count()) == ("undone", 0, 0, 0)
    assert AuditEntry.objects.filter(table="hospital_patient", action="delete").count() == 1
    assert written(table(OWL), coordinator).counts["new"] == 1


def test_an_import_to_which_people_added_is_not_undone_and_says_where(coordinator, up):
    of = written(table(OWL, "8/19,2019-03-14,Mute swan,,,,,"), coordinator)
    swan = Patient.objects.get(species__common_name="Mute swan")
    Identification.objects.create(patient=swan, kind="ring", value="X1")

    page = up.get(reverse("imports:undo", args=[of.key]))
    up.post(reverse("imports:undo", args=[of.key]), {"seen_version": of.version})

    assert swan.case_number in page.text
    assert Patient.objects.count() == 2
    assert not Job.objects.filter(kind="undo-import").exists()


def test_weights_of_an_import_that_stands_cannot_be_removed(coordinator):
    written(table(OWL), coordinator)

    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Weight.objects.all().delete()


def test_the_audit_knows_who_took_the_case_in(coordinator):
    owl = written(table(OWL), coordinator).cases.get().patient

    entries = AuditEntry.objects.filter(patient_id=owl.pk, action="insert")

    assert {e.table for e in entries} >= {"hospital_patient", "hospital_weight", "hospital_outcome", "hospital_identification"}
    assert {e.actor_id for e in entries} == {coordinator.pk}


def test_work_that_is_asked_for_twice_is_done_once(coordinator):
    of = proposed(uploaded(table(OWL), coordinator))

    first, second = (actions.ask_check(of, by=coordinator, seen_version=of.version) for _n in range(2))

    assert first == second
    assert (run(first.key).state, run(first.key).state) == (Job.State.DONE, Job.State.DONE)


# --- pages and people ---------------------------------------------------------------------------------------------


def test_the_whole_way_goes_through_the_pages(up, coordinator):
    answer = up.post(reverse("imports:upload"), {"file": SimpleUploadedFile("old.csv", table(OWL).encode())})
    of = Import.objects.get()
    columns = up.get(answer.url)
    said = {f"column-{n}": meant for n, meant in enumerate(of.columns)} | {"seen_version": of.version, "weight_unit": "g"}
    words = up.post(answer.url, said)
    form = up.get(words.url).context["form"]
    up.post(words.url, {"seen_version": form.initial["seen_version"]} | {f"word-{n}": word.likely for n, word in enumerate(form.words)})

    assert "Getting ready" in up.get(reverse("imports:import", args=[of.key])).text
    run(Job.objects.get().key)
    dry = up.get(reverse("imports:import", args=[of.key]))
    assert "Write 1 closed case" in dry.text
    assert columns.status_code == 200
    up.post(reverse("imports:write", args=[of.key]), {"seen_version": Import.objects.get().version})
    run(Job.objects.filter(kind="write-import").get().key)
    assert Import.objects.get().state == "written"
    assert up.get(reverse("exports:records")).text.count("old.csv") == 1


@pytest.mark.parametrize("name", ["import", "columns", "words", "undo", "refused", "progress"])
def test_only_a_coordinator_of_the_hospital_sees_an_import(client, coordinator, vet, carer, stranger, name):
    of = checked(table(OWL), coordinator)
    url = reverse(f"imports:{name}", args=[of.key])

    for person in (vet, carer.person, stranger):
        client.force_login(person)
        assert client.get(url).status_code == 403
    elsewhere = make.person("Else Where", make.hospital(name="Third", slug="third"), "coordinator")
    client.force_login(elsewhere)
    assert client.get(url).status_code == 404


def test_the_sample_of_the_demonstration_is_read_with_its_traps(coordinator):
    of = checked((settings.BASE_DIR / "fixtures" / "demo" / "old_spreadsheet.csv").read_bytes(), coordinator)

    assert (of.encoding, of.delimiter) == ("cp1252", ";")
    assert of.reading == {"day_order": "day-first", "comma": "decimal", "weight_unit": "kg"}
    codes = {code for _row, code in sentences(of)}
    wanted = {"admitted-unreadable", "no-admission", "ended-before-admission", "admitted-in-future", "no-species", "zero-point", "no-end"}
    assert wanted <= codes


def test_the_command_tells_what_would_become_of_a_file_and_writes_nothing(coordinator, tmp_path, capsys):
    file = tmp_path / "old.csv"
    file.write_text(table(OWL, "1,,Barn owl,,,,,"))

    call_command("importrecords", str(file), "--dry-run", "--json")

    assert '"refused": 1' in capsys.readouterr().out
    assert (Patient.objects.count(), Import.objects.count()) == (0, 0)


def test_a_weight_given_later_stops_the_undoing_of_the_whole(coordinator):
    owl = written(table(OWL), coordinator).cases.get().patient
    Patient.objects.filter(pk=owl.pk).update(closed_on=None)
    record_weight(Patient.objects.get(pk=owl.pk), by=coordinator, now=now(), weight_g=Decimal(305), is_sure=True)

    later = actions.later_facts(Import.objects.get())

    assert [each.patient for each in later] == [owl]


def test_the_file_is_let_go_after_its_time_and_the_cases_stay(coordinator, capsys):
    of = written(table(OWL), coordinator)

    with pretending(now() + timedelta(days=31)):
        call_command("work")

    of.refresh_from_db()
    assert (bool(of.file), of.cases.count()) == (False, 1)
    assert "1 files removed" in capsys.readouterr().out


def test_the_demonstration_takes_an_old_file_in_and_asks_for_a_return(hospital, coordinator):
    tell_records(SimpleNamespace(now=now()), hospital, coordinator)

    of = Import.objects.get()
    assert (of.state, of.counts["rows"], of.counts["refused"]) == ("written", 6, 1)
    assert Export.objects.get().file

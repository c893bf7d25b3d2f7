"""Records out: what is in the files, what is not, who may have them; and back in again."""

import csv
import io
import json
import zipfile
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from dwca.read import DwCAReader
from openpyxl import load_workbook

from hospital.admissions.models import Cause, Finder, Patient, Species, Weight
from hospital.audit.models import AuditEntry
from hospital.clock import now, pretending, today
from hospital.exports.actions import ask_export, forget_files
from hospital.exports.models import Export
from hospital.exports.tables import COLUMNS
from hospital.exports.work import make as make_file
from hospital.imports import actions as imports
from hospital.imports.queries import table_of
from hospital.imports.words import proposals
from hospital.jobs.actions import ask, run
from hospital.jobs.models import Job
from hospital.outcomes.models import Outcome
from tests import make
from tests.web.test_house_rules import ROOT

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("reference")]
D = Decimal
DWC = "http://rs.tdwg.org/dwc/terms/"
SECRET = "Otter Holt under the third willow"  # a place that must not go out


@pytest.fixture
def turtle(vet):
    """A case of a species whose places are shown, closed, with everything that a register tells."""
    species = make.species("Emys orbicularis")
    Species.objects.filter(pk=species.pk).update(sensitivity=0)
    finder = Finder.objects.create(hospital=vet.memberships.get().hospital, name="Ada Finder", phone="01632 960077")
    turtle = make.patient(
        vet, species=species, name="=1+1", days_ago=20, finder=finder, found_place="Saltern, quay", found_latitude=D("54.512345"),
        found_longitude=D("-3.254321"), found_uncertainty_m=50, cause=Cause.objects.first(), closed_on=today(), sex="female",
    )  # fmt: skip
    Weight.objects.create(patient=turtle, weighed_at=turtle.admitted_at, weight_g=D("812.5"), weighed_by=vet)
    Outcome.objects.create(
        patient=turtle, kind="released", happened_on=turtle.closed_on, place="Saltern, quay", decided_by=vet, recorded_at=now()
    )  # fmt: skip
    return turtle


@pytest.fixture
def otter(vet):
    """A sensitive species, still in care."""
    species = Species.objects.get(scientific_name="Lutra lutra")
    Species.objects.filter(pk=species.pk).update(sensitivity=2)
    return make.patient(
        vet, species=species, found_place=SECRET, found_latitude=D("54.587654"), found_longitude=D("-3.298765"), found_uncertainty_m=10
    )


def made(by, kind="register", file_format="csv", **said):
    wanted = dict(starts_on=today() - timedelta(days=90), ends_on=today(), columns=list(COLUMNS), groups=["species"])
    export = ask_export(by.memberships.get().hospital, by=by, kind=kind, file_format=file_format, begins=False, **wanted | said)
    make_file(Job.objects.get(subject=export.key), lambda done, total: None)
    return Export.objects.get(pk=export.pk)


def content(export):
    with export.file.open("rb") as file:
        return file.read()


def rows_of(export):
    return list(csv.DictReader(io.StringIO(content(export).decode(), newline="")))


# --- the register -------------------------------------------------------------------------------------------------


def test_the_register_has_a_row_for_each_case_and_no_finder(coordinator, turtle, otter):
    export = made(coordinator)

    text = content(export).decode()
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [row["case number here"] for row in rows] == [turtle.case_number, otter.case_number]
    assert (rows[0]["outcome"], rows[0]["days in care"], rows[0]["weight g"], rows[1]["outcome"]) == ("Released", "20", "812.5", "")
    assert "Ada" not in text
    assert "960077" not in text


def test_no_cell_of_words_is_a_formula_in_either_kind_of_file(coordinator, turtle):
    row = rows_of(made(coordinator))[0]
    sheet = load_workbook(io.BytesIO(content(made(coordinator, file_format="xlsx")))).active

    assert row["name"] == "'=1+1"
    assert row["longitude"] == "-3.254321"  # a number stays one
    names = [cell for cell in sheet[2] if cell.value == "=1+1"]
    assert [cell.data_type for cell in names] == ["s"]


def test_places_of_a_sensitive_species_go_out_coarser_and_say_so(coordinator, otter):
    text = content(made(coordinator)).decode()

    row = next(csv.DictReader(io.StringIO(text, newline="")))
    assert (row["latitude"], row["longitude"]) == ("54.6", "-3.3")
    assert "rounded to 0.1 degrees" in row["generalised"]
    assert SECRET not in text
    otter.refresh_from_db()
    assert otter.found_latitude == D("54.587654")  # the stored point never changes


def test_an_extremely_sensitive_place_is_withheld_in_words(coordinator, otter):
    Species.objects.filter(pk=otter.species_id).update(sensitivity=1)

    row = rows_of(made(coordinator))[0]

    assert (row["latitude"], row["uncertainty m"], row["place found"]) == ("", "", "withheld")
    assert "coordinates withheld" in row["generalised"]


def test_a_species_nobody_has_judged_counts_as_sensitive(coordinator, otter):
    Species.objects.filter(pk=otter.species_id).update(sensitivity=None)

    assert rows_of(made(coordinator))[0]["latitude"] == "54.6"


def test_exact_places_are_for_the_coordinator_and_for_the_register_alone(client, coordinator, vet, otter):
    exact = made(coordinator, has_exact_places=True)
    client.force_login(vet)
    said = {"kind": "register", "starts_on": "2020-01-01", "ends_on": "2030-01-01", "columns": ["latitude"], "has_exact_places": "on"}

    client.post(reverse("exports:ask"), said)

    assert rows_of(exact)[0]["latitude"] == "54.587654"
    assert not Export.objects.filter(asked_by=vet, has_exact_places=True).exists()
    assert client.get(reverse("exports:file", args=[exact.key])).status_code == 404
    client.force_login(coordinator)
    assert client.post(reverse("exports:ask"), said | {"kind": "geojson"}).status_code == 422


def test_only_cases_of_the_period_and_of_the_hospital_are_in_it(coordinator, turtle, stranger):
    make.patient(stranger)

    assert len(rows_of(made(coordinator))) == 1
    assert rows_of(made(coordinator, starts_on=date(2001, 1, 1), ends_on=date(2001, 12, 31))) == []


# --- the return ---------------------------------------------------------------------------------------------------


def test_the_return_counts_every_case_once(coordinator, turtle, otter):
    make.patient(coordinator, species=turtle.species)

    rows = rows_of(made(coordinator, "return", groups=["species"]))

    assert [(row["Species"], row["Admitted"], row["Released"], row["In care"]) for row in rows] == [
        ("Eurasian otter", "1", "0", "1"), (turtle.species.common_name, "2", "1", "1"), ("All", "3", "1", "2"),
    ]  # fmt: skip
    assert all(int(row["Admitted"]) == sum(int(v) for name, v in row.items() if name not in ("Species", "Admitted")) for row in rows)


# --- Darwin Core and GeoJSON --------------------------------------------------------------------------------------


def archive(export, tmp_path):
    file = tmp_path / "records.zip"
    file.write_bytes(content(export))
    return file


def test_the_archive_is_read_by_an_independent_reader(coordinator, turtle, otter, tmp_path):
    """python-dwca-reader, which knows the Darwin Core text guide and nothing of us."""
    with DwCAReader(archive(made(coordinator, "darwin_core"), tmp_path)) as read:
        rows = {row.data[f"{DWC}scientificName"]: row for row in read.rows}
        measured = [each.data[f"{DWC}measurementValue"] for each in rows["Emys orbicularis"].extensions]

        assert read.descriptor.core.type == f"{DWC}Occurrence"
        assert read.metadata.find("dataset/title").text == "Wild animals admitted to Test Hospital"
    seen, hidden = rows["Emys orbicularis"].data, rows["Lutra lutra"].data
    assert rows["Emys orbicularis"].id == f"urn:uuid:{turtle.key}"
    assert (seen[f"{DWC}decimalLatitude"], seen[f"{DWC}coordinateUncertaintyInMeters"], seen[f"{DWC}dataGeneralizations"]) == (
        "54.512345",
        "50",
        "",
    )
    assert (hidden[f"{DWC}decimalLatitude"], hidden[f"{DWC}coordinatePrecision"], hidden[f"{DWC}locality"]) == ("54.6", "0.1", "withheld")
    assert int(hidden[f"{DWC}coordinateUncertaintyInMeters"]) > 6000
    assert measured == ["812.5"]


def test_every_term_of_the_archive_is_one_of_the_standard(coordinator, turtle, tmp_path):
    """Names from the list of Darwin Core terms (TDWG), kept in fixtures/published/darwin_core_terms.txt."""
    lines = (ROOT / "fixtures" / "published" / "darwin_core_terms.txt").read_text().split()
    with DwCAReader(archive(made(coordinator, "darwin_core"), tmp_path)) as read:
        used = {term.rpartition("/")[2] for term in read.descriptor.core.terms}

    assert used - set(lines) == set()


def test_an_uncertainty_of_nothing_is_never_written(coordinator, turtle, tmp_path):
    Patient.objects.filter(pk=turtle.pk).update(found_uncertainty_m=None)

    with DwCAReader(archive(made(coordinator, "darwin_core"), tmp_path)) as read:
        assert [row.data[f"{DWC}coordinateUncertaintyInMeters"] for row in read.rows] == [""]


@pytest.mark.parametrize("kind", ["register", "return", "darwin_core", "geojson"])
def test_no_file_names_a_finder_or_a_secret_place_and_the_same_is_made_again(coordinator, turtle, otter, kind):
    first, second = (content(made(coordinator, kind)) for _n in range(2))

    whole = (
        b"".join(zipfile.ZipFile(io.BytesIO(first)).read(n) for n in ("occurrence.csv", "measurement.csv", "eml.xml"))
        if kind == "darwin_core"
        else first
    )
    assert b"Ada" not in whole
    assert SECRET.encode() not in whole
    assert kind == "darwin_core" or first == second


def test_the_map_file_follows_the_standard(coordinator, turtle, otter):
    """RFC 7946: sections 3.1.1 (longitude first), 3.2 (a place that is not known is null), 4 (no crs)."""
    Patient.objects.filter(pk=otter.pk).update(found_latitude=None, found_longitude=None)

    told = json.loads(content(made(coordinator, "geojson")))

    assert set(told) == {"type", "features"}
    assert [f["geometry"] for f in told["features"]] == [{"type": "Point", "coordinates": [-3.254321, 54.512345]}, None]
    assert all(set(f) == {"type", "id", "geometry", "properties"} for f in told["features"])


# --- keeping, fetching, people ------------------------------------------------------------------------------------


def test_a_file_is_kept_for_its_time_and_who_took_it_is_known(client, coordinator, turtle):
    export = made(coordinator)
    client.force_login(coordinator)
    url = reverse("exports:file", args=[export.key])

    taken = client.get(url)
    taken.getvalue()  # reads and closes it as a browser does
    with pretending(now() + timedelta(days=8)):
        gone = client.get(url)
        forgotten = forget_files(now())

    assert (taken.status_code, gone.status_code, forgotten) == (200, 404, 1)
    assert [d.by for d in export.downloads.all()] == [coordinator]
    assert AuditEntry.objects.filter(table="hospital_download").exists()


def test_the_form_asks_once_and_the_page_shows_how_far_it_is(client, coordinator, turtle):
    client.force_login(coordinator)
    form = client.get(reverse("exports:ask")).context["form"]
    said = {"key": form["key"].value(), "kind": "geojson", "starts_on": "2020-01-01", "ends_on": "2100-01-01"}

    pages = [client.post(reverse("exports:ask"), said) for _n in range(2)]

    assert Export.objects.count() == 1
    assert "Getting ready" in client.get(pages[0].url).text
    run(Job.objects.get().key)
    assert "Download: 1 case" in client.get(pages[1].url).text


def test_a_period_that_ends_before_it_begins_is_refused_at_its_field(client, coordinator):
    client.force_login(coordinator)

    answer = client.post(reverse("exports:ask"), {"kind": "geojson", "starts_on": "2024-01-01", "ends_on": "2023-01-01"})

    assert answer.status_code == 422
    assert "ends before it begins" in answer.text


def test_who_may_have_files(client, coordinator, vet, nurse, carer, stranger, turtle):
    url = reverse("exports:export", args=[made(coordinator).key])

    def answer(person):
        client.force_login(person)
        return client.get(url).status_code

    assert [answer(p) for p in (coordinator, vet, nurse, carer.person, stranger)] == [200, 200, 403, 403, 404]


# --- out and in again ---------------------------------------------------------------------------------------------


def taken_in(content, by):
    of = imports.upload(by.memberships.get().hospital, by=by, file=SimpleUploadedFile("register.csv", content))
    of = imports.say_columns(of, seen_version=of.version, columns=of.columns, **of.reading)
    words = {}
    for word in proposals(table_of(of), of.columns, {}):
        words.setdefault(word.field, {})[word.folded] = word.likely
    of = imports.say_words(of, seen_version=of.version, words=words)
    for kind in ("check-import", "write-import"):
        run(ask(kind, of.hospital, subject=of.key, by=by).key)
        of.refresh_from_db()
    return of


def test_our_own_register_taken_in_here_adds_nothing(coordinator, turtle, otter):
    of = taken_in(content(made(coordinator)), coordinator)

    assert (of.counts["new"], of.counts["here"], of.counts["refused"]) == (0, 2, 0)


def test_our_own_register_taken_in_elsewhere_says_the_same_there(coordinator, turtle):
    elsewhere = make.person("Elsa Elsewhere", make.hospital(name="Elsewhere", slug="else"), "coordinator")

    of = taken_in(content(made(coordinator)), elsewhere)

    there = of.cases.get().patient
    again = rows_of(made(elsewhere))[0]
    here = rows_of(made(coordinator))[0]
    assert there.identifications.get(kind="former").value == turtle.case_number
    same = set(here) - {"case number here", "former numbers", "from an old file"}
    assert {name: again[name] for name in same} == {name: here[name] for name in same}


def test_a_large_weight_is_written_out(coordinator, turtle):
    heavy = make.patient(coordinator, species=turtle.species)
    Weight.objects.create(patient=heavy, weighed_at=heavy.admitted_at, weight_g=D(9800))

    assert [row["weight g"] for row in rows_of(made(coordinator))] == ["812.5", "9800"]

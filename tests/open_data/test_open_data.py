"""Old spreadsheets of real hospitals, shelters and fire brigades, taken in whole and counted again.

The files are open data that we may use and not ship: a marine rescue hospital's patients 2018 to 2021 (R package
marinemammalrescue), City of Long Beach animal care 2017 to 2024 (R package animalshelter), London Fire Brigade animal rescues 2009 to
2021 (London Datastore), hawksbill captures (Dryad doi 10.5061/dryad.27n36) and hatchlings (NOAA accessions 0157625, 0156880). Put them
and the counts worked out from them by other means into one folder as `dev` and `expected_dev`, then, with some minutes to spare:

    OPEN_DATA=folder python -m pytest tests/open_data
"""

import csv
import json
import os
from collections import Counter
from decimal import Decimal
from math import floor
from pathlib import Path
from statistics import median
from zoneinfo import ZoneInfo

import pytest
from django.core.files.base import ContentFile

from hospital.imports import actions
from hospital.imports.files import read_table
from hospital.imports.models import Import
from hospital.imports.queries import table_of
from hospital.imports.words import proposals
from hospital.jobs.actions import ask, run
from hospital.jobs.models import Job

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("reference")]
FOLDER = Path(os.environ.get("OPEN_DATA", "name the folder in OPEN_DATA"))
LONDON_WILD = [*"bird fox deer squirrel pigeon hedgehog snake lizard tortoise".split(), "unknown - wild animal"]


def expected(name):
    with (FOLDER / "expected_dev" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def totals(name):
    return json.loads((FOLDER / "expected_dev" / "expected_totals.json").read_text())[name]


def taken_in(name, by, columns=None, species="group:animal", **reading):
    """The file written whole: what no species is proposed for becomes an animal of which no more is known."""
    content = (FOLDER / "dev" / f"{name}.csv").read_bytes()
    of = actions.upload(by.memberships.get().hospital, by=by, file=ContentFile(content, f"{name}.csv"))
    meant = [(columns or {}).get(heading, guess) for heading, guess in zip(table_of(of).headings, of.columns, strict=True)]
    of = actions.say_columns(of, seen_version=of.version, columns=meant, **of.reading | reading)
    words = {"species": {"": species}}
    for word in proposals(table_of(of), of.columns, {}):
        words.setdefault(word.field, {})[word.folded] = word.likely or species
    actions.say_words(of, seen_version=of.version, words=words)
    for kind in ("check-import", "write-import"):
        job = run(ask(kind, of.hospital, subject=of.key, by=by, begins=False).key)
        assert job.state == Job.State.DONE, job.note
    return Import.objects.get(pk=of.pk)


def cases(of):
    found = of.cases.select_related("patient__outcome", "patient__hospital").order_by("row")
    return [(case, case.patient, case.patient.admitted_at.astimezone(ZoneInfo(of.hospital.zone)).date()) for case in found]


def crossed(pairs, first, total=True):
    """(row, column) pairs as the rows of a table with sums, the way the expected ones are written."""
    counts = Counter(pairs)
    columns = sorted({column for _row, column in counts})
    rows = [{first: row, **{c: str(counts[row, c]) for c in columns}} for row in sorted({row for row, _column in counts})]
    return [row | {"TOTAL": str(sum(int(row[c]) for c in columns))} for row in rows] if total else rows


def without_sum(rows, first):
    return [row for row in rows if row[first] != "TOTAL"]


def cells_of(found, n):
    """floor(latitude × n), floor(longitude × n) in decimals, the commonest first."""
    counts = Counter(
        f"{floor(p.found_latitude * n)},{floor(p.found_longitude * n)}" for _case, p, _on in found if p.found_latitude is not None
    )
    return counts


def held_against(counts, name):
    rows = expected(name)
    cell, number = rows[0]
    assert [counts[row[cell]] for row in rows] == [int(row[number]) for row in rows]
    assert min(int(row[number]) for row in rows) >= sorted(counts.values(), reverse=True)[len(rows) - 1]


def test_a_marine_rescue_hospital(coordinator):
    of = taken_in("marine_mammal_patients_2018_2021", coordinator, species="group:mammal", weight_unit="kg")
    found, said = cases(of), totals("marine_mammals")

    def end(case):
        both = case.cells.get("release_date", "").strip(), case.cells.get("transfer_date", "").strip()
        return {(True, True): "released and transferred", (True, False): "released", (False, True): "transferred"}.get(
            (bool(both[0]), bool(both[1])), "no outcome recorded"
        )

    assert (of.counts["new"], of.counts["refused"]) == (said["rows"], 0)
    assert dict(Counter(end(case) for case, _p, _on in found)) == said["outcome"]
    assert crossed([(str(on.year), end(case)) for case, _p, on in found], "year_admitted") == without_sum(
        expected("marine_year_by_outcome.csv"), "year_admitted"
    )
    assert crossed([(case.cells["patient_id"][:2], end(case)) for case, _p, _on in found], "id_prefix") == without_sum(
        expected("marine_prefix_by_outcome.csv"), "id_prefix"
    )
    reasons = Counter(
        w for case, _p, _on in found for w in {x.strip().casefold() for x in case.cells["reason_for_admit"].split(";")} - {""}
    )
    assert {row["reason_casefold"]: int(row["n"]) for row in expected("marine_reason_counts.csv")} == dict(reasons)
    days = [(case.ended_on - on).days for case, p, on in found if end(case).startswith("released")]
    wanted = said["days_in_care_released"]
    assert (len(days), sum(days), min(days), median(days), max(days)) == tuple(wanted[k] for k in ("n", "sum", "min", "median", "max"))
    assert dict(Counter(p.sex for _case, p, _on in found)) == said["sex"]
    gains = [w[1].weight_g - w[0].weight_g for _case, p, _on in found if len(w := list(p.weights.all())) == 2]
    assert (len(gains), round(sum(gains) / len(gains) / 1000, 2)) == (said["n_gain"], Decimal(str(said["mean_gain_kg_2dp"])))


@pytest.mark.parametrize("name", ["longbeach_wildlife", "longbeach_all"])
def test_a_city_and_its_animals(coordinator, name):
    of = taken_in(f"{name}_2017_2024", coordinator)
    found, said = cases(of), totals(name)

    def end(case):
        return case.cells.get("outcome_type", "").strip().casefold() or "(none)"

    assert (of.counts["new"], of.counts["refused"]) == (said["rows"], 0)
    assert crossed([(str(on.year), end(case)) for case, _p, on in found], "intake_year") == without_sum(
        expected(f"{name}_year_by_outcome.csv"), "intake_year"
    )
    assert crossed([(case.cells["animal_type"].casefold(), end(case)) for case, _p, _on in found], "animal_type") == without_sum(
        expected(f"{name}_type_by_outcome.csv"), "animal_type"
    )
    days = [(case.ended_on - on).days for case, _p, on in found if case.ended_on]
    wanted = said["days"]
    assert (len(days), sum(days), min(days), median(days), max(days)) == tuple(wanted[k] for k in ("n", "sum", "min", "median", "max"))
    assert (days.count(0), sum(d > 365 for d in days)) == (wanted["same_day"], wanted["over_365"])
    assert len({case.cells["animal_id"] for case, _p, _on in found}) == said["distinct_animal_id"]
    held_against(cells_of(found, 100), f"{name}_hotspots_0p01deg.csv")


def test_a_fire_brigade(coordinator):
    of = taken_in("london_animal_rescues_2009_2021", coordinator, columns={"street": "keep", "final description": "keep"})
    found, said = cases(of), totals("london")

    def of_kind(case):
        return case.cells["animal group parent"].strip().casefold()

    assert (of.counts["new"], of.counts["refused"], of.counts["notes"]["no-former-number"]) == (said["rows"], 0, said["incident_number_NA"])
    assert of.counts["notes"]["zero-point"] == said["coords_zero"]
    assert crossed([(str(on.year), of_kind(case)) for case, _p, on in found], "year") == without_sum(
        expected("london_year_by_animal.csv"), "year"
    )
    wild = [each for each in found if of_kind(each[0]) in LONDON_WILD]
    assert (len(wild), sum(p.found_latitude is not None for _c, p, _on in wild)) == (said["wild_rows"], said["wild_with_coords"])
    boroughs = [(" ".join(case.cells["borough"].split()).casefold(), of_kind(case)) for case, _p, _on in wild]
    assert crossed(boroughs, "borough_casefold") == without_sum(expected("london_wild_by_borough.csv"), "borough_casefold")
    held_against(cells_of(wild, 20), "london_wild_hotspots_0p05deg.csv")


def test_turtles_that_were_measured(coordinator):
    of = taken_in("hawksbill_growth_anegada_2003_2006", coordinator, species="group:turtle-marine", weight_unit="kg")
    found, said = cases(of), totals("hawksbill_growth")

    assert (of.counts["new"], len({c.cells["ID"] for c, _p, _on in found})) == (said["rows"], said["turtles"])
    assert (str(min(on for _c, _p, on in found)), str(max(on for _c, _p, on in found))) == (said["date_min"], said["date_max"])
    assert sum(not p.weights.exists() for _c, p, _on in found) == said["weight_NA"]


def test_rows_without_a_day_are_all_refused(coordinator):
    table = read_table((FOLDER / "dev" / "sea_turtle_hatchlings_noaa.csv").read_bytes())
    of = actions.upload(
        coordinator.memberships.get().hospital,
        by=coordinator,
        file=ContentFile((FOLDER / "dev" / "sea_turtle_hatchlings_noaa.csv").read_bytes(), "h.csv"),
    )

    assert len(table.rows) == totals("hatchlings")["rows"]
    with pytest.raises(actions.ValidationError, match="day of admission"):
        actions.say_columns(of, seen_version=of.version, columns=of.columns, **of.reading)

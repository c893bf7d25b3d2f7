"""Outcomes in figures, and where animals were found."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest
from django.urls import reverse

from hospital.clock import today
from hospital.outcomes.models import Outcome
from hospital.rules.geo import Sensitivity
from hospital.statistics import queries, tables
from hospital.statistics.hotspots import close_together, showable, squares
from hospital.statistics.queries import Case, Found
from tests import make

pytestmark = pytest.mark.django_db

Kind = Outcome.Kind
OUTCOMES, PLACES = reverse("statistics:outcomes"), reverse("statistics:places")


def closed(by, kind, *, days=5, days_ago=30, **fields):
    """A case that was admitted some days ago and ended so many days after."""
    patient = make.patient(by, days_ago=days_ago, **fields)
    patient.closed_on = today("Europe/London") - timedelta(days_ago - days)
    patient.save()
    Outcome.objects.create(patient=patient, kind=kind, happened_on=patient.closed_on, decided_by=by, recorded_at=patient.admitted_at)
    return patient


def words(client, url, **asked):
    answer = client.get(url, asked)
    return answer.content.decode(), answer.status_code


# --- who may ---


@pytest.mark.parametrize("url", [OUTCOMES, PLACES])
def test_staff_see_figures_and_carers_do_not(client, url, patient, vet, nurse, coordinator, carer, stranger):
    for person, expected in [(vet, 200), (nurse, 200), (coordinator, 200), (carer.person, 403)]:
        client.force_login(person)

        assert client.get(url).status_code == expected, person


def test_cases_of_another_hospital_are_not_counted(client, vet):
    elsewhere = make.hospital(name="Elsewhere", slug="elsewhere")
    other = make.person("Otto", elsewhere, "vet")
    closed(other, Kind.RELEASED, at=elsewhere)
    client.force_login(vet)

    page, _ = words(client, OUTCOMES)

    assert "No animal has been admitted yet." in page


# --- the table ---


def test_the_share_released_leaves_out_whoever_is_in_care_was_transferred_or_came_dead(vet, patient):
    for kind in (Kind.RELEASED, Kind.RELEASED, Kind.RELEASED, Kind.DIED, Kind.TRANSFERRED, Kind.DEAD_ON_ARRIVAL):
        closed(vet, kind)
    hospital = patient.hospital

    (row,) = tables.rows(queries.cases(queries.patients_asked_for(vet, hospital, {}), hospital.zone, today(hospital.zone)), "species")

    assert (row.admitted, row.in_care, row.ended_here) == (7, 1, 4)
    assert row.released.value == 0.75
    # Wilson for 3 of 4, by R: prop.test(3, 4, correct = FALSE)
    assert (row.released.low, row.released.high) == pytest.approx((0.3006418, 0.9544127), abs=1e-6)


def test_the_page_shows_share_interval_median_and_curves(client, vet):
    for kind, days in [(Kind.RELEASED, 10), (Kind.RELEASED, 12), (Kind.DIED, 2)]:
        closed(vet, kind, days=days)
    client.force_login(vet)

    page, status = words(client, OUTCOMES)

    assert status == 200
    assert "67 % (21 to 94)" in page
    assert "by day 10" in page
    assert page.count("<polyline") == 2


@pytest.mark.parametrize(
    ("asked", "expected"),
    [({}, 3), ({"species": "pond turtle"}, 2), ({"species": "heron"}, 1), ({"species": "dodo"}, 0), ({"group": "reptile"}, 2)],
)
def test_cases_are_counted_by_species_and_by_the_groups_around_it(vet, patient, asked, expected):
    heron = make.species("Ardea cinerea", "Grey heron", group=make.group("heron", ("bird", "animal")))
    closed(vet, Kind.DIED, species=heron)
    closed(vet, Kind.RELEASED)

    assert queries.patients_asked_for(vet, patient.hospital, asked).count() == expected


def test_days_bound_the_admissions_with_both_ends_in_the_hospitals_zone(vet, patient):
    on = patient.admitted_at.astimezone().date()

    def count(**asked):
        return queries.patients_asked_for(vet, patient.hospital, asked).count()

    assert count(since=on, until=on) == 1
    assert count(since=on + timedelta(2)) == count(until=on - timedelta(2)) == 0


def test_a_day_before_the_first_is_refused_and_no_figure_shown(client, vet, patient):
    client.force_login(vet)

    page, status = words(client, OUTCOMES, since="2026-03-02", until="2026-03-01")

    assert status == 422
    assert "This day is before the first one." in page
    assert 'value="2026-03-01"' in page
    assert "What became of them" not in page


def test_years_stand_in_their_order_and_everything_else_by_size():
    cases = [Case("Otter", "Mammals", "Car", year, 1, None) for year in (2027, 2025, 2027)] + [Case("Swan", "Birds", "Line", 2026, 1, None)]

    assert [row.label for row in tables.rows(cases, "year")] == ["2025", "2026", "2027"]
    assert [row.label for row in tables.rows(cases, "species")] == ["Otter", "Swan"]


# --- small numbers ---


def row(label, n):
    return tables.Row(label, Counter({Kind.RELEASED: n}))


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ({"a": 9, "b": 7}, {"a": 9, "b": 7}),
        ({"a": 9, "b": 3, "c": 4}, {"a": 9, "few": 7}),
        ({"a": 9, "b": 6, "c": 2}, {"a": 9, "few": 8}),  # alone, the 2 would be the sum less the rest
        ({"a": 2}, {"few": 2}),
        ({}, {}),
    ],
)
def test_small_rows_are_put_together_so_that_none_can_be_worked_out(counts, expected):
    found = tables.without_few([row(label, n) for label, n in counts.items()], "few")

    assert {each.label: each.admitted for each in found} == expected
    assert sum(each.admitted for each in found) == sum(counts.values())


# --- places ---

ROAD = [Found(54.5 + n * 0.002, 3.2, "Car", None) for n in range(5)]  # each about 220 m from the next


def test_animals_found_along_a_stretch_of_road_are_a_cluster():
    (cluster,) = close_together([*ROAD, Found(54.7, 3.4, "Cat", None)])

    assert (cluster.count, cluster.causes) == (5, (("Car", 5),))
    assert (cluster.latitude, cluster.longitude) == (54.504, 3.2)
    assert cluster.reach_m == pytest.approx(445, abs=5)


def test_squares_say_how_many_and_why_the_fullest_first():
    found = squares([*ROAD, Found(54.61, 3.25, "Cat", None)], 0.1)

    assert [(each.corners, each.causes) for each in found] == [
        ([(54.5, 3.2), (54.6, 3.3)], (("Car", 5),)),
        ([(54.6, 3.2), (54.7, 3.3)], (("Cat", 1),)),
    ]
    assert [each.count for each in squares(ROAD, 0.1, least=6)] == []


@pytest.mark.parametrize(
    ("level", "shown_in"),
    [
        (None, {0.1}),
        (Sensitivity.EXTREME, set()),
        (Sensitivity.HIGH, {0.1}),
        (Sensitivity.MEDIUM, {0.1, 0.02, 0.01}),
        (Sensitivity.NONE, {0.1, 0.02, 0.01, None}),
    ],
)
def test_others_see_a_species_only_as_coarsely_as_its_places_may_be_shown(level, shown_in):
    """The cells are those of the guide of GBIF to sensitive species (Chapman 2020): 0.1, 0.01 and 0.001 degrees."""
    found = [Found(54.5, 3.2, "Car", level)]

    assert {side for side in (0.1, 0.02, 0.01, None) if showable(found, side)[0]} == shown_in


def test_the_map_page_holds_back_what_others_may_not_see(client, vet):
    closed(vet, Kind.DIED, found_latitude="54.5012", found_longitude="3.2034")
    client.force_login(vet)

    ours, _ = words(client, PLACES, cell="0.01")
    theirs, _ = words(client, PLACES, cell="0.01", who="others")
    coarse, _ = words(client, PLACES, cell="0.1", who="others")

    assert "One animal’s place is counted." in ours
    assert "also shows where sensitive species were found" in ours
    assert "No place is known for these cases." in theirs
    assert "One more is of a species" in theirs
    assert "One animal’s place is counted." in coarse
    assert "54.5012" not in theirs + coarse


def test_a_case_without_a_place_is_said(client, vet, patient):
    client.force_login(vet)

    page, status = words(client, PLACES)

    assert status == 200
    assert "One case has no place on the map." in page


def test_both_pages_ask_the_database_as_often_for_many_cases_as_for_one(client, vet, django_assert_max_num_queries):
    for _ in range(12):
        closed(vet, Kind.RELEASED, found_latitude="54.5", found_longitude="3.2")
    client.force_login(vet)

    for url in (OUTCOMES, PLACES):
        with django_assert_max_num_queries(16):
            client.get(url)

"""Whatever writes, the database itself notes who did it; and some tables only ever grow."""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import Error, connection, transaction
from django.urls import reverse

from hospital.admissions import actions
from hospital.admissions.models import Finder, Identification, Patient, Placement, Weight
from hospital.audit import triggers
from hospital.audit.acting import acting
from hospital.audit.models import AuditEntry
from hospital.audit.queries import history_of, history_of_patient, in_words
from hospital.clock import now, today
from hospital.people.models import CarerAway
from tests import make

PAGE = "POST /some/page/"


def words_of(response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def latest(row) -> AuditEntry:
    return history_of(row)[0]


def raw(sql: str, *values) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


# --- every way to write -------------------------------------------------------------------------------------------


def by_save(patient: Patient) -> None:
    patient.name = "Changed"
    patient.save()


def by_update(patient: Patient) -> None:
    Patient.objects.filter(pk=patient.pk).update(name="Changed")


def by_bulk_update(patient: Patient) -> None:
    patient.name = "Changed"
    Patient.objects.bulk_update([patient], ["name"])


def by_raw_sql(patient: Patient) -> None:
    raw("UPDATE hospital_patient SET name = %s WHERE id = %s", "Changed", patient.pk)


def by_an_action(patient: Patient) -> None:
    actions.correct_patient(patient, seen_version=patient.version, now=now(), name="Changed")


@pytest.mark.parametrize("change", [by_save, by_update, by_bulk_update, by_raw_sql, by_an_action])
def test_every_way_to_change_a_row_names_the_person(patient, nurse, change):
    with acting(nurse.pk, PAGE):
        change(patient)

    changed = [e for e in history_of(patient).filter(action="update") if "name" in e.changed()]
    assert [(e.actor, e.came_from, e.changed()["name"]) for e in changed] == [(nurse, PAGE, ("", "Changed"))]
    assert (changed[0].patient_id, changed[0].hospital_id) == (patient.pk, patient.hospital_id)


def test_a_row_that_only_counted_its_edits_is_no_line_of_the_history(patient, nurse):
    with acting(nurse.pk, PAGE):
        by_an_action(patient)

    [line] = [line for line in in_words(history_of(patient)) if line.action == "update"]

    assert [(change.before, change.after) for change in line.changes] == [("", "Changed")]


def test_what_was_done_in_one_go_is_one_entry_with_its_parts(client, vet, patient):
    with acting(vet.pk, PAGE):
        for value in ("R1", "R2", "R3"):
            Identification.objects.create(patient=patient, kind="ring", value=value)
    client.force_login(vet)

    page = words_of(client.get(reverse("admissions:history", args=[patient.case_number])))

    assert "Identification: added (3 of them)" in page
    assert all(value in page for value in ("R1", "R2", "R3"))


def create(patient: Patient) -> None:
    Identification.objects.create(patient=patient, kind="ring", value="R1")


def bulk_create(patient: Patient) -> None:
    Identification.objects.bulk_create([Identification(patient=patient, kind="ring", value="R1")])


def bulk_create_or_update(patient: Patient) -> None:
    Identification.objects.bulk_create(
        [Identification(patient=patient, kind="ring", value="R1")],
        update_conflicts=True,
        unique_fields=["patient", "kind", "value"],
        update_fields=["kind"],
    )


def insert(patient: Patient) -> None:
    raw("INSERT INTO hospital_identification (patient_id, kind, value) VALUES (%s, 'ring', 'R1')", patient.pk)


@pytest.mark.parametrize("add", [create, bulk_create, bulk_create_or_update, insert])
def test_every_way_to_add_a_row_names_the_person(patient, nurse, add):
    with acting(nurse.pk, PAGE):
        add(patient)

    entry = history_of_patient(patient.pk).get(table="hospital_identification")
    assert (entry.action, entry.actor, entry.came_from, entry.before) == ("insert", nurse, PAGE, None)
    assert entry.after["value"] == "R1"


def delete(patient: Patient) -> None:
    patient.identifications.get().delete()


def delete_many(patient: Patient) -> None:
    Identification.objects.filter(patient=patient).delete()


def delete_by_raw_sql(patient: Patient) -> None:
    raw("DELETE FROM hospital_identification WHERE patient_id = %s", patient.pk)


@pytest.mark.parametrize("take_away", [delete, delete_many, delete_by_raw_sql])
def test_every_way_to_remove_a_row_names_the_person_and_keeps_what_was_there(patient, nurse, take_away):
    create(patient)
    with acting(nurse.pk, PAGE):
        take_away(patient)

    entry = history_of_patient(patient.pk).filter(table="hospital_identification").first()
    assert (entry.action, entry.actor, entry.after) == ("delete", nurse, None)
    assert entry.before["value"] == "R1"


def test_a_change_that_changes_nothing_leaves_no_entry(patient):
    before = history_of(patient).count()

    Patient.objects.filter(pk=patient.pk).update(name=patient.name)

    assert history_of(patient).count() == before


def test_what_is_rolled_back_was_never_done(patient):
    before = AuditEntry.objects.count()

    with transaction.atomic():
        by_update(patient)
        transaction.set_rollback(True)

    assert AuditEntry.objects.count() == before


def test_many_rows_in_one_statement_are_many_entries(vet):
    patients = [make.patient(vet) for _ in range(3)]

    Patient.objects.filter(pk__in=[p.pk for p in patients]).update(name="Changed")

    assert [latest(p).changed()["name"] for p in patients] == [("", "Changed")] * 3


# --- who acts -----------------------------------------------------------------------------------------------------


def test_what_a_page_writes_is_written_by_the_person_signed_in(client, nurse, patient):
    client.force_login(nurse)

    client.post(reverse("admissions:weigh", args=[patient.case_number]), {"weight_g": "812"})

    entry = history_of_patient(patient.pk).get(table="hospital_weight")
    assert (entry.actor, entry.came_from) == (nurse, f"POST /patients/{patient.case_number}/weigh/")


def test_all_that_one_page_wrote_has_one_key_and_the_next_page_another(client, vet):
    turtle = make.species()
    client.force_login(vet)

    for weight in ("800", "812"):
        client.post(
            reverse("admissions:admit"),
            {"species": turtle.pk, "triage": "today", "sex": "unknown", "life_stage": "unknown", "weight_g": weight},
        )

    keys = [set(history_of_patient(p.pk).values_list("request_key", flat=True)) for p in Patient.objects.all()]
    tables = [set(history_of_patient(p.pk).values_list("table", flat=True)) for p in Patient.objects.all()]
    assert [len(each) for each in keys] == [1, 1]
    assert keys[0] != keys[1]
    assert tables == [{"hospital_patient", "hospital_placement", "hospital_weight"}] * 2


def test_nobody_acts_after_a_page_is_done(client, nurse, patient):
    client.force_login(nurse)
    client.post(reverse("admissions:weigh", args=[patient.case_number]), {"weight_g": "812"})

    by_update(patient)

    assert latest(patient).actor is None


def test_one_person_acting_for_another_gives_the_place_back(patient, vet, nurse):
    with acting(vet.pk, "outer"):
        with acting(nurse.pk, "inner"):
            by_update(patient)
        Patient.objects.filter(pk=patient.pk).update(name="Again")

    assert [(e.actor, e.came_from) for e in history_of(patient)[:2]] == [(vet, "outer"), (nurse, "inner")]


# --- what is not repeated -----------------------------------------------------------------------------------------


def test_the_audit_never_repeats_a_finder_or_a_password(hospital, vet):
    finder = Finder.objects.create(hospital=hospital, name="Canary Finder", phone="01632 960999", email="canary@example.org")
    finder.name = "Canary Other"
    finder.save()
    vet.set_password("canary password")
    vet.save()
    finder.delete()

    everything = str(list(AuditEntry.objects.values_list("before", "after")))
    assert "anary" not in everything
    assert "960999" not in everything
    assert vet.password not in everything
    assert "(private)" in everything


# --- the database holds it, for every table -----------------------------------------------------------------------


def test_every_table_of_ours_is_watched(db):
    assert triggers.expected_names() <= triggers.names_in(connection)


def test_a_missing_trigger_is_noticed(db):
    table = "hospital_weight"
    name = "keep_rows_update"
    drop = {
        "sqlite": f'DROP TRIGGER "{name}_on_{table}"',
        "postgresql": f'DROP TRIGGER "{name}" ON "{table}"',
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(drop)

    from hospital.checks import triggers_are_in_place

    assert [error.id for error in triggers_are_in_place(None, databases=["default"])] == ["hospital.E003"]
    triggers.install(connection)
    assert triggers_are_in_place(None, databases=["default"]) == []


# --- tables that only grow ----------------------------------------------------------------------------------------


@pytest.fixture
def weight(patient, vet) -> Weight:
    return Weight.objects.create(patient=patient, weighed_at=now(), weight_g=Decimal("800.0"), weighed_by=vet)


@pytest.fixture
def entry(patient) -> AuditEntry:
    return latest(patient)


def save(row) -> None:
    row.save(force_update=True)


def update(row) -> None:
    type(row).objects.filter(pk=row.pk).update(id=row.pk + 1000)


def remove(row) -> None:
    row.delete()


def remove_all(row) -> None:
    type(row).objects.all()._raw_delete(using="default")


def update_by_raw_sql(row) -> None:
    raw(f"UPDATE {row._meta.db_table} SET id = id WHERE id = %s", row.pk)


def delete_row_by_raw_sql(row) -> None:
    raw(f"DELETE FROM {row._meta.db_table} WHERE id = %s", row.pk)


@pytest.mark.parametrize("kind", ["weight", "entry"])
@pytest.mark.parametrize("harm", [save, update, remove, remove_all, update_by_raw_sql, delete_row_by_raw_sql])
def test_a_table_that_only_grows_refuses(request, kind, harm):
    row = request.getfixturevalue(kind)
    before = list(type(row).objects.order_by("pk").values())

    with pytest.raises(Error, match="append-only"), transaction.atomic():
        harm(row)

    assert list(type(row).objects.order_by("pk").values()) == before


@pytest.mark.parametrize("kind", ["weight", "entry"])
def test_a_row_cannot_be_replaced_by_another_with_its_number(request, kind):
    """SQLite's INSERT OR REPLACE deletes first; PostgreSQL has no such statement and turns the conflict into an update."""
    row = request.getfixturevalue(kind)
    columns = [field.column for field in row._meta.concrete_fields]
    names = ", ".join(f'"{column}"' for column in columns)
    copy = f"SELECT {names} FROM {row._meta.db_table} WHERE id = %s"
    sql = {
        "sqlite": f"INSERT OR REPLACE INTO {row._meta.db_table} ({names}) {copy}",
        "postgresql": f"INSERT INTO {row._meta.db_table} ({names}) {copy} ON CONFLICT (id) DO UPDATE SET id = EXCLUDED.id",
    }[connection.vendor]

    with pytest.raises(Error, match="append-only"), transaction.atomic():
        raw(sql, row.pk)

    assert type(row).objects.filter(pk=row.pk).exists()


def test_a_table_that_only_grows_is_not_emptied_at_once(weight):
    """Both engines have a short cut for a whole table that could pass over the triggers of its rows."""
    sql = {"sqlite": "DELETE FROM hospital_weight", "postgresql": "TRUNCATE hospital_weight CASCADE"}[connection.vendor]
    connection.check_constraints()  # PostgreSQL would refuse for another reason while checks are pending

    with pytest.raises(Error, match="append-only"), transaction.atomic():
        raw(sql)

    assert Weight.objects.count() == 1


def test_every_table_that_should_only_grow_does(db):
    kept = {model.__name__ for model in triggers.append_only_models()}

    assert kept == triggers.APPEND_ONLY  # each name is that of a table that is there
    assert {"AuditEntry", "Weight"} <= kept


# --- the same in words --------------------------------------------------------------------------------------------


def history_page(client, person, patient) -> str:
    client.force_login(person)
    return words_of(client.get(reverse("admissions:history", args=[patient.case_number])))


def test_a_change_is_told_with_labels_names_and_days(client, vet, nurse, patient):
    fox = make.species("Vulpes vulpes", "Red fox")
    with acting(nurse.pk, PAGE):
        actions.correct_patient(
            patient, seen_version=1, now=now(), species=fox, sex="female", is_gravid=True, found_on=date(2026, 1, 5)
        )

    page = history_page(client, vet, patient)

    assert "Patient: changed" in page
    assert "European pond turtle Red fox" in page
    assert "Sex Not known Female" in page
    assert "Gravid or pregnant no yes" in page
    assert "Mon 05-Jan-2026" in page
    assert "Nina Nurse" in page


def test_what_was_added_and_what_was_removed_is_told(client, vet, patient):
    mark = actions.note_mark(patient, kind="ring", value="GR4471")
    mark.delete()

    page = history_page(client, vet, patient)

    assert "Identification: added" in page
    assert "Identification: removed" in page
    assert "GR4471" in page


def test_a_move_to_a_carer_is_told_with_the_carers_name(client, vet, patient, carer):
    make.placement(patient, carer, by=vet)

    assert "Carl Carer" in history_page(client, vet, patient)


def test_a_change_of_the_finder_is_told_without_who_it_is(client, vet, hospital, patient):
    patient.finder = Finder.objects.create(hospital=hospital, name="Canary Finder")
    patient.save()
    Finder.objects.filter(pk=patient.finder_id).update(phone="01632 960999")

    page = history_page(client, vet, patient)

    assert "Finder: changed" in page
    assert "not repeated here" in page
    assert "Canary" not in page
    assert "960999" not in page


def test_moments_are_told_in_the_hospitals_time(client, vet, hospital, patient):
    hospital.zone = "Australia/Hobart"
    hospital.save()
    Patient.objects.filter(pk=patient.pk).update(admitted_at=make.at("2026-01-05 20:30"))

    # 20:30 UTC is 07:30 of the next day in Hobart: UTC+11 in its summer (IANA time zone database).
    assert "Tue 06-Jan-2026 07:30" in history_page(client, vet, patient)


def test_a_row_that_points_to_one_since_gone_can_still_be_read(patient, carer, vet):
    away = CarerAway.objects.create(carer=carer, starts_on=today(), ends_on=today() + timedelta(1))
    entries = history_of(away)
    CarerAway.objects.all().delete()
    Placement.objects.all().delete()
    carer.delete()

    [line] = in_words(entries.filter(action="insert"))

    assert "one since removed" in [change.after for change in line.changes]


def test_the_history_costs_the_same_however_long_it_is(client, vet, patient, carer, django_assert_max_num_queries):
    for number in range(12):
        actions.note_mark(patient, kind="ring", value=f"R{number}")
        make.placement(patient, carer, days_ago=1)
    client.force_login(vet)

    with django_assert_max_num_queries(16):
        client.get(reverse("admissions:history", args=[patient.case_number]))


def test_another_hospitals_history_is_not_found(client, stranger, patient):
    client.force_login(stranger)

    assert client.get(reverse("admissions:history", args=[patient.case_number])).status_code == 404

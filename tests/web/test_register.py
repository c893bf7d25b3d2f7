"""The register of controlled drugs: pages, roles, witness, counts, corrections, print and file.

The bars are those of public rules on such registers: UK Misuse of Drugs Regulations 2001, reg. 19 and 20 (order of entries, entered
the same day or the next, corrections only by a dated note); RCVS guidance on audits (weekly, running total, discrepancies recorded);
Royal Marsden Manual (a wrong balance is put right by a new, witnessed entry). Read for this project; they bind no other country.
"""

from __future__ import annotations

import csv
import io
import re
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import Error, connection, transaction
from django.urls import reverse
from django.utils.timezone import localtime

from hospital.clock import now, pretending
from hospital.medications.actions import give_dose, take_dose_back
from hospital.medications.models import DoseGiven
from hospital.people.models import Person
from hospital.register import actions
from hospital.register.export import as_csv, as_pdf
from hospital.register.models import CountEntry, RegisterLine, RegisterPage, RegisterRules
from hospital.register.queries import balance_of, fault_of, to_settle
from hospital.rules.register import FaultKind, link
from tests import make

D = Decimal


@pytest.fixture
def safe(hospital, vet) -> RegisterPage:
    """Ketamine, 100 mg per mL, in the safe: an empty page."""
    return make.register_page(hospital, vet)


@pytest.fixture
def stocked(safe, vet, nurse) -> RegisterPage:
    """The same page with 10 mL, witnessed."""
    make.stock(safe, "10", by=vet, witness=nurse)
    return safe


@pytest.fixture
def animal(patient):
    return patient


def use(page, patient, by, drawn="0.5", given=None, wasted="0", **said) -> RegisterLine:
    amounts = {"drawn": D(drawn), "given": D(given or drawn), "wasted": D(wasted)}
    return actions.use(page, by=by, patient=patient, done_at=said.pop("done_at", now()), **amounts, **said)


@contextmanager
def refused(sentence: str) -> Iterator[None]:
    """Inside, something is refused in these words."""
    with pytest.raises(ValidationError) as refusal:
        yield
    assert sentence in " ".join(refusal.value.messages)


def words(response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode())).replace("\N{NO-BREAK SPACE}", " ")


def address(name: str, page: RegisterPage, number: int | None = None) -> str:
    return reverse(f"register:{name}", args=[page.pk, *([number] if number else [])])


def moment(at=None) -> str:
    return localtime(at or now()).strftime("%Y-%m-%dT%H:%M")


# --- lines and balance --------------------------------------------------------------------------------------------


def test_each_line_carries_who_when_for_whom_and_the_balance_after_it(stocked, patient, vet, nurse):
    line = use(stocked, patient, vet, "0.25", witness=nurse, source="Order of today")

    assert (line.number, line.kind, line.moved, line.balance) == (2, "given", D("-0.25"), D("9.75"))
    assert (line.recorded_by_name, line.witness_name) == ("Vera Vet", "Nina Nurse")
    assert line.animal == f"{patient.case_number} European pond turtle"
    assert line.previous_hash == stocked.lines.get(number=1).hash


def test_what_was_drawn_up_must_be_given_or_wasted(stocked, patient, vet, nurse):
    with refused("0.05\xa0mL of what was drawn up is missing"):
        use(stocked, patient, vet, "0.5", given="0.4", wasted="0.05", witness=nurse)
    with refused("0.1\xa0mL more than was drawn up"):
        use(stocked, patient, vet, "0.5", given="0.5", wasted="0.1", witness=nurse)

    use(stocked, patient, vet, "0.5", given="0.42", wasted="0.08", witness=nurse)

    assert [(line.kind, line.moved) for line in stocked.lines.filter(number__gt=1)] == [
        ("given", D("-0.42")),
        ("wasted", D("-0.08")),
    ]
    assert stocked.lines.get(number=3).refers_to == stocked.lines.get(number=2)


def test_more_than_is_there_cannot_go_out_and_the_sentence_says_what_is_left(stocked, patient, vet, nurse):
    with refused("10\xa0mL is left here, so 10.001\xa0mL cannot go out"):
        use(stocked, patient, vet, "10.001", witness=nurse)

    assert balance_of(stocked) == 10_000


def test_stock_moves_to_another_place_as_one_line_on_each_page(stocked, hospital, vet, nurse):
    theatre = make.register_page(hospital, vet, location="Theatre cabinet")

    actions.transfer(stocked, by=vet, amount=D(4), done_at=now(), to_page=theatre, other_party="", witness=nurse)

    assert (balance_of(stocked), balance_of(theatre)) == (6000, 4000)
    assert stocked.lines.last().other_party == "Theatre cabinet"


def test_stock_does_not_move_to_a_page_of_another_strength(stocked, hospital, vet, nurse):
    weaker = make.register_page(hospital, vet, strength=D(10))

    with refused("same drug, strength and form"):
        actions.transfer(stocked, by=vet, amount=D(1), done_at=now(), to_page=weaker, other_party="", witness=nurse)


def test_an_entry_made_after_the_next_day_says_why_and_is_marked(stocked, patient, vet, nurse):
    earlier = now() - timedelta(days=2)
    with refused("Say why it is entered only now"):
        use(stocked, patient, vet, done_at=earlier, witness=nurse)
    use(stocked, patient, vet, done_at=now() - timedelta(days=1), witness=nurse)  # the next day is in time: reg. 20(b)

    use(stocked, patient, vet, done_at=earlier, witness=nurse, late_reason="Found on the anaesthesia sheet")

    assert stocked.lines.last().late_reason == "Found on the anaesthesia sheet"


def test_the_future_is_refused(stocked, patient, vet, nurse):
    with refused("in the future"):
        use(stocked, patient, vet, done_at=now() + timedelta(hours=1), witness=nurse)


def test_a_clock_that_was_set_back_keeps_the_order_of_entry(stocked, patient, vet, nurse):
    with pretending(now() - timedelta(minutes=30)):
        line = use(stocked, patient, vet, witness=nurse)

    assert line.entered_at >= stocked.lines.get(number=1).entered_at


def test_people_without_a_clinical_role_there_write_nothing(stocked, patient, coordinator, carer, stranger, nurse):
    for person in (coordinator, carer.person, stranger):
        with refused("Only vets and nurses"):
            use(stocked, patient, person, witness=nurse)


# --- the database refuses -----------------------------------------------------------------------------------------


def raw_line(page: RegisterPage, vet: Person, **fields) -> None:
    """A line past all actions, right unless told otherwise."""
    last = page.lines.order_by("-number").first()
    moved = fields.pop("moved_thousandths", -100)
    wanted = dict(
        hospital=page.hospital, page=page, number=last.number + 1, kind="given", moved_thousandths=moved,
        balance_thousandths=last.balance_thousandths + moved, done_at=now(), entered_at=now(), recorded_by=vet,
        recorded_by_name=vet.name, previous_hash=last.hash,
    )  # fmt: skip
    line = RegisterLine(**wanted | fields)
    line.hash = fields.get("hash", link(line.previous_hash, line.text()))
    RegisterLine.objects.bulk_create([line])


def test_a_line_that_follows_is_taken_even_from_elsewhere(stocked, vet):
    raw_line(stocked, vet)

    assert fault_of(stocked) is None


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"number": 4}, "without a gap"),
        ({"number": 1}, "without a gap"),
        ({"balance_thousandths": 9999}, "balance does not follow"),
        ({"moved_thousandths": -10_001}, "a_balance_is_never_below_nothing"),
        ({"kind": "received"}, "a_line_moves_the_way_of_its_kind"),
        ({"kind": "invented"}, "a_register_line_has_a_known_kind|a_line_moves_the_way_of_its_kind"),
        ({"kind": "count", "moved_thousandths": 0, "is_witness_asked": False}, "only_a_count_counts"),
        ({"kind": "count", "moved_thousandths": 0, "counted_thousandths": 1}, "counts_and_corrections_are_signed_at_once"),
        ({"counted_thousandths": 1}, "only_a_count_counts"),
        ({"kind": "correction", "reason": "Misread", "is_witness_asked": False}, "a_correction_says_what_it_corrects"),
        ({"hash": ""}, "a_register_line_has_its_hash"),
        ({"previous_hash": "0" * 64}, "hash of the line before"),
        ({"previous_hash": ""}, "hash of the line before"),
        ({"entered_at": make.at("2020-01-01 10:00")}, "one after the other"),
    ],
)
def test_the_database_refuses_a_line_that_does_not_follow(stocked, vet, wrong, said):
    with pytest.raises(Error, match=said), transaction.atomic():
        raw_line(stocked, vet, **wrong)

    assert stocked.lines.count() == 1


def test_the_database_refuses_a_witness_who_wrote_the_line(stocked, vet):
    with pytest.raises(Error, match="nobody_witnesses_their_own_line"), transaction.atomic():
        raw_line(stocked, vet, witness=vet, witness_name=vet.name, witnessed_at=now())


def test_the_database_refuses_a_later_signature_by_who_wrote_the_line_and_a_second_one(stocked, vet, nurse, hospital):
    raw_line(stocked, vet)
    written = stocked.lines.last()
    later = {"kind": "witnessed", "moved_thousandths": 0, "refers_to": written}
    with pytest.raises(Error, match="somebody else"), transaction.atomic():
        raw_line(stocked, vet, **later)
    raw_line(stocked, nurse, **later)

    with pytest.raises(Error, match=r"(?i)unique"), transaction.atomic():
        raw_line(stocked, make.person("Olaf Other", hospital, "nurse"), **later)


def test_the_database_refuses_a_line_of_another_hospital_or_page(stocked, vet, stranger):
    elsewhere = stranger.memberships.first().hospital
    with pytest.raises(Error, match="hospital of its page"), transaction.atomic():
        raw_line(stocked, vet, hospital=elsewhere)
    other = make.register_page(stocked.hospital, vet, drug="midazolam")
    make.stock(other, "5", by=vet)
    with pytest.raises(Error, match="its own page"), transaction.atomic():
        raw_line(other, vet, refers_to=stocked.lines.first())


@pytest.mark.parametrize("model", [RegisterLine, RegisterPage, CountEntry])
def test_nothing_of_the_register_is_altered_removed_or_replaced(stocked, vet, model):
    actions.count(stocked, by=vet, counted=D(10))
    row = model.objects.order_by("pk").first()
    table = model._meta.db_table
    columns = ", ".join(f'"{field.column}"' for field in model._meta.concrete_fields)
    attacks = [f"UPDATE {table} SET id = id", f"DELETE FROM {table}"]
    attacks += {
        "sqlite": [f"INSERT OR REPLACE INTO {table} ({columns}) SELECT {columns} FROM {table} WHERE id = {row.pk}"],
        "postgresql": [f"TRUNCATE {table} CASCADE"],
    }[connection.vendor]
    attacks.append(
        f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {table} WHERE id = {row.pk} ON CONFLICT (id) DO UPDATE SET id = EXCLUDED.id"
    )
    connection.check_constraints()
    before = list(model.objects.order_by("pk").values())

    for attack in attacks:
        with pytest.raises(Error), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(attack)

    assert list(model.objects.order_by("pk").values()) == before


# --- the chain ----------------------------------------------------------------------------------------------------


class WithoutTriggers:
    """The hands of somebody who owns the database: no trigger stands in the way inside."""

    def __enter__(self):
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("SELECT sql, name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'hospital_registerline'")
                self.kept = cursor.fetchall()
                for _, name in self.kept:
                    cursor.execute(f'DROP TRIGGER "{name}"')
            else:
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("ALTER TABLE hospital_registerline DISABLE TRIGGER USER")

    def __exit__(self, *wrong):
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                for sql, _ in self.kept:
                    cursor.execute(sql)
            else:
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                cursor.execute("ALTER TABLE hospital_registerline ENABLE TRIGGER USER")


@pytest.fixture
def three(stocked, patient, vet, nurse) -> RegisterPage:
    for amount in ("0.5", "0.25"):
        use(stocked, patient, vet, amount, witness=nurse, source="Order")
    return stocked


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("moved_thousandths", -501), ("balance_thousandths", 9501), ("kind", "wasted"), ("recorded_by_name", "Vera Vat"),
        ("witness_name", "Nina"), ("animal", ""), ("source", "order"), ("reason", "x"), ("batch", "x"),
        ("done_at", make.at("2026-01-01 10:00")),
        ("witness_id", None), ("patient_id", None), ("late_reason", "x"), ("is_witness_asked", False),
        ("previous_hash", "0" * 64), ("hash", "0" * 64),
    ],
)  # fmt: skip
def test_an_alteration_of_any_column_shows_and_the_line_is_named(three, column, value):
    assert fault_of(three) is None
    line = three.lines.get(number=2)
    # What only belongs together is taken away together, as a careful hand would.
    together = {"witness_id": {"witness_name": "", "witnessed_at": None}, "moved_thousandths": {"balance_thousandths": 9499}}
    with WithoutTriggers():
        RegisterLine.objects.filter(pk=line.pk).update(**{column: value} | together.get(column, {}))

    assert fault_of(three).number in (2, 3)
    with pytest.raises(CommandError, match=r"Line [23] "):
        call_command("register", "verify")


def test_a_line_that_was_taken_away_shows(three):
    with WithoutTriggers():
        RegisterLine.objects.filter(page=three, number=2).delete()

    assert (fault_of(three).number, fault_of(three).kind) == (2, FaultKind.NUMBER)


def test_a_page_that_was_renamed_shows(three):
    with connection.cursor() as cursor:
        name = "keep_rows_update"
        drop = {
            "sqlite": f'DROP TRIGGER "{name}_on_hospital_registerpage"',
            "postgresql": f'DROP TRIGGER "{name}" ON hospital_registerpage',
        }
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute(drop[connection.vendor])
        cursor.execute("UPDATE hospital_registerpage SET drug = 'ketamin' WHERE id = %s", [three.pk])

    assert (fault_of(three).number, fault_of(three).kind) == (1, FaultKind.TEXT)


def test_who_rewrites_the_whole_chain_is_given_away_by_a_hash_on_paper(three, capsys):
    """The plain limit: it shows tampering, it does not stop a database owner."""
    on_paper = three.lines.get(number=3).hash
    with WithoutTriggers():
        previous = ""
        for line in three.lines.order_by("number"):
            line.source, line.previous_hash = "rewritten", previous
            line.hash = previous = link(previous, line.text())
            RegisterLine.objects.filter(pk=line.pk).update(source=line.source, previous_hash=line.previous_hash, hash=line.hash)

    call_command("register", "verify")
    assert "does not stop" in capsys.readouterr().out
    with pytest.raises(CommandError, match="no line"):
        call_command("register", "verify", hash=[on_paper])


def test_a_hash_on_paper_that_still_stands_is_found(three, capsys):
    call_command("register", "verify", hash=[three.lines.get(number=2).hash])

    assert "line 2" in capsys.readouterr().out


def test_another_program_works_out_the_same_hashes(three):
    """sha256sum of GNU coreutils over what the docstring promises: the hash of the line before, then the line's text."""
    for line in three.lines.all():
        done = subprocess.run(["sha256sum"], input=(line.previous_hash + line.text()).encode(), capture_output=True, check=True)
        assert done.stdout.split()[0].decode() == line.hash


# --- witness ------------------------------------------------------------------------------------------------------


def sent(page, patient, **fields) -> dict:
    return {"patient": patient.pk, "drawn": "0.5", "given": "0.5", "wasted": "0", "done_at": moment()} | fields


def test_the_witness_signs_in_the_same_form_with_their_own_password(client, stocked, patient, vet, nurse):
    client.force_login(vet)

    answer = client.post(address("use", stocked), sent(stocked, patient, witness=nurse.pk, witness_password=make.PASSWORD))

    assert answer.status_code == 302
    line = stocked.lines.last()
    assert (line.witness, line.moved) == (nurse, D("-0.5"))
    assert make.PASSWORD not in line.text()


@pytest.mark.parametrize("password", ["", "wrong password of somebody"])
def test_a_witness_who_has_not_signed_is_refused_and_nothing_typed_is_lost(client, stocked, patient, vet, nurse, password):
    client.force_login(vet)

    answer = client.post(address("use", stocked), sent(stocked, patient, witness=nurse.pk, witness_password=password, source="Order 7"))

    assert answer.status_code == 422
    assert "own sign-in password" in words(answer) or "not the sign-in password" in words(answer)
    assert 'value="Order 7"' in answer.content.decode()
    assert password == "" or password not in answer.content.decode()
    assert stocked.lines.count() == 1


def test_only_another_vet_or_nurse_of_the_hospital_is_taken_as_a_witness(client, stocked, patient, vet, coordinator, stranger):
    client.force_login(vet)

    for person in (vet, coordinator, stranger):
        answer = client.post(address("use", stocked), sent(stocked, patient, witness=person.pk, witness_password=make.PASSWORD))
        assert answer.status_code == 422
    assert stocked.lines.count() == 1


def test_wrong_passwords_of_a_witness_are_counted_as_those_of_signing_in(client, stocked, patient, vet, nurse):
    client.force_login(vet)
    for _ in range(10):
        client.post(address("use", stocked), sent(stocked, patient, witness=nurse.pk, witness_password="wrong"))

    answer = client.post(address("use", stocked), sent(stocked, patient, witness=nurse.pk, witness_password=make.PASSWORD))

    assert "Too many tries" in words(answer)
    assert stocked.lines.count() == 1


def test_a_line_without_its_witness_says_so_and_blocks_the_count_until_somebody_else_signs(client, stocked, patient, vet, nurse):
    client.force_login(vet)
    client.post(address("use", stocked), sent(stocked, patient))
    assert "Not witnessed" in words(client.get(address("page", stocked)))
    answer = client.post(address("count", stocked), {"counted": "9.5"})
    assert answer.status_code == 422
    assert "Not witnessed yet: line 2" in words(answer)
    assert client.post(address("witness", stocked, 2), {"password": make.PASSWORD}).status_code == 422  # who wrote it

    client.force_login(nurse)
    assert client.post(address("witness", stocked, 2), {"password": "wrong"}).status_code == 422
    assert client.post(address("witness", stocked, 2), {"password": make.PASSWORD}).status_code == 302

    page = words(client.get(address("page", stocked)))
    assert "Not witnessed" not in page
    assert "witnessed by Nina Nurse" in page
    assert actions.count(stocked, by=vet, counted=D("9.5")).is_waiting


def test_a_signature_more_than_ten_minutes_after_the_act_is_marked(client, stocked, patient, vet, nurse):
    use(stocked, patient, vet, done_at=now() - timedelta(minutes=11), witness=nurse)
    client.force_login(vet)

    assert "Witness signed later" in words(client.get(address("page", stocked)))


def test_a_hospital_says_for_what_a_witness_is_asked_and_by_default_for_everything(client, stocked, patient, vet):
    client.force_login(vet)
    rules = {"witness_for": ["wasted"], "count_every_days": "14", "seen_version": "1"}
    assert client.post(reverse("register:rules"), rules).status_code == 302

    client.post(address("receive", stocked), {"amount": "1", "other_party": "Supplier", "source": "DN 1", "done_at": moment()})

    assert [(line.number, line.is_witness_asked) for line in stocked.lines.all()] == [(1, True), (2, False)]
    assert "Not witnessed" not in words(client.get(address("page", stocked)))


def test_two_who_change_the_rules_at_once_see_both_versions(client, stocked, vet):
    client.force_login(vet)
    client.post(reverse("register:rules"), {"witness_for": ["wasted"], "count_every_days": "14", "seen_version": "1"})

    answer = client.post(reverse("register:rules"), {"witness_for": ["given"], "count_every_days": "7", "seen_version": "1"})

    assert answer.status_code == 409
    assert RegisterRules.objects.get().witness_for == ["wasted"]


# --- corrections --------------------------------------------------------------------------------------------------


def test_a_correction_is_a_counter_entry_beside_the_line_whose_words_stay(client, stocked, patient, vet, nurse):
    line = use(stocked, patient, vet, "0.5", witness=nurse)
    client.force_login(vet)
    fields = {"should_be": "0.05", "reason": "Read one line too far", "witness": nurse.pk, "witness_password": make.PASSWORD}

    answer = client.post(address("correct", stocked, line.number), fields)

    assert answer.status_code == 302
    correction = stocked.lines.last()
    assert (correction.kind, correction.moved, correction.refers_to, correction.balance) == ("correction", D("0.45"), line, D("9.95"))
    page = words(client.get(address("page", stocked)))
    assert "Correction of line 2" in page
    assert "Line 3: +0.45 mL, Read one line too far" in page
    assert "−0.5 mL" in page


def test_a_second_correction_counts_the_first_one_in(stocked, patient, vet, nurse):
    line = use(stocked, patient, vet, "0.5", witness=nurse)
    actions.correct(line, by=vet, should_be=D("0.05"), reason="Misread", witness=nurse)

    actions.correct(line, by=vet, should_be=D("0.4"), reason="Misread again", witness=nurse)

    assert balance_of(stocked) == 9600


@pytest.mark.parametrize("missing", ["reason", "witness"])
def test_a_correction_without_reason_or_witness_is_refused(stocked, patient, vet, nurse, missing):
    line = use(stocked, patient, vet, witness=nurse)
    said = {"reason": "Misread", "witness": nurse} | {missing: "" if missing == "reason" else None}

    with pytest.raises(ValidationError):
        actions.correct(line, by=vet, should_be=D(0), **said)


def test_a_correction_that_would_leave_less_than_nothing_is_refused(stocked, patient, vet, nurse):
    received = stocked.lines.get(number=1)
    use(stocked, patient, vet, "6", witness=nurse)

    with refused("4\xa0mL is left"):
        actions.correct(received, by=vet, should_be=D(5), reason="Five came", witness=nurse)


# --- counts -------------------------------------------------------------------------------------------------------


def test_two_count_without_seeing_balance_or_figure_and_agree(client, stocked, vet, nurse):
    client.force_login(vet)
    form = words(client.get(address("count", stocked)))
    assert "10 mL" not in form
    client.post(address("count", stocked), {"counted": "9,875"})
    client.force_login(nurse)
    assert "9.875" not in words(client.get(address("count", stocked)))

    client.post(address("count", stocked), {"counted": "9.875"})

    line = stocked.lines.last()
    assert (line.kind, line.counted, line.balance) == ("count", D("9.875"), D(10))
    assert (line.recorded_by, line.witness) == (vet, nurse)


def test_the_second_person_may_count_at_the_same_screen_with_their_own_password(client, stocked, vet, nurse):
    client.force_login(vet)
    client.post(address("count", stocked), {"counted": "10"})
    wrong = client.post(address("count", stocked), {"counted": "10", "counted_by": nurse.pk, "password": "wrong"})
    assert wrong.status_code == 422

    client.post(address("count", stocked), {"counted": "10", "counted_by": nurse.pk, "password": make.PASSWORD})

    assert (stocked.lines.last().witness, stocked.lines.last().difference_thousandths) == (nurse, 0)


def test_two_counts_that_differ_are_both_kept_and_no_line_is_written(stocked, vet, nurse):
    actions.count(stocked, by=vet, counted=D(10))

    assert actions.count(stocked, by=nurse, counted=D("9.9")).is_differing

    assert stocked.lines.count() == 1
    assert CountEntry.objects.count() == 2
    assert actions.count(stocked, by=nurse, counted=D(10)).is_waiting  # both anew


def test_a_count_lapses_when_stock_moves_before_the_second_person(stocked, patient, vet, nurse):
    actions.count(stocked, by=vet, counted=D(10))
    use(stocked, patient, vet, witness=nurse)

    assert actions.count(stocked, by=nurse, counted=D("9.5")).is_waiting


def counted_short(page, vet, nurse) -> RegisterLine:
    actions.count(page, by=vet, counted=D("9.8"))
    return actions.count(page, by=nurse, counted=D("9.8")).line


def test_a_difference_stays_open_on_the_board_until_it_is_closed_with_reason_and_witness(client, stocked, vet, nurse, coordinator):
    line = counted_short(stocked, vet, nurse)
    client.force_login(coordinator)
    assert "A count differs" in words(client.get(reverse("boards:today")))
    assert client.get(address("settle", stocked, line.number)).status_code == 403
    client.force_login(nurse)
    fields = {"is_adjusted": "yes", "reason": "Hub loss of many small doses", "witness": vet.pk, "witness_password": make.PASSWORD}
    assert client.post(address("settle", stocked, line.number), fields | {"reason": ""}).status_code == 422
    assert client.post(address("settle", stocked, line.number), fields | {"witness": ""}).status_code == 422
    assert to_settle(stocked.hospital, now())

    assert client.post(address("settle", stocked, line.number), fields).status_code == 302

    assert (balance_of(stocked), to_settle(stocked.hospital, now())) == (9800, [])
    client.force_login(coordinator)
    assert "A count differs" not in words(client.get(reverse("boards:today")))


def test_a_difference_that_a_late_line_explains_is_closed_without_moving_the_balance(stocked, patient, vet, nurse):
    line = counted_short(stocked, vet, nurse)
    use(stocked, patient, vet, "0.2", witness=nurse)

    actions.settle(line, by=vet, is_adjusted=False, reason="Dose of the morning was not written", witness=nurse)

    assert (balance_of(stocked), to_settle(stocked.hospital, now())) == (9800, [])
    with refused("somebody has closed it"):
        actions.settle(line, by=vet, is_adjusted=True, reason="again", witness=nurse)


def test_a_count_falls_due_after_a_week(stocked, hospital):
    assert to_settle(hospital, now() + timedelta(days=6)) == []

    assert [each.is_count_due for each in to_settle(hospital, now() + timedelta(days=8))] == [True]


# --- who sees it --------------------------------------------------------------------------------------------------

READ = ["register:register", "register:check", "register:count-sheet", "register:print", "register:export"]


@pytest.mark.parametrize("name", READ)
def test_staff_read_the_register_and_carers_never(client, stocked, vet, nurse, coordinator, carer, name):
    for person, status in ((vet, 200), (nurse, 200), (coordinator, 200), (carer.person, 403)):
        client.force_login(person)
        assert client.get(reverse(name)).status_code == status


@pytest.mark.parametrize("name", ["receive", "use", "discard", "transfer", "count"])
def test_vets_and_nurses_of_the_hospital_write_and_nobody_else(client, stocked, vet, nurse, coordinator, carer, stranger, name):
    for person, status in ((vet, 200), (nurse, 200), (coordinator, 403), (carer.person, 403), (stranger, 404)):
        client.force_login(person)
        assert client.get(address(name, stocked)).status_code == status


def test_a_role_counts_at_the_hospital_one_works_at_now(client, stocked, vet, coordinator):
    """A coordinator here who is a nurse elsewhere reads here, and writes nothing."""
    other = make.hospital(name="Elsewhere", slug="elsewhere")
    other.memberships.create(person=coordinator, role="nurse")
    session = client
    session.force_login(coordinator)
    session.post(reverse("people:work-at"), {"hospital": other.pk})

    assert session.get(address("use", stocked)).status_code == 404


def test_another_hospitals_animal_cannot_be_chosen(client, stocked, vet, stranger):
    client.force_login(vet)

    answer = client.post(address("use", stocked), sent(stocked, make.patient(stranger)))

    assert answer.status_code == 422
    assert "Choose an animal of this hospital" in words(answer)


def test_a_page_is_opened_once(client, stocked, vet):
    client.force_login(vet)
    fields = {"drug": "Ketamine", "form": "injection", "strength": "100", "strength_unit": "mg", "location": "drug safe", "legal_class": ""}

    answer = client.post(reverse("register:open"), fields)

    assert answer.status_code == 422
    assert "has this page already" in words(answer)
    assert client.post(reverse("register:open"), fields | {"location": "Theatre"}).status_code == 302


def test_nonsense_in_the_form_is_answered_in_a_sentence(client, stocked, patient, vet):
    client.force_login(vet)

    for drawn in ("", "abc", "-1", "0.0001", "1e9", "NaN"):
        answer = client.post(address("use", stocked), sent(stocked, patient, drawn=drawn))
        assert answer.status_code == 422, drawn
    assert stocked.lines.count() == 1


def test_the_register_costs_the_same_however_many_pages_it_has(client, hospital, vet, nurse, django_assert_max_num_queries):
    for number in range(6):
        make.stock(make.register_page(hospital, vet, location=f"Safe {number}"), "5", by=vet, witness=nurse)
    client.force_login(vet)

    with django_assert_max_num_queries(16):
        client.get(reverse("register:register"))


# --- the file and the paper ---------------------------------------------------------------------------------------


def test_the_file_read_back_adds_up_line_by_line(three, hospital, patient, vet, nurse):
    actions.correct(three.lines.get(number=2), by=vet, should_be=D("0.4"), reason="=1+1", witness=nurse)

    rows = list(csv.DictReader(io.StringIO(as_csv(hospital, RegisterPage.objects.all()))))

    balance = D(0)
    for row in rows:
        balance += D(row["moved"])
        assert D(row["balance"]) == balance
    assert [row["line"] for row in rows] == ["1", "2", "3", "4"]
    assert rows[3]["reason"] == "'=1+1"  # no spreadsheet works it out
    assert (rows[3]["refers_to_line"], rows[3]["hash"]) == ("2", three.lines.last().hash)


def pdf_text(file: bytes) -> str:
    done = subprocess.run(["pdftotext", "-layout", "-", "-"], input=file, capture_output=True, check=True)
    return re.sub(r"[ \xa0]+", " ", done.stdout.decode())


def test_paper_has_a_sheet_for_each_page_with_balance_corrections_and_page_x_of_y(three, hospital, vet, nurse):
    actions.correct(three.lines.get(number=2), by=vet, should_be=D("0.4"), reason="Misread", witness=nurse)
    make.stock(make.register_page(hospital, vet, drug="midazolam", strength=D(5)), "20", by=vet)

    text = pdf_text(as_pdf(hospital, RegisterPage.objects.all()))

    assert text.count("\f") == 2
    assert "Page 1 of 2" in text
    assert "Page 2 of 2" in text
    first, second = text.split("\f")[:2]
    assert "ketamine 100 mg per mL" in first
    assert "Correction of line 2" in first
    assert "9.35 mL" in first
    assert "midazolam 5 mg per mL" in second
    assert "Not witnessed" in second


def test_a_reprint_is_the_same_file(three, hospital):
    pages = RegisterPage.objects.all()

    assert as_pdf(hospital, pages) == as_pdf(hospital, pages)


def test_a_name_with_markup_is_printed_as_it_is(hospital, vet):
    make.stock(make.register_page(hospital, vet, location="<b>Safe</b>"), "1", by=vet)

    assert "<b>Safe</b>" in pdf_text(as_pdf(hospital, RegisterPage.objects.all()))


def test_the_count_sheet_shows_the_newest_hash_and_no_balance(client, three, vet):
    client.force_login(vet)

    sheet = words(client.get(reverse("register:count-sheet")))

    assert three.lines.last().hash in sheet
    assert "9.25" not in sheet


# --- a dose of an order -------------------------------------------------------------------------------------------


def draw(patient, by, ml="0.5", **said):
    wanted = dict(drug="Ketamine", strength=D(100), strength_unit="mg", given_ml=D(ml), by=by, done_at=now())
    return actions.draw_up(patient, **wanted | said)


def test_a_dose_of_a_drug_that_is_kept_posts_its_line(stocked, patient, vet, nurse):
    line = draw(patient, vet, witness=nurse)

    assert (line.page, line.moved, line.animal[:9]) == (stocked, D("-0.5"), f"{patient.case_number} European pond turtle"[:9])


def test_a_dose_of_any_other_drug_posts_nothing(stocked, patient, vet):
    assert draw(patient, vet, drug="meloxicam") is None


def test_a_carers_dose_is_not_drawn_from_the_hospitals_stock(stocked, patient, carer):
    assert draw(patient, carer.person) is None


def test_the_same_strength_in_another_unit_is_the_same_bottle(stocked, patient, vet):
    assert draw(patient, vet, strength=D(100_000), strength_unit="microgram").page == stocked


def test_a_strength_that_is_not_kept_is_refused(stocked, patient, vet):
    with refused("but not 10\xa0mg per mL: it has 100"):
        draw(patient, vet, strength=D(10))


def test_where_there_is_a_choice_of_place_it_must_be_said(stocked, hospital, patient, vet, nurse):
    theatre = make.register_page(hospital, vet, location="Theatre cabinet")
    make.stock(theatre, "2", by=vet, witness=nurse)

    with pytest.raises(ValidationError) as refusal:
        draw(patient, vet)
    assert "page" in refusal.value.error_dict

    assert draw(patient, vet, page=theatre).page == theatre
    assert draw(patient, vet, "5").page == stocked  # only the safe holds as much


def test_a_page_of_another_hospital_or_drug_is_not_drawn_from(stocked, patient, vet, stranger):
    elsewhere = make.register_page(stranger.memberships.first().hospital, stranger)
    for page in (elsewhere, make.register_page(stocked.hospital, vet, drug="midazolam")):
        with pytest.raises(ValidationError):
            draw(patient, vet, page=page)


@pytest.fixture
def course(patient, vet):
    """An order of ketamine, half a millilitre of the bottle a dose."""
    return make.order(patient, by=vet, drug="Ketamine", strength_per_ml=D(100), dose_per_kg=D(60), volume_ml=D("0.5"), route="muscle")


def give_url(course) -> str:
    return reverse("medications:give", args=[course.patient.case_number, course.pk])


def test_a_dose_that_is_written_down_posts_its_line_with_waste_and_witness(client, stocked, course, vet, nurse):
    client.force_login(vet)
    assert "register of controlled drugs" in words(client.get(give_url(course)))
    fields = {"kind": "given", "given_at": moment(), "page": stocked.pk, "wasted_ml": "0.05"}

    answer = client.post(give_url(course), fields | {"witness": nurse.pk, "witness_password": make.PASSWORD})

    assert answer.status_code == 302
    dose = DoseGiven.objects.get()
    assert (dose.register_line.moved, dose.register_line.witness) == (D("-0.5"), nurse)
    assert [line.kind for line in stocked.lines.all()] == ["received", "given", "wasted"]
    assert f"by {vet.name}" in dose.register_line.source


def test_only_the_share_of_the_bottle_leaves_the_register_when_it_was_diluted(stocked, course, vet):
    course.dilution_parts = 10
    course.save()

    give_dose(course, by=vet, kind="given", given_at=now(), note="")

    assert stocked.lines.last().moved == D("-0.05")  # 0.5 mL of one part in ten


def test_a_dose_that_was_not_taken_leaves_the_stock_alone_unless_it_was_drawn_up_and_wasted(stocked, course, vet, nurse):
    give_dose(course, by=vet, kind="refused", given_at=now(), note="")
    assert stocked.lines.count() == 1

    give_dose(course, by=vet, kind="refused", given_at=now(), note="", wasted_ml=D("0.5"), witness=nurse)

    assert (stocked.lines.last().kind, stocked.lines.last().moved) == ("wasted", D("-0.5"))


def test_a_dose_and_its_line_are_written_together_or_not_at_all(stocked, course, vet, monkeypatch):
    def broken(self, *args, **kwargs):
        raise RuntimeError("the power went")

    monkeypatch.setattr(DoseGiven, "save", broken)
    with pytest.raises(RuntimeError):
        give_dose(course, by=vet, kind="given", given_at=now(), note="")
    monkeypatch.undo()
    assert (stocked.lines.count(), DoseGiven.objects.count()) == (1, 0)

    course.volume_ml = D(11)  # more than is there
    course.save()
    with refused("10\xa0mL is left here"):
        give_dose(course, by=vet, kind="given", given_at=now(), note="")

    assert (stocked.lines.count(), DoseGiven.objects.count()) == (1, 0)
    call_command("register", "verify")


def test_a_dose_without_its_line_is_found_by_the_check(stocked, course, vet):
    DoseGiven.objects.create(patient=course.patient, order=course, given_at=now(), given_by=vet)

    with pytest.raises(CommandError, match="has no line in the register"):
        call_command("register", "verify")


def test_what_a_carer_gives_was_drawn_when_it_was_handed_over(stocked, course, vet, carer):
    make.placement(course.patient, carer)

    give_dose(course, by=vet, kind="given", given_at=now(), note="", is_from_stock=False)

    assert stocked.lines.count() == 1
    call_command("register", "verify")


def test_a_dose_is_taken_back_only_when_its_line_has_been_corrected(stocked, course, vet, nurse):
    dose = give_dose(course, by=vet, kind="given", given_at=now(), note="")
    with refused("Correct that line to 0 there"):
        take_dose_back(dose)
    actions.correct(dose.register_line, by=vet, should_be=D(0), reason="Written for the wrong animal", witness=nurse)

    take_dose_back(dose)

    assert (DoseGiven.objects.count(), balance_of(stocked)) == (0, 10_000)


def test_the_chart_tells_what_was_drawn_up_outside_the_orders(client, stocked, patient, vet, nurse):
    use(stocked, patient, vet, "0.3", witness=nurse)
    client.force_login(vet)

    page = words(client.get(reverse("chart:patient", args=[patient.case_number])))

    assert "ketamine: given, 0.3 mL" in page
    assert "Register, line 2" in page


def test_a_hash_from_paper_is_looked_for_on_the_page_of_the_check(client, three, vet):
    client.force_login(vet)

    found = words(client.get(reverse("register:check"), {"hash": three.lines.get(number=2).hash.upper()}))
    lost = words(client.get(reverse("register:check"), {"hash": "f" * 64}))

    assert "It is line 2 of ketamine, Drug safe" in found
    assert "No line of this register has this hash" in lost

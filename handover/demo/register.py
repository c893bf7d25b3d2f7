"""A few weeks of the register of controlled drugs: fixtures/demo/register.toml, told in order after the cases."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from handover.demo.stories import Cast, Step
from hospital.admissions.models import Patient
from hospital.audit.acting import acting
from hospital.clock import pretending
from hospital.medications.actions import give_dose, order_medication
from hospital.register import actions
from hospital.register.models import RegisterPage

Row = Mapping[str, Any]
AMOUNTS = ("amount", "drawn", "given", "wasted", "should_be", "counted")


class Register:
    """The rows of the file turned into steps."""

    def __init__(self, told: Row, cast: Cast, patients: Mapping[str, Patient]):
        self.told, self.cast, self.patients = told, cast, patients
        self.hospital = cast.hospitals[told["hospital"]]
        self.zone = ZoneInfo(self.hospital.zone)
        self.pages: dict[str, RegisterPage] = {}

    def tell(self) -> None:
        """Do everything in the order of time."""
        for step in sorted(self.steps(), key=lambda step: step.at):
            if step.at <= self.cast.now:
                with pretending(step.at), acting(step.by.pk, "demonstration"), timezone.override(self.zone):
                    step.do()

    def at(self, row: Row) -> datetime:
        day = self.cast.now.astimezone(self.zone).date() - timedelta(days=row["days_ago"])
        return datetime.combine(day, time.fromisoformat(row["time"]), self.zone)

    def steps(self) -> Iterator[Step]:
        opened_by = self.cast.people[self.told["entry"][0]["by"]]
        for row in self.told["page"]:
            yield Step(self.at(self.told["entry"][0]) - timedelta(minutes=10), opened_by, lambda row=row: self._open(row, opened_by))
        for row in self.told["entry"]:
            yield Step(self.at(row), self.cast.people[row["by"]], self._entry(row))
        for row in self.told["order"]:
            yield from self._order(row)

    def _open(self, row: Row, by: Any) -> None:
        words = {name: value for name, value in row.items() if name != "key"} | {"strength": Decimal(row["strength"])}
        self.pages[row["key"]] = actions.open_page(self.hospital, by=by, **words)

    def _entry(self, row: Row) -> Callable[[], Any]:
        said = {name: value for name, value in row.items() if name not in ("page", "do", "days_ago", "time", "story", "line", "to")}
        said |= {name: Decimal(row[name]) for name in AMOUNTS if name in row}
        said |= {name: self.cast.people[row[name]] for name in ("by", "witness")}
        return lambda: getattr(self, f"_{row['do']}")(self.pages[row["page"]], row, said)

    def _receive(self, page: RegisterPage, row: Row, said: dict) -> None:
        actions.receive(page, done_at=self.at(row), **said)

    def _use(self, page: RegisterPage, row: Row, said: dict) -> None:
        actions.use(page, patient=self.patients[row["story"]], done_at=self.at(row), **said)

    def _discard(self, page: RegisterPage, row: Row, said: dict) -> None:
        actions.discard(page, done_at=self.at(row), **said)

    def _transfer(self, page: RegisterPage, row: Row, said: dict) -> None:
        actions.transfer(page, done_at=self.at(row), to_page=self.pages[row["to"]], other_party="", **said)

    def _correct(self, page: RegisterPage, row: Row, said: dict) -> None:
        actions.correct(page.lines.get(number=row["line"]), **said)

    def _count(self, page: RegisterPage, row: Row, said: dict) -> None:
        for person in (said["by"], said["witness"]):
            actions.count(page, by=person, counted=said["counted"])

    def _order(self, row: Row) -> Iterator[Step]:
        """A course and its doses, each out of the register; who gave the last one had nobody at hand."""
        by, given_by, witness = (self.cast.people[row[name]] for name in ("by", "given_by", "witness"))
        patient, first_at, made = self.patients[row["story"]], self.at(row), []
        asked = {name: row[name] for name in ("drug", "route", "every_hours", "doses", "instruction")}
        asked |= {"dose_per_kg": Decimal(row["dose_per_kg"]), "strength_per_ml": Decimal(row["strength_per_ml"])}
        asked |= {"dose_unit": "mg", "strength_unit": "mg", "first_dose_at": first_at, "dose_reason": "As talked over on the ward round"}
        asked |= {"is_weight_checked": True, "is_warning_read": True, "seen_weight_g": None}
        yield Step(first_at, by, lambda: made.append(order_medication(patient, by=by, **asked)))
        moments = [first_at + timedelta(hours=row["every_hours"] * number) for number in range(row["doses"])]
        given = [at for at in moments if at < self.cast.now - timedelta(minutes=30)]
        for at in given:
            seen = None if at == given[-1] else witness
            give = lambda at=at, seen=seen: give_dose(made[0], by=given_by, kind="given", given_at=at, note="", witness=seen)  # noqa: E731
            yield Step(at + timedelta(minutes=5), given_by, give)

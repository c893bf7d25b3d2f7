"""The theatre of the demonstration: fixtures/demo/theatre.toml, told after the cases."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, time, timedelta
from decimal import Decimal
from functools import partial
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from handover.demo.stories import Cast, Step
from hospital.admissions.models import Patient
from hospital.audit.acting import acting
from hospital.clock import now, pretending, today
from hospital.theatre import actions
from hospital.theatre.models import CHECKS, FIGURES, Anaesthetic

Row = Mapping[str, Any]


class Theatre:
    """One row of the file turned into steps."""

    def __init__(self, row: Row, cast: Cast, patient: Patient):
        self.row, self.cast, self.patient, self.by = row, cast, patient, cast.people[row["by"]]
        self.procedure = patient.procedures.first() if row.get("begun") == "procedure" else None
        self.zone = ZoneInfo(patient.hospital.zone)

    def tell(self) -> None:
        """Do everything in the order of time."""
        for step in sorted(self.steps(), key=lambda step: step.at):
            if step.at <= self.cast.now:
                with pretending(step.at), acting(step.by.pk, "demonstration"), timezone.override(self.zone):
                    step.do()

    def begun_at(self) -> datetime:
        if self.procedure is None:
            return self.cast.now - timedelta(minutes=self.row.get("begun", 20))
        usual = datetime.combine(self.procedure.done_on, time(10, 30), self.zone)
        return max(usual, self.patient.admitted_at + timedelta(minutes=30))

    def it(self) -> Anaesthetic:
        return self.patient.anaesthetics.get()

    def steps(self) -> Iterator[Step]:
        begun_at = self.begun_at()

        def after(minutes: int, do: Callable[[], Any]) -> Step:
            return Step(begun_at + timedelta(minutes=minutes), self.by, do)

        yield after(-10, self._plan)
        if "begun" not in self.row:
            return
        yield after(-5, self._check)
        yield after(0, lambda: actions.begin(self.it(), seen_version=self.it().version))
        for reading in self.row["readings"]:
            minutes, *figures = reading.split()
            yield after(int(minutes), partial(self._read, figures))
        for name, minutes in self.row["steps"].items():
            yield after(minutes, partial(self._step, name))
        if self.procedure:
            yield after(120, lambda: actions.belongs_to(self.it(), self.procedure, seen_version=self.it().version))

    def _plan(self) -> None:
        words = {name: self.row.get(name, "") for name in ("kind", "note", "fasting")}
        actions.plan(self.patient, by=self.by, planned_on=today(self.patient.hospital.zone), vet=self.by, place=1, **words)

    def _check(self) -> None:
        said = self.row["check"] | dict.fromkeys(CHECKS, True)
        if "tube_mm" in said:
            said["tube_mm"] = Decimal(said["tube_mm"])
        actions.check(self.it(), by=self.by, seen_version=self.it().version, **said)

    def _read(self, figures: list[str]) -> None:
        said = {name: Decimal(figure) for name, figure in zip(FIGURES, figures, strict=True) if figure != "-"}
        actions.read(self.it(), by=self.by, at=now(), seen_version=0, **said)

    def _step(self, name: str) -> None:
        actions.take_step(self.it(), name, by=self.by, seen_version=self.it().version)

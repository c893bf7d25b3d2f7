"""The clutches of a case, told step by step: image, induction, laying, the incubator's log, candling, losses, the hatch."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from hospital.clock import now
from hospital.clutches import actions
from hospital.clutches.models import Clutch, Incubator
from hospital.medications import actions as medications
from hospital.rules.logfile import Row as LoggedRow

if TYPE_CHECKING:
    from handover.demo.stories import Story

Row = Mapping[str, Any]
LOG_EVERY_DAYS = 7  # the logger is read out once a week


@dataclass
class ClutchStory:
    """One `[[case.clutch]]` of the file. Its days count from the admission of the dam."""

    story: Story
    row: Row
    made: list[Clutch] = field(default_factory=list)

    @property
    def clutch(self) -> Clutch:
        return Clutch.objects.get(pk=self.made[0].pk)

    def steps(self) -> Iterator[tuple[datetime, Callable[[], Any]]]:
        """What happened and when; all of it is the vet's doing."""
        row, moment, laid_day = self.row, self.story.moment, self.row["laid_day"]
        yield moment(row.get("imaged_day", laid_day), "09:40"), self.begin
        if induction := row.get("induction"):
            yield moment(laid_day, "10:20"), lambda: self.induce(induction)
        yield moment(laid_day, "18:10"), lambda: self.lay(row["eggs"] - row.get("later", {}).get("eggs", 0), self.incubator())
        if later := row.get("later"):
            yield moment(later["day"], "08:50"), lambda: self.lay(later["eggs"], None)
        last_log = self.story.row["admitted_days_ago"]
        for day in [*range(laid_day + LOG_EVERY_DAYS, last_log, LOG_EVERY_DAYS), last_log]:
            yield moment(day, "07:30"), self.read_out
        for weighed in row.get("weighed", []):
            yield moment(weighed["day"], "19:00"), lambda weighed=weighed: self.weigh(weighed)
        for candled in row.get("candled", []):
            yield moment(candled["day"], "11:00"), lambda candled=candled: self.candle(candled)
        for lost in row.get("lost", []):
            yield moment(lost["day"], "11:20"), lambda lost=lost: self.lose(lost)
        if hatched := row.get("hatched"):
            yield moment(hatched["day"], "08:20"), lambda: self.hatch(hatched)

    @property
    def _who(self) -> dict[str, Any]:
        return {"by": self.story.vet}

    def _eggs(self, numbers: list[int]):
        return self.clutch.eggs.filter(number__in=numbers)

    def _on(self):
        return now().astimezone(self.story.zone).date()

    def begin(self) -> None:
        is_imaged = "imaged_day" in self.row
        seen = {"imaged_on": self._on() if is_imaged else None, "imaged_eggs": self.row["eggs"] if is_imaged else None}
        note = self.row.get("medium", "")
        self.made.append(actions.begin_clutch(self.story.patient, **self._who, **seen, is_way_clear=is_imaged, note=note))
        if own := self.row.get("own_days"):
            days = {"own_days_least": own["least"], "own_days_most": own["most"], "own_days_source": own["source"]}
            actions.edit_clutch(self.clutch, **self._who, seen_version=1, is_way_clear=is_imaged, **seen, note=note, **days)

    def induce(self, row: Row) -> None:
        order = medications.order_medication(
            self.story.patient, **self._who, drug=row["drug"], route=row["route"], dose_per_kg=Decimal(row["units_per_kg"]),
            dose_unit="unit", strength_per_ml=Decimal(row["units_per_ml"]), strength_unit="unit", every_hours=24, doses=1,
            first_dose_at=now(), instruction="", is_weight_checked=True, is_warning_read=True, seen_weight_g=None,
            dose_reason=row["reason"],
        )  # fmt: skip
        actions.tie_induction(self.clutch, **self._who, order=order)
        medications.give_dose(order, **self._who, kind="given", given_at=now(), note="")

    def lay(self, eggs: int, incubator: Incubator | None) -> None:
        laid = {"laid_from": now() - timedelta(hours=6), "laid_until": now(), "eggs": eggs, "is_top_marked": True}
        laid["laid_from"] = max(laid["laid_from"], self.story.admitted_at)
        actions.record_laying(self.clutch, **self._who, seen_version=self.clutch.version, incubator=incubator, **laid)

    def incubator(self) -> Incubator:
        row, target_c = self.row, Decimal(self.row["target_c"])
        there = Incubator.objects.filter(hospital=self.story.hospital, name=row["incubator"]).first()
        own = {"alarm_low_c": target_c - 2, "alarm_high_c": target_c + 2, "target_humidity_percent": row.get("humidity_percent")}
        if humidity := row.get("humidity_percent"):
            own |= {"alarm_low_humidity_percent": humidity - 10, "alarm_high_humidity_percent": min(humidity + 10, 100)}
        return there or actions.add_incubator(self.story.hospital, **self._who, name=row["incubator"], target_c=target_c, **own)

    def read_out(self) -> None:
        """What the logger has kept since laying; what was read out before is there already."""
        stay = self.clutch.stays.last()
        actions.add_readings(stay.incubator, **self._who, rows=list(self._log(stay.since)))

    def _log(self, since: datetime) -> Iterator[LoggedRow]:
        told = self.row["temperatures"]
        usual_c, spread_c, dip = Decimal(told["usual_c"]), Decimal(told["spread_c"]), told.get("dip")
        dip_at = self.story.moment(dip["day"], "03:00") if dip else None
        gap = self.story.moment(told["gap_day"], "06:00") if "gap_day" in told else None
        humidity = told.get("humidity_percent")
        at, number = since, 0
        while at <= now():
            is_dip = dip_at and dip_at <= at <= dip_at + timedelta(hours=dip["hours"])
            if not (gap and gap <= at < gap + timedelta(hours=30)):
                warmth = Decimal(dip["low_c"]) if is_dip else usual_c + spread_c * (number * 7 % 5 - 2) / 2
                yield LoggedRow(at, warmth, Decimal(humidity + number * 3 % 7 - 3) if humidity else None)
            at, number = at + timedelta(hours=told["every_hours"]), number + 1

    def weigh(self, row: Row) -> None:
        weights = {egg.pk: Decimal(row["g"][egg.number - 1]) for egg in self.clutch.eggs.all()}
        actions.weigh_eggs(self.clutch, **self._who, weighed_on=self._on(), weights=weights)

    def candle(self, row: Row) -> None:
        seen = {egg.pk: word for word in ("developing", "clear", "unsure", "dead") for egg in self._eggs(row.get(word, []))}
        actions.candle(self.clutch, **self._who, candled_on=self._on(), seen=seen, note=row["note"])

    def lose(self, row: Row) -> None:
        lost = {"loss": row["loss"], "loss_note": row.get("note", ""), "ended_on": self._on()}
        actions.lose_eggs(self.clutch, **self._who, eggs=self._eggs(row["eggs"]), **lost)

    def hatch(self, row: Row) -> None:
        key = uuid.uuid5(uuid.NAMESPACE_OID, self.story.row["story"])
        actions.hatch(self.clutch, **self._who, eggs=self._eggs(row["eggs"]), hatched_at=now(), ward=row["ward"], key=key)

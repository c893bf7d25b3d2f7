"""Where a clutch stands: its eggs, its warmth so far, when it may hatch, and what somebody must look at."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cached_property
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from hospital.admissions.models import Patient
from hospital.clutches.models import Clutch, Egg, Incubator, Reading, Stay
from hospital.medications.models import MedicationOrder
from hospital.rules.egg_weights import NATURAL, Loss, LossBand, band_for, loss_of
from hospital.rules.incubation import LONGEST_BRIDGE, Forecast, Piece, Published, earliest_in, forecast, pieces_of, published_for
from hospital.rules.incubation import Stay as Warmth

# Chelonian eggs are candled every two weeks; three weeks are late. Common practice, no source.
CANDLE_EVERY, CANDLE_LATE_AFTER = timedelta(days=14), timedelta(days=21)
CANDLED_GROUP = "chelonian"


def clutches_of(patient: Patient) -> QuerySet[Clutch]:
    """A patient's clutches, the first one first, with all that is written about them."""
    return with_all(patient.clutches.all())


def with_all(clutches: QuerySet[Clutch]) -> QuerySet[Clutch]:
    rows = ("eggs__candled", "eggs__weights", "eggs__hatchling__species", "stays__incubator", "candlings__candled_by", "candlings__results")
    orders = ("inductions__order__ordered_by",)
    return clutches.select_related("patient__species__group", "patient__hospital", "begun_by").prefetch_related(*rows, *orders)


def incubating(patients: Iterable[Patient] | QuerySet) -> list[Clutch]:
    """Clutches of these animals of which an egg has neither hatched nor been lost."""
    open_eggs = Egg.objects.filter(end="").values("clutch")
    return list(with_all(Clutch.objects.filter(patient__in=patients, pk__in=open_eggs)).order_by("laid_from"))


def incubators_in_use(patient: Patient) -> QuerySet[Incubator]:
    """Where eggs of this patient may go."""
    return Incubator.objects.at(patient.hospital).filter(is_in_use=True)


def orders_to_tie(clutch: Clutch) -> QuerySet[MedicationOrder]:
    """Orders of the dam that are not stopped and tied to no clutch; also those that wait for a second vet."""
    written = clutch.patient.medication_orders(manager="written").filter(stopped_on=None, induction=None)
    return written.order_by("-first_dose_at")


def siblings_of(patient: Patient) -> QuerySet[Patient]:
    """Other young of the same dam that hatched or were born in care."""
    if patient.dam_id is None:
        return Patient.objects.none()
    return Patient.objects.filter(dam=patient.dam_id).exclude(pk=patient.pk).select_related("species").order_by("pk")


def newest_readings(incubators: Iterable[Incubator]) -> dict[int, Reading]:
    """The newest reading of each incubator, by its id."""
    newest: dict[int, Reading] = {}
    for incubator in incubators:
        if reading := incubator.readings.that_count().order_by("-read_at").first():
            newest[incubator.pk] = reading
    return newest


def seen_last(egg: Egg) -> str:
    """What the last candling showed; empty before the first. Reads rows that are there already."""
    results = sorted(egg.candled.all(), key=lambda each: each.candling_id)
    return results[-1].seen if results else ""


@dataclass(frozen=True)
class Standing:
    """One clutch at one moment."""

    clutch: Clutch
    now: datetime

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.clutch.patient.hospital.zone)

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    @cached_property
    def eggs(self) -> list[Egg]:
        return list(self.clutch.eggs.all())

    @property
    def open_eggs(self) -> list[Egg]:
        return [egg for egg in self.eggs if not egg.end]

    @property
    def is_incubating(self) -> bool:
        return bool(self.open_eggs)

    @property
    def counts(self) -> Counter[str]:
        """Eggs by how they stand: "hatched", "lost", the last candling's word, or "" for not candled."""
        return Counter(egg.end or seen_last(egg) for egg in self.eggs)

    @cached_property
    def stays(self) -> list[Stay]:
        return list(self.clutch.stays.all())

    @property
    def incubator(self) -> Incubator | None:
        return self.stays[-1].incubator if self.stays else None

    @cached_property
    def newest(self) -> Reading | None:
        return self.incubator.readings.that_count().order_by("-read_at").first() if self.incubator else None

    @property
    def is_silent(self) -> bool:
        """Whether the log of the incubator has said nothing for longer than the hospital allows."""
        if not (self.is_incubating and self.incubator):
            return False
        since = max(self.newest.read_at, self.stays[-1].since) if self.newest else self.stays[-1].since
        return self.now - since > timedelta(hours=self.incubator.silent_hours)

    @property
    def is_out_of_range(self) -> bool:
        """Whether the newest temperature lies outside the hospital's own alarm range."""
        return bool(self.is_incubating and self.newest and out_of_range(self.incubator, self.newest))

    @cached_property
    def newest_humid(self) -> Reading | None:
        """The newest reading that says how humid it was."""
        if not self.incubator or (self.newest and self.newest.humidity_percent is not None):
            return self.newest
        return self.incubator.readings.that_count().exclude(humidity_percent=None).order_by("-read_at").first()

    @property
    def is_humidity_out_of_range(self) -> bool:
        return bool(self.is_incubating and self.newest_humid and humidity_out_of_range(self.incubator, self.newest_humid))

    @cached_property
    def readings(self) -> list[list[tuple[datetime, Decimal, Decimal | None]]]:
        """Of each stay the readings of its incubator, with those just outside it, so that a line can be drawn to them.

        A reading is its moment, temperature and humidity.
        """
        return [
            list(
                stay.incubator.readings.that_count().filter(read_at__gte=begins - LONGEST_BRIDGE, read_at__lte=ends + LONGEST_BRIDGE)
                .filter(read_at__lte=self.now)
                .values_list("read_at", "temperature_c", "humidity_percent")
            )
            for stay, begins, ends in self._spans()
        ]

    def _spans(self) -> list[tuple[Stay, datetime, datetime]]:
        """Each stay with its begin and end. What lay before the first one counts to it: eggs are put in soon after laying."""
        if not self.stays:
            return []
        begins = [self.clutch.laid_from, *(stay.since for stay in self.stays[1:])]
        return list(zip(self.stays, begins, [*begins[1:], self.now], strict=True))

    @cached_property
    def pieces(self) -> list[Piece]:
        """The temperature from laying until now."""
        if self.clutch.laid_from is None:
            return []
        warmth = [
            Warmth(begins, ends, stay.incubator.target_c, tuple((at, temperature_c) for at, temperature_c, _humidity in readings))
            for (stay, begins, ends), readings in zip(self._spans(), self.readings, strict=True)
        ]
        return [piece for each in warmth for piece in pieces_of(each)]

    @property
    def humidities(self) -> list[tuple[datetime, Decimal]]:
        """What was read of the humidity from laying until now, in the order of time."""
        return [
            (at, humidity)
            for (_stay, begins, ends), readings in zip(self._spans(), self.readings, strict=True)
            for at, _temperature_c, humidity in readings
            if humidity is not None and begins <= at < ends
        ]

    @cached_property
    def figures(self) -> Published | None:
        """What the forecast stands on: the days that a vet wrote at the clutch, or else published ones."""
        clutch = self.clutch
        if clutch.own_days_least and clutch.own_days_most:
            return Published((), "", (), (clutch.own_days_least, clutch.own_days_most), clutch.own_days_source, "own figure")
        return published_for(clutch.patient.species.scientific_name)

    @cached_property
    def forecast(self) -> Forecast | None:
        """When it may hatch. None without figures, and without a warmth to reckon from where the figures need one."""
        if self.clutch.laid_from is None or self.figures is None or (self.figures.at and not self.incubator):
            return None
        target_c = self.incubator.target_c if self.incubator else None
        return forecast(self.clutch.laid_from, self.now, self.pieces, target_c, self.figures)

    @property
    def incubation_days(self) -> Fraction | None:
        """In how many days the eggs hatch: the middle of what a vet wrote or a source has."""
        return Fraction(sum(self.figures.days), 2) if self.figures else None

    @cached_property
    def loss_band(self) -> LossBand | None:
        """How much an egg of this kind should lose; None where nobody says it."""
        return band_for(self.clutch.patient.species.group.lineage())

    def loss(self, egg: Egg) -> Loss | None:
        """What the weights of an egg say. Reads rows that are there already."""
        natural = NATURAL if self.loss_band else None
        return loss_of([(each.weighed_on, each.weight_g) for each in egg.weights.all()], self.incubation_days, natural)

    @cached_property
    def others(self) -> Published | None:
        """Without figures of its own: those of another species of the group that hatches earliest."""
        return None if self.figures else earliest_in(self.clutch.patient.species.group.lineage()[:1])

    @property
    def watch_from(self) -> date | None:
        """From which day eggs without figures of their own should be watched."""
        if self.others is None or self.clutch.laid_from is None:
            return None
        return self.clutch.laid_from.astimezone(self.zone).date() + timedelta(days=self.others.days[0])

    @property
    def candle_on(self) -> date | None:
        """When the eggs are to be candled next; None for groups of which nobody says how often."""
        if not self.is_incubating or CANDLED_GROUP not in self.clutch.patient.species.group.lineage():
            return None
        return self._candled_last() + CANDLE_EVERY

    @property
    def is_candling_late(self) -> bool:
        return bool(self.candle_on and self._candled_last() + CANDLE_LATE_AFTER < self.today)

    def _candled_last(self) -> date:
        candlings = list(self.clutch.candlings.all())
        return candlings[-1].candled_on if candlings else self.clutch.laid_from.astimezone(self.zone).date()


def out_of_range(incubator: Incubator, reading: Reading) -> bool:
    return _outside(reading.temperature_c, incubator.alarm_low_c, incubator.alarm_high_c)


def humidity_out_of_range(incubator: Incubator, reading: Reading) -> bool:
    return _outside(reading.humidity_percent, incubator.alarm_low_humidity_percent, incubator.alarm_high_humidity_percent)


def _outside(value: Decimal | None, low: Decimal | int | None, high: Decimal | int | None) -> bool:
    return value is not None and ((low is not None and value < low) or (high is not None and value > high))

"""What is true of a patient now: what is on or in it, what it gets, and what somebody must look at."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from hospital.admissions.days import in_words
from hospital.chart.queries import Record
from hospital.feeding.queries import in_force
from hospital.feeding.queries import needs_new_weight as plan_is_old
from hospital.medications.models import MedicationOrder
from hospital.medications.queries import is_running, last_dose_at, needs_new_weight, next_dose_at, washed_out_at
from hospital.medications.wording import parts
from hospital.procedures.models import Bandage, Implant
from hospital.procedures.wording import bandage_name, bandage_watch, closure_line, implant_line, layers_of
from hospital.rules.weights import Level, Weighing, alarm_for, standing
from hospital.rules.wording import Part, body_weight, number, rounded


@dataclass(frozen=True, slots=True)
class Thing:
    """Something on or in the animal, a word about it, and what can be done with it: (words, address) each."""

    line: str
    hint: str
    links: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, str], ...] = ()  # the layers of a bandage


@dataclass(frozen=True, slots=True)
class Course:
    """A course that runs: the pieces of its line, when the next dose falls due, and whether the dose is out of date."""

    order: MedicationOrder
    parts: tuple[tuple[Part, str], ...]
    next_at: datetime | None
    last_at: datetime
    is_due: bool
    has_old_weight: bool
    washed_out_at: datetime | None  # None: no half-life is known


def _url(name: str, record: Record, *args: object) -> str:
    return reverse(name, args=[record.patient.case_number, *args])


def days_since(on: date, today: date) -> str:
    """ "12 days ago, Tue 05-Jan-2027"."""
    days = (today - on).days
    ago = ngettext("%(days)d day ago", "%(days)d days ago", days) % {"days": days} if days else _("today")
    return f"{ago}, {in_words(on)}"


def days_in_care(record: Record) -> int:
    """Calendar days from admission to today, or to the end; the day of admission counts as the first."""
    until = record.patient.closed_on or record.today
    return (until - record.patient.admitted_at.astimezone(record.zone).date()).days + 1


def in_short(record: Record, courses: list[Course]) -> list[str]:
    """What is true now, a few words for each kind of thing: for the reader who has ten seconds."""
    closures = sum(row.removed_on is None for row in record.closures)
    bandages = sum(row.removed_on is None for row in record.bandages)
    implants = [row for row in record.implants if row.removed_on is None]
    said = [
        ngettext("%(n)d wound closed", "%(n)d wounds closed", closures) % {"n": closures} if closures else "",
        ngettext("%(n)d bandage or splint", "%(n)d bandages or splints", bandages) % {"n": bandages} if bandages else "",
        _implants_in_short(implants),
        *[_course_in_short(course) for course in courses],
    ]
    if plan := in_force(record.feeding_plans):
        said.append(_("Fed: %(food)s") % {"food": plan.food})
    return [words for words in said if words]


def _implants_in_short(implants: list[Implant]) -> str:
    if not implants:
        return ""
    words = ngettext("%(n)d implant or drain", "%(n)d implants or drains", len(implants)) % {"n": len(implants)}
    to_come_out = sum(row.must_come_out for row in implants)
    return words + ", " + _("%(n)d to come out") % {"n": to_come_out} if to_come_out else words


def _course_in_short(course: Course) -> str:
    if course.next_at is None:
        return _("%(drug)s: all doses written down") % {"drug": course.order.drug}
    when = date_format(course.next_at, "D H:i")
    words = _("%(drug)s: due since %(when)s") if course.is_due else _("%(drug)s: next %(when)s")
    return words % {"drug": course.order.drug, "when": when}


def closures_now(record: Record) -> list[Thing]:
    """Wounds that are held by something."""
    return [
        Thing(
            closure_line(row),
            days_since(row.closed_on, record.today),
            ((_("Record as out"), _url("procedures:closure-out", record, row.pk)),),
        )
        for row in record.closures
        if row.removed_on is None
    ]


def bandages_now(record: Record) -> list[Thing]:
    """Bandages and splints that are on."""
    return [_bandage(record, row) for row in record.bandages if row.removed_on is None]


def _bandage(record: Record, row: Bandage) -> Thing:
    changes = list(row.changes.all())
    looked_at = changes[-1].changed_on if changes else row.applied_on
    said = _("last changed %(when)s") if changes else _("put on %(when)s")
    hint = said % {"when": days_since(looked_at, record.today)}
    links = (
        (_("Changed"), _url("procedures:bandage-changed", record, row.pk)),
        (_("Off"), _url("procedures:bandage-off", record, row.pk)),
    )
    return Thing(bandage_name(row), f"{hint}. {bandage_watch(row)}".strip(), links, tuple(layers_of(row)))


def implants_now(record: Record) -> list[Thing]:
    """Hardware in or on the animal."""
    return [
        Thing(
            implant_line(row),
            days_since(row.placed_on, record.today),
            ((_("Record as out"), _url("procedures:implant-out", record, row.pk)),),
        )
        for row in record.implants
        if row.removed_on is None
    ]


def courses_now(record: Record, now: datetime) -> list[Course]:
    """Medicines that are being given."""
    zone, latest = record.patient.hospital.zone, record.weights[-1].weight_g if record.weights else None
    return [
        _course(order, zone, latest, now) for order in record.orders if is_running(order, record.today, zone)
    ]


def _course(order: MedicationOrder, zone: str, latest_g, now: datetime) -> Course:
    next_at = next_dose_at(order, zone)
    return Course(
        order,
        parts(order),
        next_at,
        last_dose_at(order, zone),
        is_due=bool(next_at and next_at <= now),
        has_old_weight=needs_new_weight(order, latest_g),
        washed_out_at=washed_out_at(order, zone),
    )


def washing_out(record: Record, now: datetime) -> list[tuple[MedicationOrder, datetime]]:
    """Courses that are over, and when the animal will be free of them: by name the latest end only."""
    zone, latest = record.patient.hospital.zone, {}
    for order in record.orders:
        ends_at = None if is_running(order, record.today, zone) else washed_out_at(order, zone)
        if ends_at and ends_at > now and (order.drug not in latest or ends_at > latest[order.drug][1]):
            latest[order.drug] = order, ends_at
    return sorted(latest.values(), key=lambda pair: pair[1])


def alerts(record: Record, courses: list[Course]) -> list[str]:
    """What somebody must look at, as sentences; the worst first."""
    return [
        *_weight_alerts(record),
        *_course_alerts(record, courses),
        *_feeding_alerts(record),
        *_waiting_alerts(record),
        *_place_alerts(record),
    ]


def _weight_alerts(record: Record) -> Iterator[str]:
    if not record.weights:
        yield _("There is no weight yet: no dose can be worked out.")
        return
    weighings = [
        Weighing(row.weighed_at.astimezone(record.zone).date(), row.weight_g) for row in record.weights
    ]
    stands = standing(weighings, alarm_for(record.patient.species.group.lineage()))
    if stands.level is not Level.NONE:
        lost = {"percent": number(rounded(stands.loss_percent, 1))}
        urgent = _("It has lost %(percent)s%% of its weight: a vet should look at it now.")
        soon = _("It has lost %(percent)s%% of its weight: a vet should hear of it today.")
        yield (urgent if stands.level is Level.NOW else soon) % lost


def _course_alerts(record: Record, courses: list[Course]) -> Iterator[str]:
    for course in courses:
        if course.has_old_weight:
            told = {
                "drug": course.order.drug,
                "then": body_weight(course.order.weight_g),
                "now": body_weight(record.weights[-1].weight_g),
            }
            yield (
                _(
                    "%(drug)s was worked out for %(then)s; the animal now weighs %(now)s. A vet should order it anew."
                )
                % told
            )


def _feeding_alerts(record: Record) -> Iterator[str]:
    latest = record.weights[-1] if record.weights else None
    for plans, words in (
        (record.feeding_plans, _("The feeding plan was worked out for %(then)s; the animal now weighs %(now)s.")),
        (record.fluid_plans, _("The fluid plan was worked out for %(then)s; the animal now weighs %(now)s.")),
    ):
        plan = in_force(plans)
        if plan and latest and plan_is_old(plan, latest):
            yield words % {"then": body_weight(plan.weight_g), "now": body_weight(latest.weight_g)}


def _waiting_alerts(record: Record) -> Iterator[str]:
    for order in record.unsigned_orders:
        if order.is_waiting:
            told = {"drug": order.drug, "who": order.ordered_by}
            yield _("%(drug)s, ordered by %(who)s, waits for a second vet. It is not in force and not given.") % told


def _place_alerts(record: Record) -> Iterator[str]:
    if record.patient.closed_on is None and not any(row.ended_at is None for row in record.placements):
        yield _("Nobody has said where this animal lives.")

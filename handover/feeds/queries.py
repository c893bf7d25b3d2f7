"""What a calendar holds, worked out from published plans, courses of medicine and places: nothing of it is stored."""

from __future__ import annotations

import hashlib
import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Prefetch, Q

from handover.feeds.history import Entry, State, entry_of
from handover.feeds.models import Feed
from handover.plans.models import PlannedDate
from handover.schedule.problem import CLINIC
from hospital.admissions.models import Patient, Placement
from hospital.medications.models import MedicationOrder
from hospital.medications.queries import dose_due_at
from hospital.people.models import STAFF, Person, Role
from hospital.rules.dosetimes import LateDose
from hospital.sites.models import Hospital

KEPT_DAYS = 30  # how long what is over, and what was cancelled, stays on a calendar
DOSES_AHEAD_DAYS = 14
DOSE = "dose"

Span = tuple[datetime, datetime | None]  # from a moment on, until another; None: it goes on


@dataclass(frozen=True, slots=True)
class Dated:
    """One thing on a calendar, and the animal that it is about."""

    patient: Patient
    entry: Entry


# --- addresses ----------------------------------------------------------------------------------------------------


def hash_of(token: str) -> str:
    """256 random bits need no slow hash: there is nothing to guess."""
    return hashlib.sha256(token.encode()).hexdigest()


def feed_with(token: str) -> Feed | None:
    """The calendar behind a secret address, as long as it was not ended and its person may still read it."""
    feed = Feed.objects.select_related("person", "hospital").filter(token_hash=hash_of(token), ended_at=None).first()
    return feed if feed and feed.person.is_active and may_have(feed.person, feed.hospital, feed.kind) else None


def may_have(person: Person, hospital: Hospital, kind: str) -> bool:
    """Whether the person holds a role at the hospital that gives them this calendar."""
    roles = {Role.CARER} if kind == Feed.Kind.MINE else STAFF
    return person.memberships.filter(hospital=hospital, role__in=roles).exists()


def open_feed(person: Person, hospital: Hospital, kind: str) -> Feed | None:
    return Feed.objects.filter(person=person, hospital=hospital, kind=kind, ended_at=None).first()


# --- what is on it ------------------------------------------------------------------------------------------------


def dates_of(feed: Feed, today: date) -> list[Dated]:
    """All of a calendar, in an order that stays."""
    found = _mine(feed, today) if feed.kind == Feed.Kind.MINE else _hospital(feed, today)
    return sorted((each for each in found if _is_shown(each.entry, today)), key=lambda each: (each.entry.made_at, str(each.entry.uid)))


def dates_on(patient: Patient, on: date, feed_kind: str, reader: Person) -> list[Dated]:
    """What is promised for one animal on one day, exactly as the reader's own calendar has it."""
    found = dates_of(Feed(person=reader, hospital=patient.hospital, kind=feed_kind), on)
    theirs = (each for each in found if each.patient.pk == patient.pk and each.entry.state.starts == on)
    return [each for each in theirs if not each.entry.is_cancelled]


def _is_shown(entry: Entry, today: date) -> bool:
    since = today - timedelta(days=KEPT_DAYS)
    starts = entry.state.starts
    on = starts.date() if isinstance(starts, datetime) else starts
    return (entry.changed_at.date() if entry.is_cancelled else on) >= since


def _mine(feed: Feed, today: date) -> Iterable[Dated]:
    """A carer's: the days of the animals that are with them, or were until lately, while they were with them."""
    since = today - timedelta(days=KEPT_DAYS + 1)
    lately = Q(ended_at=None) | Q(ended_at__date__gte=since)
    theirs = Placement.objects.filter(carer__person=feed.person, carer__hospital=feed.hospital)
    patients = Patient.objects.at(feed.hospital).filter(pk__in=theirs.filter(lately).values("patient")).select_related("hospital")
    spans = _spans(theirs.filter(patient__in=patients))
    yield from _promised(patients, spans, feed, clinic_only=False)
    yield from _doses(patients, spans, feed, today)


def _hospital(feed: Feed, today: date) -> Iterable[Dated]:
    """The hospital's: visits of every animal in care, or closed lately."""
    since = today - timedelta(days=KEPT_DAYS + 1)
    open_or_lately = Q(closed_on=None) | Q(closed_on__gte=since)
    patients = Patient.objects.visible_to(feed.person).at(feed.hospital).filter(open_or_lately).select_related("hospital")
    zone = ZoneInfo(feed.hospital.zone)
    spans = {each.pk: [(each.admitted_at, _closed_at(each, zone))] for each in patients}
    yield from _promised(patients, spans, feed, clinic_only=True)


def _closed_at(patient: Patient, zone: ZoneInfo) -> datetime | None:
    """The beginning of the day on which the case was closed: what was to come on it is off."""
    return datetime.combine(patient.closed_on, time(), zone) if patient.closed_on else None


def _spans(placements: Iterable[Placement]) -> dict[int, list[Span]]:
    spans: dict[int, list[Span]] = defaultdict(list)
    for each in placements:
        spans[each.patient_id].append((each.started_at, each.ended_at))
    return spans


def _is_there(spans: Sequence[Span], at: datetime) -> bool:
    return any(starts <= at and (ends is None or at < ends) for starts, ends in spans)


def _bounds(spans: Sequence[Span]) -> set[datetime]:
    return {at for span in spans for at in span if at is not None}


def _promised(patients: Iterable[Patient], spans: Mapping[int, list[Span]], feed: Feed, clinic_only: bool) -> Iterable[Dated]:
    """Each event of each published plan, through all versions of the plan."""
    zone, by_key = ZoneInfo(feed.hospital.zone), {each.pk: each for each in patients}
    for key, versions in _versions(by_key, clinic_only).items():
        moments = sorted(set(versions) | _bounds(spans[key]))
        in_force = [(at, _in_force(versions, at) if _is_there(spans[key], at) else {}) for at in moments]
        for event_id in dict.fromkeys(name for days in versions.values() for name in days):
            states = ((at, days.get(event_id)) for at, days in in_force)
            if entry := entry_of(_uid(by_key[key], feed, event_id), states, zone):
                yield Dated(by_key[key], entry)


def _versions(patients: Iterable[int], clinic_only: bool) -> dict[int, dict[datetime, dict[str, State]]]:
    """By patient, then by the moment at which it was published, the first one first: the days of each plan."""
    rows = PlannedDate.objects.filter(patient__in=list(patients), **({"place": CLINIC} if clinic_only else {}))
    read = rows.order_by("plan__version").values_list("patient_id", "plan__published_at", "event_id", "event", "place", "on")
    found: dict[int, dict[datetime, dict[str, State]]] = defaultdict(dict)
    for key, published_at, event_id, event, place, on in read:
        found[key].setdefault(published_at, {})[event_id] = State(on, event, place == CLINIC)
    return found


def _in_force(versions: Mapping[datetime, dict[str, State]], at: datetime) -> dict[str, State]:
    return versions[max(published)] if (published := [each for each in versions if each <= at]) else {}


def _uid(patient: Patient, feed: Feed, name: str) -> uuid.UUID:
    """The same as long as the case exists: a carer's calendar and the hospital's revise a thing at moments of their own."""
    return uuid.uuid5(patient.key, f"{feed.kind}:{feed.person_id if feed.kind == Feed.Kind.MINE else feed.hospital_id}:{name}")


# --- medicine -----------------------------------------------------------------------------------------------------


def _doses(patients: Iterable[Patient], spans: Mapping[int, list[Span]], feed: Feed, today: date) -> Iterable[Dated]:
    """When something is to be given, of the last days and the next. What, and how much, stands on the animal's page alone."""
    orders = MedicationOrder.objects.filter(patient__in=patients).prefetch_related("doses_given")
    prefetched = patients.prefetch_related(Prefetch("medication_orders", orders, to_attr="courses"))  # type: ignore[attr-defined]
    for patient in prefetched:
        for order in patient.courses:
            yield from _course(patient, order, spans[patient.pk], feed, today)


def _course(patient: Patient, order: MedicationOrder, spans: Sequence[Span], feed: Feed, today: date) -> Iterable[Dated]:
    zone = ZoneInfo(patient.hospital.zone)
    for number in range(order.doses):
        states = _dose_states(order, number, spans, zone)
        entry = entry_of(_uid(patient, feed, f"{DOSE}:{order.pk}:{number}"), states, zone)
        if entry and -KEPT_DAYS <= (entry.state.starts - datetime.combine(today, time(), zone)).days <= DOSES_AHEAD_DAYS:
            yield Dated(patient, entry)


def _dose_states(order: MedicationOrder, number: int, spans: Sequence[Span], zone: ZoneInfo) -> Iterable[tuple[datetime, State | None]]:
    """One dose when it was ordered, whenever a late one before it moved it, when the course was stopped, and when the
    animal came and went."""
    ordered_at = order.countersigned_at or order.ordered_at
    moved_by = list(order.doses_given.all())[:number] if order.late_dose == LateDose.SHIFT else []
    ends = datetime.combine(order.stopped_on + timedelta(days=1), time(), zone) if order.stopped_on else None
    stopped_at = datetime.combine(order.stopped_on, time(), zone) if order.stopped_on else None
    moments = {ordered_at, *(dose.given_at for dose in moved_by), *_bounds(spans), *([stopped_at] if stopped_at else [])}
    for at in sorted(each for each in moments if each >= ordered_at):
        due_at = dose_due_at(order, number, str(zone), until=at)
        is_off = bool(stopped_at and ends and at >= stopped_at and due_at >= ends)
        yield at, State(due_at, DOSE) if _is_due(spans, at, due_at) and not is_off else None


def _is_due(spans: Sequence[Span], at: datetime, due_at: datetime) -> bool:
    """Whether the animal is there at that moment, and came before the dose falls due."""
    return any(starts <= min(at, due_at) and (ends is None or at < ends) for starts, ends in spans)

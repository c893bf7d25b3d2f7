"""Everything that happened to one patient, newest first, in words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time

from django.urls import reverse
from django.utils.translation import gettext as _

from hospital.admissions.days import in_words
from hospital.admissions.models import Placement
from hospital.chart.queries import Record
from hospital.examinations.wording import findings_lines, mark_line
from hospital.feeding.models import FeedingPlan, FluidPlan
from hospital.feeding.wording import feeding_line, fluid_line, fluid_steps, need_line
from hospital.labs.wording import result_lines, sample_title
from hospital.medications.wording import line as medication_line
from hospital.medications.wording import other_amount
from hospital.outcomes.models import Outcome
from hospital.procedures.models import Bandage, Closure, Implant, Procedure
from hospital.procedures.vocabulary import event_name, name_of, vocabulary
from hospital.procedures.wording import bandage_line, closure_line, implant_line
from hospital.register.wording import rows as register_rows
from hospital.rules.wording import body_weight
from hospital.theatre.wording import kind_name, stage_line


@dataclass(frozen=True, slots=True)
class Moment:
    """One thing that happened: on a day, or at a moment of it; who says so; where to correct it."""

    on: date
    title: str
    icon: str
    at: datetime | None = None
    lines: tuple[str, ...] = ()
    by: str = ""
    url: str = ""
    url_words: str = ""
    print_url: str = ""

    @property
    def order(self) -> tuple[date, time]:
        """What is known only by its day counts as the end of it."""
        return self.on, self.at.time() if self.at else time.max


def timeline(record: Record) -> list[Moment]:
    """Every moment, newest first."""
    told = [
        _admissions,
        _procedures,
        _removals,
        _bandages,
        _milestones,
        _examinations,
        _problems,
        _samples,
        _orders,
        _doses,
        _register,
        _feeding,
        _anaesthetics,
        _weights,
        _places,
        _loans,
        _photos,
        _images,
        _ends,
    ]
    moments = [moment for tell in told for moment in tell(record)]
    return sorted(moments, key=lambda moment: moment.order, reverse=True)


def _url(name: str, record: Record, *args: object) -> str:
    return reverse(name, args=[record.patient.case_number, *args])


def _moment(record: Record, at: datetime, title: str, icon: str, **more) -> Moment:
    local = at.astimezone(record.zone)
    return Moment(local.date(), title, icon, at=local, **more)


def _said(*lines: str) -> tuple[str, ...]:
    return tuple(line for line in lines if line and line.strip())


def _admissions(record: Record) -> Iterator[Moment]:
    patient = record.patient
    cause = patient.cause.name if patient.cause else ""
    yield _moment(
        record,
        patient.admitted_at,
        _("Admitted"),
        "animal",
        lines=_said(cause, patient.triage_note, patient.circumstances),
    )


def _procedures(record: Record) -> Iterator[Moment]:
    for procedure in record.procedures:
        yield Moment(
            procedure.done_on,
            _procedure_title(procedure),
            "suture",
            lines=_said(
                procedure.indication,
                procedure.findings,
                _labelled(_("Anaesthetic"), procedure.anaesthetic),
                _labelled(_("Complications"), procedure.complications),
                *_left_by(record, procedure),
            ),
            by=str(procedure.surgeon),
            url=_url("procedures:edit", record, procedure.pk),
            url_words=_("Change"),
        )


def _procedure_title(procedure: Procedure) -> str:
    kind = name_of(vocabulary().procedures, procedure.kind)
    return f"{kind}: {procedure.site}" if procedure.site else kind


def _labelled(label: str, text: str) -> str:
    return f"{label}: {text}" if text else ""


def _left_by(record: Record, procedure: Procedure) -> list[str]:
    """What a procedure left on or in the animal."""
    closures = [closure_line(row) for row in record.closures if row.procedure_id == procedure.pk]
    bandages = [bandage_line(row) for row in record.bandages if row.procedure_id == procedure.pk]
    return (
        closures
        + bandages
        + [implant_line(row) for row in record.implants if row.procedure_id == procedure.pk]
    )


def _removals(record: Record) -> Iterator[Moment]:
    things: list[Closure | Implant] = [*record.closures, *record.implants]
    for row in (row for row in things if row.removed_on):
        title = (
            _("Sutures or staples out: %(site)s") if isinstance(row, Closure) else _("Implant out: %(site)s")
        )
        url = _url("procedures:edit", record, row.procedure_id)
        yield Moment(row.removed_on, title % {"site": row.site}, "scissors", url=url, url_words=_("Change"))


def _bandages(record: Record) -> Iterator[Moment]:
    for bandage in record.bandages:
        yield from _one_bandage(record, bandage)


def _one_bandage(record: Record, bandage: Bandage) -> Iterator[Moment]:
    site = {"site": bandage.site}
    edit = {"url": _url("procedures:bandage-edit", record, bandage.pk), "url_words": _("Change")}
    if bandage.procedure_id is None:
        line = bandage_line(bandage)
        yield Moment(bandage.applied_on, _("Bandage on: %(site)s") % site, "bandage", lines=(line,), **edit)
    for change in bandage.changes.all():
        yield Moment(
            change.changed_on,
            _("Bandage changed: %(site)s") % site,
            "bandage",
            lines=_said(change.note),
            by=str(change.changed_by),
            url=_url("procedures:bandage-change-take-back", record, change.pk),
            url_words=_("Take back"),
        )
    if bandage.removed_on:
        yield Moment(bandage.removed_on, _("Bandage off: %(site)s") % site, "bandage", **edit)


def _milestones(record: Record) -> Iterator[Moment]:
    for row in record.milestones:
        url = _url("procedures:milestone-take-back", record, row.pk)
        yield Moment(
            row.happened_on,
            event_name(row.event),
            "check",
            lines=_said(row.note),
            by=str(row.recorded_by),
            url=url,
            url_words=_("Take back"),
        )


def _examinations(record: Record) -> Iterator[Moment]:
    plan = record.patient.species.group.body_plan
    for seen in record.examinations:
        yield Moment(
            seen.examined_on,
            _("Examined: %(kind)s") % {"kind": seen.get_kind_display()},
            "eye",
            lines=_said(
                *findings_lines(seen, plan),
                *(mark_line(made, plan) for made in seen.marks.all()),
                _labelled(_("Told the carer"), seen.advice),
            ),
            by=str(seen.examined_by),
            url=_url("examinations:edit", record, seen.pk),
            url_words=_("Change"),
            print_url=_url("examinations:print", record, seen.pk),
        )


def _samples(record: Record) -> Iterator[Moment]:
    for sample in record.samples:
        title, url = sample_title(sample), _url("labs:edit", record, sample.pk)
        asked = _labelled(_("Asked"), sample.question)
        said = {"lines": _said(asked), "by": str(sample.taken_by), "url": url, "url_words": _("Change")}
        yield Moment(sample.taken_on, _("Sample: %(what)s") % {"what": title}, "lab", **said)
        if sample.resulted_on:
            yield Moment(sample.resulted_on, _("Result: %(what)s") % {"what": title}, "lab", lines=_said(*result_lines(sample)))


def _problems(record: Record) -> Iterator[Moment]:
    for problem in record.problems:
        title = _("Problem: %(name)s") % {"name": problem.name}
        yield Moment(problem.found_on, title, "list", lines=_said(problem.note), by=str(problem.found_by))
        if problem.closed_on:
            title = _("Problem closed: %(name)s") % {"name": problem.name}
            yield Moment(problem.closed_on, title, "check", lines=_said(problem.close_reason), by=str(problem.closed_by))


def _orders(record: Record) -> Iterator[Moment]:
    yield from _unsigned_orders(record)
    for order in record.orders:
        signed = _labelled(_("Countersigned by"), str(order.countersigned_by or ""))
        yield _moment(
            record,
            order.ordered_at,
            _("Ordered: %(drug)s") % {"drug": order.drug},
            "pill",
            lines=_said(medication_line(order), order.flagged, order.dose_reason, signed),
            by=str(order.ordered_by),
        )
        if order.stopped_on:
            title = _("Stopped: %(drug)s") % {"drug": order.drug}
            yield Moment(order.stopped_on, title, "pill", lines=_said(order.stop_reason))


def _unsigned_orders(record: Record) -> Iterator[Moment]:
    """Orders that wait for a second vet, and those that never stood."""
    for order in record.unsigned_orders:
        if order.is_waiting:
            title = _("Waits for a second vet, not in force: %(drug)s")
        else:
            title = _("Never in force, not countersigned: %(drug)s")
        yield _moment(
            record,
            order.ordered_at,
            title % {"drug": order.drug},
            "pill",
            lines=_said(medication_line(order), order.flagged, order.dose_reason, order.stop_reason),
            by=str(order.ordered_by),
            url=_url("medications:countersign", record, order.pk) if order.is_waiting else "",
            url_words=_("Look and decide"),
        )


def _doses(record: Record) -> Iterator[Moment]:
    for dose in record.doses:
        title = _("%(drug)s: %(what)s") % {"drug": dose.order.drug, "what": dose.get_kind_display().lower()}
        url = _url("medications:take-dose-back", record, dose.pk)
        yield _moment(
            record,
            dose.given_at,
            title,
            "syringe",
            lines=_said(other_amount(dose), dose.note),
            by=str(dose.given_by),
            url=url,
            url_words=_("Take back"),
        )


def _register(record: Record) -> Iterator[Moment]:
    for row in register_rows(record.register_lines):
        line = row.line
        told = {"drug": line.page.drug, "what": row.what.lower(), "amount": row.went_out or row.moved}
        title = _("%(drug)s: %(what)s, %(amount)s") % told
        yield _moment(
            record,
            line.done_at,
            title,
            "lock",
            lines=_said(line.reason, *row.flags, *row.later),
            by=line.recorded_by_name,
            url=reverse("register:page", args=[line.page_id]),
            url_words=_("Register, line %(number)d") % {"number": line.number},
        )


def _feeding(record: Record) -> Iterator[Moment]:
    plans: list[FeedingPlan | FluidPlan] = [*record.feeding_plans, *record.fluid_plans]
    for plan in plans:
        is_food = isinstance(plan, FeedingPlan)
        title, stopped, icon = (
            (_("Feeding plan %(number)d"), _("Feeding plan stopped"), "food")
            if is_food
            else (_("Fluid plan %(number)d"), _("Fluid plan stopped"), "drop")
        )
        yield _moment(
            record,
            plan.ordered_at,
            title % {"number": plan.version},
            icon,
            lines=_said(*_plan_lines(record, plan), plan.note),
            by=str(plan.ordered_by),
            url=_url("feeding:plans", record),
            url_words=_("Food and fluids"),
        )
        if plan.stopped:
            lines = _said(plan.stopped.reason)
            yield _moment(record, plan.stopped.stopped_at, stopped, icon, lines=lines, by=str(plan.stopped.stopped_by))


def _plan_lines(record: Record, plan: FeedingPlan | FluidPlan) -> list[str]:
    if isinstance(plan, FeedingPlan):
        return [feeding_line(plan), need_line(plan)]
    return [fluid_line(plan), *(f"{when}: {what}" for when, what in fluid_steps(plan, record.patient.hospital.zone))]


def _anaesthetics(record: Record) -> Iterator[Moment]:
    for it in record.anaesthetics:
        on = it.begun_at.astimezone(record.zone).date() if it.begun_at else it.planned_on
        title = _("Theatre: %(what)s") % {"what": kind_name(it)}
        yield Moment(
            on, title, "clock", at=it.begun_at and it.begun_at.astimezone(record.zone), lines=_said(stage_line(it), it.note),
            by=str(it.vet), url=_url("theatre:record", record, it.pk), url_words=_("Anaesthetic record"),
        )  # fmt: skip


def _weights(record: Record) -> Iterator[Moment]:
    for weight in record.weights:
        title = _("Weighed: %(weight)s") % {"weight": body_weight(weight.weight_g)}
        by = str(weight.weighed_by or "")
        yield _moment(record, weight.weighed_at, title, "scale", lines=_said(weight.note), by=by)


def _places(record: Record) -> Iterator[Moment]:
    for placement in record.placements:
        yield _moment(
            record,
            placement.started_at,
            place_in_words(placement),
            "move",
            lines=_said(placement.note),
            by=str(placement.placed_by),
        )
        if placement.accepted_at:
            yield _moment(
                record,
                placement.accepted_at,
                _("Taken over by %(carer)s") % {"carer": placement.carer},
                "hand",
            )
        if placement.declined_at:
            title = _("Declined by %(carer)s") % {"carer": placement.carer}
            yield _moment(record, placement.declined_at, title, "hand", lines=(placement.declined_why,))


def _loans(record: Record) -> Iterator[Moment]:
    for loan in record.loans:
        about = {"carer": loan.carer, "what": loan.what}
        url = {"url": reverse("placements:carer", args=[loan.carer_id]), "url_words": _("Show")}
        yield _moment(record, loan.lent_at, _("Lent to %(carer)s: %(what)s") % about, "equipment", by=str(loan.lent_by), **url)
        if loan.ended_at:
            title = f"{loan.get_ending_display()}: {loan.what}"
            yield _moment(record, loan.ended_at, title, "equipment", lines=_said(loan.note), by=str(loan.ended_by), **url)


def place_in_words(placement: Placement) -> str:
    """ "With Ann Marsh, carer", "In the hospital: ward 2"."""
    if placement.carer:
        return _("With %(carer)s, carer") % {"carer": placement.carer}
    return (
        _("In the hospital: %(ward)s") % {"ward": placement.ward} if placement.ward else _("In the hospital")
    )


def _photos(record: Record) -> Iterator[Moment]:
    for photo in record.photos:
        yield _moment(
            record,
            photo.taken_at,
            _("Photograph"),
            "camera",
            lines=_said(photo.caption),
            by=str(photo.added_by),
            url=_url("admissions:photo", record, photo.key),
            url_words=_("Look at it"),
        )


def _images(record: Record) -> Iterator[Moment]:
    for image in record.images:
        yield _moment(
            record,
            image.added_at,
            _("Image: %(image)s") % {"image": image},
            "image",
            lines=_said(_("Taken on %(day)s") % {"day": in_words(image.taken_on)}, image.note),
            by=str(image.added_by),
            url=_url("images:image", record, image.key),
            url_words=_("Look at it"),
        )


def _ends(record: Record) -> Iterator[Moment]:
    for row in record.reopenings:
        was = _("It had been closed as: %(outcome)s") % {"outcome": row.get_outcome_kind_display()}
        lines = _said(row.reason, was)
        yield _moment(
            record, row.reopened_at, _("Case opened again"), "undo", lines=lines, by=str(row.reopened_by)
        )
    if record.outcome:
        yield _end(record.outcome)


def _end(outcome: Outcome) -> Moment:
    lines = _said(outcome.place, outcome.reason)
    return Moment(
        outcome.happened_on, outcome.get_kind_display(), "release", lines=lines, by=str(outcome.decided_by or "")
    )

"""The three pieces of work of an import that take longer than a page may: the dry run, the writing, the undoing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from hospital.admissions.models import CaseCounter, Identification, Patient, Species, TaxonGroup, Weight
from hospital.admissions.reference import searchable
from hospital.audit.models import AuditEntry
from hospital.clock import now, today
from hospital.edits import save_edit
from hospital.imports.actions import forget_files, refuse_undo
from hospital.imports.check import Case, read_cases
from hospital.imports.files import Table
from hospital.imports.models import Import, ImportedCase, RowProblem
from hospital.imports.queries import here_already, is_here, reading_of, table_of
from hospital.imports.words import TAXA, group_words
from hospital.jobs.models import Job
from hospital.outcomes.models import Outcome
from hospital.people.models import Person
from hospital.rules.casenumbers import case_number

State = Import.State
Tell = Callable[[int, int], None]
A_BATCH = 1000
NOT_OURS = {"hospital", "species", "cause", "finder", "admitted_by", "dam", "key", "case_number"}  # checked elsewhere, or ours


@dataclass(slots=True)
class Sorted:
    """The rows of a file by what becomes of them."""

    new: list[Case] = field(default_factory=list)
    here: int = 0
    refused: int = 0
    problems: list[Case] = field(default_factory=list)  # cases with anything to say
    counts: dict[str, Any] = field(default_factory=dict)


def sorted_out(of: Import, table: Table, tell: Tell) -> Sorted:
    """Read every row, and say which are new, which are here already, and which are refused."""
    total = len(table.rows)
    cases = []
    for case in read_cases(table, reading_of(of)):
        cases.append(case)
        tell(len(cases), total)
    here, found = here_already(of.hospital, cases), Sorted()
    for case in cases:
        if is_here(case, here):
            found.here += 1
            continue
        if not case.is_refused:
            _refuse_what_does_not_fit(case)
        if case.is_refused:
            found.refused += 1
        else:
            found.new.append(case)
        if case.problems:
            found.problems.append(case)
    found.counts = _counts(found, total)
    return found


def _refuse_what_does_not_fit(case: Case) -> None:
    """What no form would take: the same checks as when a person types it."""
    try:
        Patient(**{name: value for name, value in case.patient.items() if name != "cause_id"}).clean_fields(
            exclude=[*NOT_OURS, "admitted_at"]
        )
        for kind, value in case.marks:
            Identification(kind=kind, value=value).clean_fields(exclude=["patient"])
    except ValidationError as refusal:
        for name, sentences in refusal.message_dict.items():
            case.refuse(name[:20], "does-not-fit", " ".join(sentences)[:400])


def _counts(found: Sorted, total: int) -> dict[str, Any]:
    codes: Counter[str] = Counter()
    refusals: Counter[str] = Counter()
    for case in found.problems:
        refusals.update({problem.code for problem in case.problems if problem.is_refusal})
        codes.update({problem.code for problem in case.problems if not problem.is_refusal})
    noted = sum(1 for case in found.problems if not case.is_refused)
    numbers = {"rows": total, "new": len(found.new), "here": found.here, "refused": found.refused, "noted": noted}
    return numbers | {"refusals": dict(refusals.most_common()), "notes": dict(codes.most_common())}


# --- the dry run --------------------------------------------------------------------------------------------------


def check(job: Job, tell: Tell) -> None:
    """Read every row and keep what is wrong with it; no case is made."""
    of = Import.objects.select_related("hospital").get(key=job.subject)
    seen_version = of.version
    found = sorted_out(of, table_of(of), tell)
    with transaction.atomic():
        _keep_problems(of, found)
        of.counts, of.state = found.counts, State.CHECKED
        save_edit(of, seen_version=seen_version)


def _keep_problems(of: Import, found: Sorted) -> None:
    of.problems.all().delete()
    rows = (
        RowProblem(of=of, row=case.row, field=p.field, code=p.code, sentence=p.sentence[:400], is_refusal=p.is_refusal)
        for case in found.problems
        for p in case.problems
    )
    RowProblem.objects.bulk_create(rows, batch_size=A_BATCH)


# --- writing ------------------------------------------------------------------------------------------------------


def write(job: Job, tell: Tell) -> None:
    """Make a closed case of every new row, all or none. Everything is read before the database is held."""
    forget_files(now() - timedelta(days=settings.UPLOADS_KEPT_DAYS))
    of = Import.objects.select_related("hospital").get(key=job.subject)
    seen_version = of.version
    found = sorted_out(of, table_of(of), lambda done, total: tell(done // 2, total))
    with transaction.atomic():
        if of.state != State.CHECKED or found.counts["new"] != of.counts["new"]:
            raise ValidationError(_("What is here changed since the check. Check the file again, then write it."))
        _Writer(of, job.asked_by).write(found.new, tell)
        of.state, of.written_by, of.written_at = State.WRITTEN, job.asked_by, now()
        save_edit(of, seen_version=seen_version)
        of.last_audit_id = AuditEntry.objects.aggregate(last=Max("id"))["last"]
        Import.objects.filter(pk=of.pk).update(last_audit_id=of.last_audit_id)


class _Writer:
    """Cases → rows, in batches."""

    def __init__(self, of: Import, by: Person):
        self.of, self.by, self.at = of, by, now()
        self.zone = ZoneInfo(of.hospital.zone)
        self.today = today(of.hospital.zone)
        self.species: dict[str, int] = {}

    def write(self, cases: Sequence[Case], tell: Tell) -> None:
        CaseCounter.objects.get_or_create(pk=1)
        counter = CaseCounter.objects.select_for_update().get(pk=1)
        self.species = {meaning: self._species(meaning) for meaning in {case.species for case in cases}}
        for start in range(0, len(cases), A_BATCH):
            some = cases[start : start + A_BATCH]
            self._batch(some, counter.last)
            counter.last += len(some)
            tell((len(cases) + start + len(some)) // 2, len(cases))
        counter.save()

    def _species(self, meaning: str) -> int:
        kind, _colon, name = meaning.partition(":")
        if kind == "species":
            return int(name)
        words = group_words(name)
        group, _made = Species.objects.get_or_create(
            scientific_name=TAXA[name],
            defaults={"common_name": words, "group": TaxonGroup.objects.get(pk=name), "search_text": searchable(words, TAXA[name])},
        )
        return group.pk

    def _batch(self, cases: Sequence[Case], last: int) -> None:
        patients = [self._patient(case, number) for number, case in enumerate(cases, last + 1)]
        Patient.objects.bulk_create(patients)
        pairs = list(zip(patients, cases, strict=True))
        rows: list[tuple[type[models.Model], Iterator[models.Model]]] = [
            (
                Identification,
                (Identification(patient=p, kind=k, value=value) for p, case in pairs for k, value in dict.fromkeys(case.marks)),
            ),
            (Weight, (weight for p, case in pairs for weight in self._weights(p, case))),
            (Outcome, (self._outcome(p, case) for p, case in pairs if case.kind)),
            (ImportedCase, (self._kept(p, case) for p, case in pairs)),
        ]
        for model, made in rows:
            model._default_manager.bulk_create(made)

    def _patient(self, case: Case, number: int) -> Patient:
        """A closed case. Where the end has no day, this system closed it on the day of the import, which says nothing of the animal."""
        return Patient(
            hospital=self.of.hospital, case_number=case_number(number), species_id=self.species[case.species], admitted_at=case.admitted_at,
            admitted_by=self.by, closed_on=case.ended_on or self.today, **case.patient,
        )  # fmt: skip

    def _weights(self, patient: Patient, case: Case) -> Iterator[Weight]:
        note = _("From the old file")
        if case.weight_g:
            yield Weight(patient=patient, weighed_at=case.admitted_at, weight_g=case.weight_g, note=note)
        if case.end_weight_g and case.ended_on:
            noon = datetime.combine(case.ended_on, time(12), self.zone)
            yield Weight(patient=patient, weighed_at=max(noon, patient.admitted_at), weight_g=case.end_weight_g, note=note)

    def _outcome(self, patient: Patient, case: Case) -> Outcome:
        return Outcome(patient=patient, kind=case.kind, happened_on=case.ended_on, recorded_at=self.at, **case.end)

    def _kept(self, patient: Patient, case: Case) -> ImportedCase:
        notes = [problem.sentence for problem in case.problems]
        return ImportedCase(
            patient=patient, of=self.of, hospital=self.of.hospital, row=case.row, identity=case.identity, cells=case.cells,
            ended_on=case.ended_on, end_words=case.end_words, notes=notes,
        )  # fmt: skip


# --- undoing ------------------------------------------------------------------------------------------------------


def undo(job: Job, tell: Tell) -> None:
    """Take every case of the import away again; the audit keeps what was there. Refused when people have added to one."""
    with transaction.atomic():
        of = Import.objects.select_for_update(of=("self",)).get(key=job.subject)
        refuse_undo(of)
        of.state, of.undone_by, of.undone_at = State.UNDONE, job.asked_by, now()
        save_edit(of, seen_version=of.version)  # first: weights of an import may only go while it is being undone
        patients = list(of.cases.values_list("patient_id", flat=True))
        for start in range(0, len(patients), A_BATCH):
            some = patients[start : start + A_BATCH]
            for model in (Weight, Outcome, Identification, ImportedCase):
                model._default_manager.filter(patient__in=some).delete()
            Patient.objects.filter(pk__in=some).delete()
            tell(start + len(some), len(patients))

"""Check the register of controlled drugs."""

from __future__ import annotations

from django.core.management.base import BaseCommand, CommandError

from hospital.medications.models import DoseGiven
from hospital.register.models import RegisterLine, RegisterPage
from hospital.register.queries import fault_of, may_record, pages_of_drug
from hospital.register.wording import fault, title

LIMIT = "This shows that a line was altered. It does not stop somebody who owns the database: compare hashes with a printed count sheet."


class Command(BaseCommand):
    help = "register verify: work all hashes out anew, name the first bad line of each page, and compare doses with lines. " + LIMIT

    def add_arguments(self, parser) -> None:
        parser.add_argument("what", choices=["verify"])
        parser.add_argument("--hash", action="append", default=[], help="a hash from a printed sheet, to look for in the register")

    def handle(self, *, hash: list[str], **options) -> None:
        bad = [*self._chains(), *self._doses(), *self._on_paper(hash)]
        self.stdout.write(LIMIT)
        if bad:
            raise CommandError("\n".join(bad))

    def _chains(self) -> list[str]:
        bad = []
        for page in RegisterPage.objects.select_related("hospital"):
            name = f"{page.hospital}: {title(page)}, {page.location}"
            if found := fault_of(page):
                bad.append(f"{name}: {fault(found)}")
            else:
                self.stdout.write(f"{name}: {page.lines.count()} lines hold.")
        return bad

    def _doses(self) -> list[str]:
        """A dose of a kept drug, given by the hospital since its page was opened, has its line, and the line its amount."""
        bad = []
        given = DoseGiven.objects.filter(kind=DoseGiven.Kind.GIVEN)
        for dose in given.filter(register_line__isnull=False).select_related("register_line"):
            if dose.register_line.patient_id != dose.patient_id:
                bad.append(f"Dose {dose.pk}: line {dose.register_line.number} is of another animal.")
        for dose in given.filter(register_line=None).select_related("order", "patient__hospital", "given_by"):
            if is_missing(dose):
                bad.append(f"Dose {dose.pk} of {dose.order.drug} for {dose.patient.case_number} has no line in the register.")
        return bad

    def _on_paper(self, hashes: list[str]) -> list[str]:
        bad = []
        for wanted in hashes:
            line = RegisterLine.objects.filter(hash=wanted.strip().lower()).select_related("page").first()
            if line is None:
                bad.append(f"{wanted}: no line of the register has this hash.")
            else:
                self.stdout.write(f"{wanted}: line {line.number} of {title(line.page)}, {line.page.location}.")
        return bad


def is_missing(dose: DoseGiven) -> bool:
    """Whether the dose should have been drawn from the register: the drug was kept there, and the hospital gave it.

    What a carer gives was drawn when it was handed to them.
    """
    then = dose.patient.placements.filter(started_at__lte=dose.given_at).order_by("started_at").last()
    if then and then.carer_id:
        return False
    opened = [page.opened_at for page in pages_of_drug(dose.patient.hospital, dose.order.drug)]
    return bool(opened) and dose.given_at >= min(opened) and may_record(dose.given_by, dose.patient.hospital)

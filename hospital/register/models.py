"""The register of controlled drugs: a page for each drug, strength, form and place; lines to which lines are only ever added.

The software says what it records, not that this meets the law of the place, which comes first.
Amounts are whole thousandths of the page's unit (hospital.rules.register), so that both databases add them exactly.
"""

from __future__ import annotations

from datetime import UTC
from decimal import Decimal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import Lower
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned
from hospital.people.models import STAFF, Person, hospitals_where
from hospital.rules.register import Link, amount_of, text_of
from hospital.sites.models import Hospital


class DrugForm(models.TextChoices):
    """Forms in which a controlled drug is kept."""

    INJECTION = "injection", _("solution for injection")
    ORAL_LIQUID = "oral_liquid", _("liquid by mouth")
    TABLET = "tablet", _("tablet")
    CAPSULE = "capsule", _("capsule")
    PATCH = "patch", _("skin patch")
    POWDER = "powder", _("powder for injection, in vials")


LIQUIDS = {DrugForm.INJECTION, DrugForm.ORAL_LIQUID}


class StrengthUnit(models.TextChoices):
    """What a strength is counted in; the values are those of hospital.rules.wording.Unit."""

    MICROGRAM = "microgram", _("micrograms")
    MG = "mg", _("mg")
    UNIT = "unit", _("units")


class Kind(models.TextChoices):
    """What a line writes down."""

    RECEIVED = "received", _("Received")
    GIVEN = "given", _("Given")
    WASTED = "wasted", _("Wasted")
    DESTROYED = "destroyed", _("Destroyed")
    TRANSFERRED = "transferred", _("Transferred")
    COUNT = "count", _("Counted")
    CORRECTION = "correction", _("Correction")
    WITNESSED = "witnessed", _("Witnessed")


INWARD = {Kind.RECEIVED}
OUTWARD = {Kind.GIVEN, Kind.WASTED, Kind.DESTROYED}
# What a hospital may ask a witness for; all of it until a vet of the hospital says otherwise.
WITNESSABLE = (
    Kind.RECEIVED, Kind.GIVEN, Kind.WASTED, Kind.DESTROYED, Kind.TRANSFERRED, Kind.COUNT, Kind.CORRECTION,
)  # fmt: skip
SIGNED_AT_ONCE = (Kind.COUNT, Kind.CORRECTION)  # never written down first and witnessed later


def all_witnessed() -> list[str]:
    return [kind.value for kind in WITNESSABLE]


class RegisterRules(Versioned):
    """What a hospital asks of its register. Without a row of its own a hospital has the defaults."""

    hospital = models.OneToOneField(Hospital, models.CASCADE, related_name="register_rules")
    witness_for = models.JSONField(_("a witness signs"), default=all_witnessed, blank=True)  # values of Kind
    count_every_days = models.PositiveSmallIntegerField(
        _("days between counts"), default=7, validators=[MinValueValidator(1)]
    )

    class Meta:
        verbose_name = _("rules of the register")


class RegisterPageQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> RegisterPageQuerySet:
        """Vets, nurses and coordinators see their hospitals' register; carers none."""
        return self.filter(hospital__in=hospitals_where(person, STAFF))

    def at(self, hospital: Hospital) -> RegisterPageQuerySet:
        return self.filter(hospital=hospital)


class RegisterPage(models.Model):
    """One drug in one strength and form, in one place of one hospital. Never altered: its name is part of every line's hash."""

    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="register_pages", db_index=False)
    drug = models.CharField(_("drug"), max_length=120)
    form = models.CharField(_("form"), max_length=12, choices=DrugForm, default=DrugForm.INJECTION)
    strength = models.DecimalField(
        _("strength"), max_digits=12, decimal_places=4, validators=[MinValueValidator(Decimal("0.0001"))]
    )  # per mL of a liquid, else per piece
    strength_unit = models.CharField(_("unit of the strength"), max_length=10, choices=StrengthUnit, default="mg")
    location = models.CharField(_("where it is kept"), max_length=80)
    legal_class = models.CharField(_("legal class"), max_length=60, blank=True)
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()

    objects = RegisterPageQuerySet.as_manager()

    class Meta:
        ordering = ["legal_class", "drug", "strength", "location", "id"]
        verbose_name = _("page of the register")
        constraints = [
            models.UniqueConstraint(
                "hospital", Lower("drug"), "form", "strength", "strength_unit", Lower("location"),
                name="a_register_page_is_opened_once",
                violation_error_message=_("The register has this page already: same drug, strength, form and place."),
            ),
            models.CheckConstraint(condition=Q(strength__gt=0), name="a_strength_is_more_than_nothing"),
        ]  # fmt: skip

    def __str__(self) -> str:
        return f"{self.drug}, {self.location}"

    @property
    def is_liquid(self) -> bool:
        return self.form in LIQUIDS


class RegisterLineQuerySet(models.QuerySet):
    def with_standing(self) -> RegisterLineQuerySet:
        """Adds `is_signed_later`, `is_corrected`: whether a line of witness, or a correction, refers to this one."""
        later = RegisterLine.objects.filter(refers_to=OuterRef("pk"))
        return self.annotate(
            is_signed_later=Exists(later.filter(kind=Kind.WITNESSED)),
            is_corrected=Exists(later.filter(kind=Kind.CORRECTION)),
        )

    def not_witnessed(self) -> RegisterLineQuerySet:
        """A witness is asked for and has not signed."""
        return self.with_standing().filter(is_witness_asked=True, witness=None, is_signed_later=False)

    def open_discrepancies(self) -> RegisterLineQuerySet:
        """Counts that found another amount than the register's, and that nobody has closed."""
        counts = self.with_standing().filter(kind=Kind.COUNT, is_corrected=False)
        return counts.exclude(counted_thousandths=F("balance_thousandths"))


class RegisterLine(models.Model):
    """One line. The database refuses to alter or remove it, and any line that does not follow from the one before.

    Names of people and of the animal are written out as they were that day, and are part of the hash.
    """

    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="+", db_index=False)
    page = models.ForeignKey(RegisterPage, models.PROTECT, related_name="lines", db_index=False)
    number = models.PositiveIntegerField()  # 1, 2, 3 … on each page, no gap
    kind = models.CharField(max_length=12, choices=Kind)
    moved_thousandths = models.BigIntegerField()  # into the stock (above 0) or out of it
    balance_thousandths = models.BigIntegerField()  # after this line
    counted_thousandths = models.BigIntegerField(null=True, blank=True)  # of a count: what was found
    done_at = models.DateTimeField()
    entered_at = models.DateTimeField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_by_name = models.CharField(max_length=120)
    is_witness_asked = models.BooleanField(default=True)  # by the hospital's rules at that moment
    witness = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True, blank=True)
    witness_name = models.CharField(max_length=120, blank=True)
    witnessed_at = models.DateTimeField(null=True, blank=True)
    patient = models.ForeignKey(Patient, models.PROTECT, related_name="register_lines", null=True, blank=True)
    animal = models.CharField(max_length=200, blank=True)  # case number and species
    batch = models.CharField(_("batch"), max_length=60, blank=True)
    source = models.CharField(_("document"), max_length=120, blank=True)  # delivery note, order, requisition
    other_party = models.CharField(_("from or to whom"), max_length=160, blank=True)
    reason = models.CharField(_("reason"), max_length=250, blank=True)
    late_reason = models.CharField(_("why it is entered late"), max_length=250, blank=True)
    refers_to = models.ForeignKey("self", models.PROTECT, related_name="referring", null=True, blank=True)
    previous_hash = models.CharField(max_length=64, blank=True)
    hash = models.CharField(max_length=64)

    objects = RegisterLineQuerySet.as_manager()

    class Meta:
        ordering = ["page", "number"]
        verbose_name = _("line of the register")
        indexes = [models.Index(fields=["hospital", "kind"], name="register_lines_by_kind")]
        constraints = [
            models.UniqueConstraint(fields=["page", "number"], name="a_register_number_is_used_once"),
            models.UniqueConstraint(fields=["refers_to"], condition=Q(kind="witnessed"), name="a_line_is_witnessed_once"),
            models.CheckConstraint(condition=Q(balance_thousandths__gte=0), name="a_balance_is_never_below_nothing"),
            models.CheckConstraint(condition=Q(kind__in=Kind.values), name="a_register_line_has_a_known_kind"),
            models.CheckConstraint(
                condition=Q(kind="received", moved_thousandths__gt=0)
                | Q(kind__in=["given", "wasted", "destroyed"], moved_thousandths__lt=0)
                | (Q(kind="transferred") & ~Q(moved_thousandths=0))
                | Q(kind__in=["count", "witnessed"], moved_thousandths=0)
                | Q(kind="correction"),
                name="a_line_moves_the_way_of_its_kind",
            ),
            models.CheckConstraint(
                condition=Q(kind="count", counted_thousandths__isnull=False, counted_thousandths__gte=0)
                | (~Q(kind="count") & Q(counted_thousandths__isnull=True)),
                name="only_a_count_counts",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["correction", "witnessed"], refers_to=None),
                name="a_correction_says_what_it_corrects",
            ),
            models.CheckConstraint(condition=~Q(kind="correction", reason=""), name="a_correction_has_a_reason"),
            models.CheckConstraint(
                condition=Q(witness=None, witnessed_at=None, witness_name="")
                | (Q(witness__isnull=False, witnessed_at__isnull=False) & ~Q(witness_name="")),
                name="a_witness_has_a_name_and_a_moment",
            ),
            models.CheckConstraint(
                condition=Q(witness=None) | ~Q(witness=F("recorded_by")),
                name="nobody_witnesses_their_own_line",
                violation_error_message=_("The witness must be somebody else than the person who writes the line."),
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["count", "correction"], is_witness_asked=True, witness=None),
                name="counts_and_corrections_are_signed_at_once",
                violation_error_message=_("A count and a correction are signed by two people at once."),
            ),
            models.CheckConstraint(condition=~Q(hash=""), name="a_register_line_has_its_hash"),
        ]  # fmt: skip

    @property
    def moved(self) -> Decimal:
        return amount_of(self.moved_thousandths)

    @property
    def balance(self) -> Decimal:
        return amount_of(self.balance_thousandths)

    @property
    def counted(self) -> Decimal | None:
        return None if self.counted_thousandths is None else amount_of(self.counted_thousandths)

    @property
    def difference_thousandths(self) -> int:
        """Of a count: what was found more (above 0) or less than the register says."""
        return (self.counted_thousandths or 0) - self.balance_thousandths if self.kind == Kind.COUNT else 0

    def text(self) -> str:
        """What the hash is made of: every column but the hash itself, and the page's own words."""
        page = self.page
        kept = {field.attname: getattr(self, field.attname) for field in self._meta.concrete_fields}
        for name in ("id", "hash", "previous_hash"):
            kept.pop(name)
        for name in ("done_at", "entered_at", "witnessed_at"):
            kept[name] = kept[name] and kept[name].astimezone(UTC).isoformat(timespec="microseconds")
        strength = f"{page.strength.normalize():f} {page.strength_unit}"
        kept["page"] = [page.drug, page.form, strength, page.location, page.legal_class]
        return text_of(kept)

    def as_link(self) -> Link:
        return Link(
            self.number, self.moved_thousandths, self.balance_thousandths, self.previous_hash, self.hash, self.text()
        )


class CountEntry(models.Model):
    """What one of two people counted, before the other one's figure was known. Only ever added to."""

    page = models.ForeignKey(RegisterPage, models.PROTECT, related_name="count_entries")
    place = models.PositiveSmallIntegerField()  # 1: counted first, 2: counted second, without knowing the first figure
    counted_thousandths = models.BigIntegerField(validators=[MinValueValidator(0)])
    counted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    counted_at = models.DateTimeField()
    after_number = models.PositiveIntegerField()  # the page's last line when it was counted

    class Meta:
        verbose_name = _("entry of a count")
        constraints = [
            models.CheckConstraint(condition=Q(place__in=[1, 2]), name="a_count_has_two_places"),
            models.CheckConstraint(condition=Q(counted_thousandths__gte=0), name="nobody_counts_less_than_nothing"),
        ]

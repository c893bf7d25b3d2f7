"""What carers report. Rows are only added; a correction is a later row that points at the first."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Exists, OuterRef, Q
from django.db.models.fields.files import FieldFile
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient, Placement
from hospital.edits import Versioned
from hospital.people.models import Person


class Eaten(models.TextChoices):
    ALL = "all", _("Ate it all")
    SOME = "some", _("Ate some")
    NONE = "none", _("Ate nothing")
    NOT_FED = "not_fed", _("Not a feeding day")


class Droppings(models.TextChoices):
    NORMAL = "normal", _("Normal")
    RUNNY = "runny", _("Runny")
    BLOODY = "bloody", _("Blood in them")
    NONE = "none", _("None seen")


class BandageState(models.TextChoices):
    DRY = "dry", _("Dry and in place")
    SLIPPED = "slipped", _("Slipped or loose")
    WET = "wet", _("Wet or soaked through")
    LOST = "lost", _("Off or lost")
    NONE = "none", _("No bandage")


class Activity(models.TextChoices):
    USUAL = "usual", _("As usual")
    QUIET = "quiet", _("Quieter than usual")
    LIMP = "limp", _("Weak or limp")


class Answer(models.TextChoices):
    FINE = "fine", _("Fine")
    STAY = "stay", _("Keep to this step")
    PHONE_NOW = "phone_now", _("Phone now")


# What can happen to people and animal; the same words as schedule.answers.Because.
MISHAPS = {
    "carer_hurt": _("Somebody was bitten, scratched or hurt"),
    "escaped": _("It has escaped"),
    "died": _("It has died"),
}


class LogEntryQuerySet(models.QuerySet):
    def visible_to(self, person: Person) -> LogEntryQuerySet:
        """Reports about the animals that a person sees, and the person's own."""
        return self.filter(Q(patient__in=Patient.objects.visible_to(person)) | Q(author=person))

    def counting(self) -> LogEntryQuerySet:
        """What stands: of a report and its corrections only the latest one."""
        later = LogEntry.objects.filter(
            Q(corrects=OuterRef("pk"))
            | Q(corrects__isnull=False, corrects=OuterRef("corrects")) & Q(made_at__gt=OuterRef("made_at"))
            | Q(corrects__isnull=False, corrects=OuterRef("corrects"), made_at=OuterRef("made_at"), pk__gt=OuterRef("pk"))
        )
        return self.exclude(Exists(later))


class LogEntry(models.Model):
    """One report about one animal. `key` is made on the carer's device, so that sending it twice stores it once."""

    key = models.UUIDField(unique=True)
    payload_hash = models.CharField(max_length=64)
    patient = models.ForeignKey(Patient, models.PROTECT, related_name="logs", db_index=False)
    placement = models.ForeignKey(Placement, models.PROTECT, null=True, related_name="logs")
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")  # by code: who has the animal
    is_by_code = models.BooleanField(default=False)  # whoever held the paper wrote it, by the animal's code
    on = models.DateField()  # the day it is about, where the hospital is
    made_at = models.DateTimeField()  # by the device's clock
    received_at = models.DateTimeField()  # by ours
    water_minutes = models.PositiveSmallIntegerField(null=True, blank=True, validators=[MaxValueValidator(1440)])
    eaten = models.CharField(max_length=8, choices=Eaten, blank=True)
    food = models.CharField(max_length=160, blank=True)
    weight_g = models.DecimalField(
        max_digits=9, decimal_places=1, null=True, blank=True, validators=[MinValueValidator(0.1)]
    )
    droppings = models.CharField(max_length=8, choices=Droppings, blank=True)
    bandage = models.CharField(max_length=8, choices=BandageState, blank=True)
    activity = models.CharField(max_length=8, choices=Activity, blank=True)
    signs = models.JSONField(default=list, blank=True)  # of schedule.watertime.Sign
    happened = models.JSONField(default=list, blank=True)  # of MISHAPS
    doses = models.JSONField(default=list, blank=True)  # [{"order": id, "number": 0 for the first, "kind": "given"}]
    worries = models.TextField(blank=True)
    photo = models.FileField(upload_to="logs", blank=True)
    answer = models.CharField(max_length=9, choices=Answer)
    reasons = models.JSONField(default=list, blank=True)  # schedule.answers.Because with numbers; flags for staff
    is_worrying = models.BooleanField(default=False)  # somebody at the hospital must look at it
    is_from_paper = models.BooleanField(default=False)  # its author copied it from a log sheet: its time is a guess
    corrects = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="corrections")

    objects = LogEntryQuerySet.as_manager()

    class Meta:
        ordering = ["made_at", "id"]
        indexes = [
            models.Index(fields=["patient", "-on"], name="logs_of_a_patient"),
            models.Index(fields=["patient"], condition=Q(is_worrying=True), name="worrying_logs"),
        ]

    @property
    def who(self) -> str:
        """Who wrote it, as far as is known."""
        return str(_("by animal code, with %(carer)s") % {"carer": self.author} if self.is_by_code else self.author)

    @property
    def picture(self) -> FieldFile | None:
        """The photograph, whether it came with the words or after them."""
        if self.photo:
            return self.photo
        return self.later_photo.photo if hasattr(self, "later_photo") else None


class LogPhoto(models.Model):
    """The photograph of a report that came after its words: a phone with little signal sends it in parts."""

    entry = models.OneToOneField(LogEntry, models.PROTECT, related_name="later_photo")
    photo = models.FileField(upload_to="logs")
    received_at = models.DateTimeField()


class LogSeen(Versioned):
    """Somebody at the hospital has read a worrying report, and says what was done."""

    entry = models.OneToOneField(LogEntry, models.PROTECT, related_name="seen")
    seen_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    seen_at = models.DateTimeField()
    note = models.CharField(max_length=250, blank=True)

"""What was done at the cage that no other table knows: meals and fluids given; and who minds which animal."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.feeding.models import FeedingPlan, FluidPlan


class Attended(models.Model):
    """One meal or one lot of fluids of a plan, at the moment for which it was planned."""

    class Kind(models.TextChoices):
        GIVEN = "given", _("Given")
        REFUSED = "refused", _("Not taken")
        MISSED = "missed", _("Missed")

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="attended")
    feeding = models.ForeignKey(FeedingPlan, models.CASCADE, null=True, blank=True, related_name="+")
    fluid = models.ForeignKey(FluidPlan, models.CASCADE, null=True, blank=True, related_name="+")
    due_at = models.DateTimeField()
    kind = models.CharField(max_length=8, choices=Kind)
    done_at = models.DateTimeField()
    done_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["due_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["feeding", "due_at"], name="a_meal_is_written_once"),
            models.UniqueConstraint(fields=["fluid", "due_at"], name="fluids_are_written_once"),
            models.CheckConstraint(
                condition=Q(feeding=None, fluid__isnull=False) | Q(feeding__isnull=False, fluid=None), name="attended_is_of_one_plan"
            ),
        ]
        indexes = [models.Index(fields=["patient", "-due_at"], name="attended_of_a_patient")]


class Minder(models.Model):
    """Who minds an animal in the house: whose it is on the sheet, from when until when. It limits nobody else."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="minders")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    taken_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["patient", "person"], condition=Q(ended_at=None), name="minded_once_by_a_person")]

"""Samples that were taken, and what a laboratory or a microscope found in them."""

import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned, Withdrawable


class StandingSamples(models.Manager):
    """Those that were not withdrawn. Every relation uses it, so that no page can take a mistake for a result."""

    def get_queryset(self) -> models.QuerySet:
        return super().get_queryset().filter(withdrawn_at=None)


class Sample(Versioned, Withdrawable):
    """One sample. It waits for its result until `resulted_on` is set. `Sample.written` holds the withdrawn ones as well."""

    class Kind(models.TextChoices):
        BLOOD = "blood", _("Blood")
        FAECES = "faeces", _("Droppings")
        SWAB = "swab", _("Swab")
        SCRAPE = "scrape", _("Skin scrape")
        URINE = "urine", _("Urine")
        FLUID = "fluid", _("Other fluid")
        TISSUE = "tissue", _("Tissue, feather or claw")

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)  # of the form: sent twice, stored once
    patient = models.ForeignKey(Patient, models.CASCADE, related_name="samples")
    kind = models.CharField(_("sample"), max_length=8, choices=Kind)
    site = models.CharField(_("from where"), max_length=120, blank=True)
    taken_on = models.DateField(_("taken on"))
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    laboratory = models.CharField(_("read by"), max_length=120, blank=True)
    number = models.CharField(_("the laboratory's number"), max_length=60, blank=True)
    question = models.CharField(_("what is asked"), max_length=160, blank=True)
    resulted_on = models.DateField(_("result on"), null=True, blank=True)
    ranges_of = models.CharField(_("whose ranges"), max_length=160, blank=True)
    conclusion = models.TextField(_("what it says"), blank=True)
    moved_to = models.OneToOneField("self", models.PROTECT, null=True, blank=True, related_name="moved_from", editable=False)

    objects = StandingSamples()
    written = models.Manager()

    class Meta:
        ordering = ["taken_on", "id"]


class Finding(models.Model):
    """One line of a result: a number with its unit and the range that came with it, or words."""

    sample = models.ForeignKey(Sample, models.CASCADE, related_name="findings")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80)
    value = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    words = models.CharField(max_length=80, blank=True)  # what is no number: "many", "<5", "no growth"
    unit = models.CharField(max_length=20, blank=True)
    low = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)

    class Meta:
        ordering = ["position"]
        constraints = [models.UniqueConstraint(fields=["sample", "position"], name="a_finding_has_its_place_once")]

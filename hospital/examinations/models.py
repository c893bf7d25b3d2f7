"""What was seen when the animal was looked at."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient
from hospital.edits import Versioned


class Examination(Versioned):
    """An examination on admission, at a recheck, or for release."""

    class Kind(models.TextChoices):
        ADMISSION = "admission", _("On admission")
        RECHECK = "recheck", _("Recheck")
        RELEASE = "release_assessment", _("Release assessment")
        OTHER = "other", _("Other")

    class Wound(models.TextChoices):
        NONE = "none", _("No wound")
        CLEAN = "clean", _("Clean and closed")
        HEALING = "healing", _("Healing, not sealed yet")
        SLOW = "slow", _("Slower than hoped")
        INFECTED = "infected", _("Infected")
        OPEN = "open", _("Open again")

    class Mentation(models.TextChoices):
        BRIGHT = "bright", _("Bright, alert")
        QUIET = "quiet", _("Quiet, alert")
        DULL = "dull", _("Dull")
        STUPOR = "stupor", _("Stupor: answers pain only")
        COMA = "coma", _("Coma: answers nothing")

    class Hydration(models.TextChoices):
        NORMAL = "normal", _("Not dry")
        SLIGHT = "slight", _("Slightly dry, about 5 %")
        MODERATE = "moderate", _("Dry, about 8 %")
        SEVERE = "severe", _("Very dry, 10 % or more")

    class Prognosis(models.TextChoices):
        GOOD = "good", _("Good")
        FAIR = "fair", _("Fair")
        GUARDED = "guarded", _("Guarded")
        POOR = "poor", _("Poor")
        HOPELESS = "hopeless", _("Hopeless")

    class Decision(models.TextChoices):
        TREAT = "treat", _("Treat")
        EUTHANASE = "euthanase", _("Euthanase")
        TRANSFER = "transfer", _("Transfer")

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="examinations")
    kind = models.CharField(max_length=20, choices=Kind)
    examined_on = models.DateField(_("examined on"))
    examined_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    wound = models.CharField(_("wound"), max_length=10, choices=Wound, default=Wound.NONE)
    mentation = models.CharField(_("mind"), max_length=10, choices=Mentation, blank=True)
    hydration = models.CharField(_("hydration"), max_length=10, choices=Hydration, blank=True)
    temperature_c = models.DecimalField(
        _("temperature"), max_digits=3, decimal_places=1, null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(46)]
    )
    heart_rate_per_min = models.PositiveSmallIntegerField(
        _("heart rate"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(1500)]
    )
    breaths_per_min = models.PositiveSmallIntegerField(
        _("breathing rate"), null=True, blank=True, validators=[MaxValueValidator(600)]
    )
    condition_score = models.PositiveSmallIntegerField(_("body condition score"), null=True, blank=True)
    condition_scale = models.CharField(max_length=20, blank=True)  # of vocabulary.SCALES
    body_condition = models.CharField(_("body condition"), max_length=60, blank=True)
    systems = models.JSONField(default=dict, blank=True)  # looked at: of vocabulary.systems_of, "" for normal or what is not
    findings = models.TextField(_("findings"), blank=True)
    advice = models.TextField(_("what the carer is told"), blank=True)
    prognosis = models.CharField(_("outlook"), max_length=10, choices=Prognosis, blank=True)
    decision = models.CharField(_("decision"), max_length=10, choices=Decision, blank=True)
    decision_reason = models.CharField(_("why"), max_length=250, blank=True)

    class Meta:
        ordering = ["examined_on", "id"]


class WoundMark(Versioned):
    """A numbered mark on the drawing of the animal, as one examination found it. Places in thousandths of width and height."""

    class Kind(models.TextChoices):
        WOUND = "wound", _("Wound")
        BITE = "bite", _("Bite")
        BURN = "burn", _("Burn")
        FRACTURE = "fracture", _("Fracture")
        SWELLING = "swelling", _("Swelling")
        BRUISE = "bruise", _("Bruise")
        PARASITES = "parasites", _("Parasites")
        MISSING = "missing", _("Part missing")
        OTHER = "other", _("Other")

    examination = models.ForeignKey(Examination, models.CASCADE, related_name="marks")
    number = models.PositiveSmallIntegerField()  # the same wound keeps its number at later examinations
    kind = models.CharField(_("what"), max_length=10, choices=Kind)
    view = models.CharField(max_length=6)  # of vocabulary.VIEWS
    x = models.PositiveSmallIntegerField(validators=[MaxValueValidator(1000)])
    y = models.PositiveSmallIntegerField(validators=[MaxValueValidator(1000)])
    words = models.CharField(_("size and look"), max_length=160, blank=True)

    class Meta:
        ordering = ["number", "id"]
        constraints = [models.UniqueConstraint(fields=["examination", "number"], name="a_mark_has_its_number_once")]


class Problem(Versioned):
    """Something that is wrong with an animal, from the day on which it was found until it is closed."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="problems")
    name = models.CharField(_("problem or diagnosis"), max_length=120)
    note = models.CharField(_("note"), max_length=250, blank=True)
    found_on = models.DateField(_("found on"))
    found_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    closed_on = models.DateField(_("closed on"), null=True, blank=True)
    closed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    close_reason = models.CharField(_("why it is closed"), max_length=250, blank=True)

    class Meta:
        ordering = ["found_on", "id"]

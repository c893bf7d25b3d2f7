"""Promises about days: published plans, and the decisions that people put into them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from hospital.admissions.models import Patient, Placement
from hospital.sites.models import Hospital


class Plan(models.Model):
    """A published plan: a version, never changed. `problem` and `answer` are the public shapes of the planning core."""

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="plans", db_index=False)
    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="+", db_index=False)
    version = models.PositiveIntegerField()
    published_at = models.DateTimeField()
    published_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reason = models.CharField(max_length=250, blank=True)
    problem = models.JSONField()
    answer = models.JSONField()
    adoptions = models.JSONField(default=list, blank=True)  # ids of the protocol rows it was planned with
    changes = models.JSONField(default=list, blank=True)  # what differs from the version before, as plain values

    class Meta:
        constraints = [models.UniqueConstraint(fields=["patient", "version"], name="plan_versions_are_numbered")]


class CurrentPlan(models.Model):
    """Which plan is in force for a patient."""

    patient = models.OneToOneField(Patient, models.CASCADE, related_name="current_plan")
    plan = models.OneToOneField(Plan, models.PROTECT, related_name="+")


class PlannedDate(models.Model):
    """One event of a published plan, for boards and calendars. `done_on` is what was known when it was published."""

    plan = models.ForeignKey(Plan, models.PROTECT, related_name="dates", db_index=False)
    patient = models.ForeignKey(Patient, models.PROTECT, related_name="+")
    hospital = models.ForeignKey(Hospital, models.PROTECT, related_name="+", db_index=False)
    event_id = models.CharField(max_length=140)
    event = models.CharField(max_length=60)
    subject = models.CharField(max_length=80, blank=True)  # the words for what it is about: "left hind limb"
    place = models.CharField(max_length=6)
    on = models.DateField()
    opens_on = models.DateField(null=True)
    closes_on = models.DateField(null=True)
    done_on = models.DateField(null=True)

    class Meta:
        ordering = ["on", "id"]
        constraints = [models.UniqueConstraint(fields=["plan", "event_id"], name="a_plan_dates_an_event_once")]
        indexes = [models.Index(fields=["hospital", "on"], name="planned_dates_by_day")]


class PlanRead(models.Model):
    """Whoever nurses the animal knows the days of a published plan: the carer has read what changed, or was told."""

    plan = models.ForeignKey(Plan, models.PROTECT, related_name="readings")
    placement = models.ForeignKey(Placement, models.PROTECT, related_name="plans_read")
    read_at = models.DateTimeField()
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")  # the carer, or who told them

    class Meta:
        constraints = [models.UniqueConstraint(fields=["plan", "placement"], name="a_plan_is_read_once_at_a_place")]


class Pin(models.Model):
    """A person's decision that an event happens on this very day. A later pin of the same event replaces it."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="pins")
    event_id = models.CharField(max_length=140)
    on = models.DateField()
    reason = models.CharField(max_length=250, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["patient", "event_id"], condition=Q(ended_at=None), name="one_pin_per_event")]


class Hold(models.Model):
    """A vet's "not yet": the event waits until a day, counted from the recheck that said so. A later one counts."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="holds")
    event_id = models.CharField(max_length=140)
    from_on = models.DateField()
    not_before = models.DateField()
    reason = models.CharField(max_length=250, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["patient", "event_id"], condition=Q(ended_at=None), name="one_hold_per_event"),
            models.CheckConstraint(condition=Q(not_before__gte=F("from_on")), name="a_hold_looks_ahead"),
        ]


class RuleChoice(models.Model):
    """A vet takes another window of the protocol for this animal, in place of the usual one."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="rule_choices")
    rule = models.CharField(max_length=120)  # the id of an alternative rule
    reason = models.CharField(max_length=250, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["patient", "rule"], condition=Q(ended_at=None), name="a_rule_is_chosen_once_for_an_animal")
        ]


class WaterDecision(models.Model):
    """A vet sets the water step for a day on, or clears the water again after a severe sign."""

    class Kind(models.TextChoices):
        STEP = "step", "step"
        CLEARED = "cleared", "cleared"

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="water_decisions")
    kind = models.CharField(max_length=8, choices=Kind)
    on = models.DateField()
    step = models.PositiveSmallIntegerField(default=1)
    reason = models.CharField(max_length=250, blank=True)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()


class Proposal(models.Model):
    """What the last check of all live cases found for one animal: worked out from facts, replaced by the next check.

    It decides nothing: a person looks at old and new, and publishes. It holds while the day is `on`, the plan in force
    is `plan` and the facts are those that `facts` names.
    """

    class Kind(models.TextChoices):
        AGREED = "agreed", _("Plan as agreed")
        CHANGED = "changed", _("Days would change")
        FIRST = "first", _("No plan published yet")
        CONFLICT = "conflict", _("Dates collide")
        TROUBLE = "trouble", _("Cannot be planned")

    patient = models.OneToOneField(Patient, models.CASCADE, related_name="proposal")
    hospital = models.ForeignKey(Hospital, models.CASCADE, related_name="+", db_index=False)
    on = models.DateField()  # the hospital's own day
    made_at = models.DateTimeField()
    kind = models.CharField(max_length=8, choices=Kind)
    plan = models.ForeignKey(Plan, models.CASCADE, null=True, related_name="+")  # in force when it was compared
    facts = models.CharField(max_length=16)  # a short name for facts, rules in force, closed days and decisions
    days = models.CharField(max_length=16)  # LivePlan.digest: exactly these days
    changes = models.JSONField(default=list, blank=True)  # as in Plan.changes
    late = models.JSONField(default=list, blank=True)  # what is late, and since which last day
    conflict = models.JSONField(default=list, blank=True)  # the members: take any one away, and the rest can be planned
    why = models.JSONField(default=list, blank=True)  # sentences: the conflict's, or why nothing can be planned

    class Meta:
        indexes = [models.Index(fields=["hospital", "on", "kind"], name="proposals_of_a_night")]

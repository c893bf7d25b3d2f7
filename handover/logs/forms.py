"""The report of a day, in as few taps as can be, and what the hospital decides about water."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from handover.labels.care import SIGNS
from handover.logs.models import MISHAPS, Activity, BandageState, Droppings, Eaten, LogEntry
from handover.logs.queries import Day, Dose
from handover.schedule.watertime import MINUTES_A_DAY, WaterProtocol
from hospital.admissions.days import day_field
from hospital.admissions.forms import WeightField
from hospital.pictures import PhotoField

# What makes a report one: an empty one would count the day as logged, and be thanked for.
SAID = (
    "water_minutes", "eaten", "food", "droppings", "bandage", "activity", "weight_g", "signs", "happened", "worries", "photo", "doses",
)  # fmt: skip
DOSE_CHOICES = [("given", _("Given")), ("refused", _("Not taken")), ("", _("Not yet"))]


def _radio(label: Any, choices: Any, **kwargs: Any) -> forms.ChoiceField:
    widget = forms.RadioSelect(attrs={"class": "choices cards"})
    return forms.ChoiceField(label=label, choices=choices, required=False, widget=widget, **kwargs)


def _ticks(label: Any, choices: Any) -> forms.MultipleChoiceField:
    widget = forms.CheckboxSelectMultiple(attrs={"class": "choices cards"})
    return forms.MultipleChoiceField(label=label, choices=choices, required=False, widget=widget)


def _time(label: Any) -> forms.TimeField:
    widget = forms.TimeInput(attrs={"type": "time"}, format="%H:%M")
    return forms.TimeField(label=label, required=False, widget=widget, error_messages={"invalid": _("Write the time as 14:20.")})


class MomentField(forms.DateTimeField):
    """A moment as a device writes it, with its offset (RFC 3339)."""

    widget = forms.HiddenInput

    def to_python(self, value: Any) -> datetime | None:
        try:
            moment = datetime.fromisoformat(value) if value else None
        except (TypeError, ValueError):
            moment = None
        if value and (moment is None or moment.utcoffset() is None):
            raise forms.ValidationError(_("Give the moment with its offset, for example 2027-01-05T09:30:00+01:00."))
        return moment


class ReportForm(forms.Form):
    """One report. What is usual is chosen already on the first report of a day; nothing is needed but to send it."""

    key = forms.UUIDField(widget=forms.HiddenInput)
    made_at = MomentField()
    sent_at = MomentField(required=False)
    on = forms.DateField(widget=forms.HiddenInput)
    corrects = forms.UUIDField(widget=forms.HiddenInput, required=False)
    water_minutes = forms.IntegerField(
        label=_("Minutes in water"), required=False, min_value=0, max_value=MINUTES_A_DAY,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "big w-4", "autocomplete": "off"}),
        error_messages={
            "invalid": _("Write the minutes as a whole number, for example 20."),
            "min_value": _("Minutes cannot be below 0."), "max_value": _("A day has 1440 minutes."),
        },
    )  # fmt: skip
    water_from = _time(_("Into the water at"))  # for a phone without scripts, which has no timer
    water_until = _time(_("Out of the water at"))
    eaten = _radio(_("Food"), Eaten.choices)
    food = forms.CharField(label=_("What it ate"), max_length=160, required=False)
    droppings = _radio(_("Droppings"), Droppings.choices)
    bandage = _radio(_("Bandage"), [c for c in BandageState.choices if c[0] != BandageState.NONE])
    activity = _radio(_("It behaves"), Activity.choices)
    weight_g = WeightField(label=_("Weight"), required=False)
    signs = _ticks(_("What you see"), [(sign.value, words) for sign, words in SIGNS.items()])
    happened = _ticks(_("Has something happened?"), list(MISHAPS.items()))
    worries = forms.CharField(
        label=_("Anything that worries you"), max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    photo = PhotoField(label=_("Photograph of the wound or the animal"), required=False)
    photo_follows = forms.BooleanField(widget=forms.HiddenInput, required=False)  # in parts, after the words

    def __init__(self, *args: Any, doses: Iterable[Dose] = (), **kwargs: Any):
        """`doses`: those due, and those that a sent form names; which questions are shown is the page's business."""
        super().__init__(*args, **kwargs)
        self.doses = list(doses)
        for dose in self.doses:
            widget = forms.RadioSelect(attrs={"class": "choices inline"})
            self.fields[dose.field] = forms.ChoiceField(label=dose.line, choices=DOSE_CHOICES, required=False, widget=widget)

    @property
    def dose_fields(self) -> list[tuple[Dose, forms.BoundField]]:
        return [(dose, self[dose.field]) for dose in self.doses]

    def chosen(self, name: str) -> list[str]:
        """What is ticked in a group of cards."""
        return [str(each) for each in self[name].value() or []]

    def clean(self) -> dict[str, Any]:
        """The names that receive() knows. A question that was not asked stays unsaid."""
        data = super().clean()
        self._count_minutes(data)
        said = [(dose, data.pop(dose.field, "")) for dose in self.doses]
        data["doses"] = [_dose(dose, kind) for dose, kind in said if kind]
        follows = data.pop("photo_follows", False)
        if not (self.errors or follows or data.get("corrects") or any(data.get(name) not in (None, "", []) for name in SAID)):
            raise forms.ValidationError(_("Nothing is filled in. Choose or write what there is to tell, then send."))
        return data


    def _count_minutes(self, data: dict[str, Any]) -> None:
        """The minutes between two times that were typed, added to those that were written."""
        start, end = data.pop("water_from", None), data.pop("water_until", None)
        if start is None and end is None:
            return
        if start is None or end is None:
            self.add_error("water_until", _("Write both times: into the water, and out of it."))
        elif end < start:
            self.add_error("water_until", _("This is before it went into the water."))
        else:
            minutes = (end.hour - start.hour) * 60 + end.minute - start.minute
            data["water_minutes"] = (data.get("water_minutes") or 0) + minutes


def _dose(dose: Dose, kind: str) -> dict[str, Any]:
    return {"order": dose.order.pk, "number": dose.number, "due_at": dose.due_at.isoformat(), "kind": kind}


def usual(day: Day, at: datetime, food: str, about: date | None = None, *, is_filled: bool = False) -> dict[str, Any]:
    """Where a report starts: what is usual on the first one of a day, nothing on a later one or one told afterwards.

    `is_filled`: with the minutes and doses of the usual day too.
    """
    start = {"key": uuid.uuid4(), "made_at": at.isoformat(timespec="seconds"), "on": (about or day.on).isoformat()}
    if day.is_logged or about:
        return start
    asked = usual_day(day) if is_filled else None
    given = {dose["field"]: "given" for dose in asked["doses"] if datetime.fromisoformat(dose["due_at"]) <= at} if asked else {}
    return start | given | {
        "water_minutes": asked["water_minutes"] if asked else None,
        "eaten": Eaten.ALL, "food": food, "droppings": Droppings.NORMAL, "bandage": BandageState.DRY, "activity": Activity.USUAL,
    }  # fmt: skip


def usual_day(day: Day) -> dict[str, Any] | None:
    """What one tap fills in beside what is chosen already: the plan's minutes, and the doses, each from its time on.

    None where nothing is usual: when the day has a report, or when the water is stopped and somebody must phone.
    """
    if day.is_logged or (day.allowance and day.allowance.phone_now):
        return None
    minutes = day.allowance.minutes if day.allowance and day.asks_water else None
    return {"water_minutes": minutes, "doses": [{"field": dose.field, "due_at": dose.due_at.isoformat()} for dose in day.doses]}


def as_said(entry: LogEntry, at: datetime) -> dict[str, Any]:
    """Where a correction starts: what was said, under a new key."""
    kept = ("water_minutes", "eaten", "food", "droppings", "bandage", "activity", "signs", "happened", "worries")
    return {name: getattr(entry, name) for name in kept} | {
        "key": uuid.uuid4(),
        "made_at": at.isoformat(timespec="seconds"),
        "on": entry.on.isoformat(),
        "corrects": entry.key,
    }


class SeenForm(forms.Form):
    note = forms.CharField(label=_("What was done"), max_length=250, required=False)


class WaterForm(forms.Form):
    """A step of the ladder from a day on."""

    on = day_field(_("From"))
    step = forms.TypedChoiceField(label=_("Step"), coerce=int, error_messages={"required": _("Choose a step.")})
    reason = forms.CharField(label=_("Why"), max_length=250, error_messages={"required": _("Write why, for the next vet.")})

    def __init__(self, *args: Any, protocol: WaterProtocol, today: date, least: int = 0, **kwargs: Any):
        kwargs["initial"] = {"on": today, "step": max(1, least)} | (kwargs.get("initial") or {})
        super().__init__(*args, **kwargs)
        self.fields["on"].widget.attrs |= {"min": today.isoformat(), "max": (today + timedelta(60)).isoformat()}
        self.fields["step"].choices = [
            (step, _("%(step)d: %(minutes)d minutes a day") % {"step": step, "minutes": protocol.minutes_at(step)})
            for step in range(least, protocol.last_step + 1)
        ]

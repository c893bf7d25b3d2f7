"""Forms for the figures that a hospital may set itself. Each cleans to the arguments of `actions.adopt`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from handover.protocols.contents import Value
from handover.protocols.models import Kind
from handover.schedule.library import Rule, SeasonGate
from handover.schedule.release import Criterion, Needs
from handover.schedule.watertime import WaterProtocol


def _days(label: str, **kwargs: Any) -> forms.IntegerField:
    return _number(label, unit=gettext_lazy("days"), required=False, **kwargs)


def _number(label: str, *, unit: str = "", least: int = 0, most: int = 3650, **kwargs: Any) -> forms.IntegerField:
    widget = forms.NumberInput(attrs={"class": "w-4", "inputmode": "numeric"})
    missing = {"required": gettext_lazy("Give a whole number."), "invalid": gettext_lazy("Give a whole number.")}
    field = forms.IntegerField(
        label=label, min_value=least, max_value=most, widget=widget, error_messages=missing, **kwargs
    )
    field.unit = unit
    return field


class FiguresForm(forms.Form):
    """The figures of one row. `figures` names the fields that become parts of its content."""

    figures: tuple[str, ...] = ()

    seen_version = forms.IntegerField(widget=forms.HiddenInput, min_value=0)  # the version in force that was seen; 0: none

    def __init__(self, *args: Any, value: Value, **kwargs: Any) -> None:
        self.value = value
        super().__init__(*args, **kwargs)

    def clean(self) -> Mapping[str, Any]:
        cleaned = super().clean()
        if self.errors:
            return cleaned
        return {"seen_version": cleaned["seen_version"], "figures": {name: cleaned[name] for name in self.figures}}

    @classmethod
    def start(cls, value: Value) -> dict[str, Any]:
        """The figures of a value as the form shows them."""
        return {name: getattr(value, name) for name in cls.figures}


class RuleForm(FiguresForm):
    """When an event is due after its anchor."""

    figures = ("min_days", "usual_days", "max_days", "weight")

    min_days = _days(gettext_lazy("At least"), help_text=gettext_lazy("Never earlier than this many days. Empty: no limit."))
    usual_days = _days(gettext_lazy("Usually"), help_text=gettext_lazy("The day that the plan aims at."))
    max_days = _days(gettext_lazy("At most"), help_text=gettext_lazy("Late after this many days. Empty: never late."))
    weight = _number(
        gettext_lazy("How much a day off the usual one matters"), most=1000, required=True,
        help_text=gettext_lazy("1 is little; a visit to the clinic counts 30."),
    )  # fmt: skip

    def clean(self) -> Mapping[str, Any]:
        cleaned = super().clean()
        figures = cleaned.get("figures", {})
        _refuse_falling(self, figures, "min_days", "usual_days")
        _refuse_falling(self, figures, "usual_days", "max_days")
        _refuse_falling(self, figures, "min_days", "max_days")
        if figures and all(figures[name] is None for name in ("min_days", "usual_days", "max_days")):
            self.add_error("usual_days", _("Give at least one of the three figures, or withdraw the row."))
        if figures and self.value.repeat_until and not figures["usual_days"]:
            self.add_error("usual_days", _("This is done again and again, so it needs a usual interval of 1 day or more."))
        return cleaned


def _refuse_falling(form: forms.Form, figures: Mapping[str, Any], low: str, high: str) -> None:
    lower, upper = figures.get(low), figures.get(high)
    if lower is None or upper is None or lower <= upper or form.has_error(high):
        return
    words = {"high": form.fields[high].label, "low": form.fields[low].label, "figure": lower}
    form.add_error(high, _("“%(high)s” cannot be less than “%(low)s” (%(figure)d days).") % words)


class MonthAndDayField(forms.CharField):
    """A day of every year, typed as day-month ("01-05" is 1 May); cleans to [month, day]."""

    default_error_messages = {"required": gettext_lazy("Give day and month as 01-05 for 1 May.")}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.TextInput(attrs={"class": "w-6"}), **kwargs)  # a number pad may lack the hyphen

    def prepare_value(self, value: Any) -> Any:
        return f"{value[1]:02}-{value[0]:02}" if isinstance(value, list | tuple) else value

    def clean(self, value: Any) -> list[int]:
        try:
            day, month = (int(part) for part in super().clean(value).split("-"))
        except ValueError:
            raise ValidationError(_("Give day and month as 01-05 for 1 May.")) from None
        return [month, day]


class GateForm(FiguresForm):
    """The season of an event, written for the northern hemisphere; in the south it is half a year later."""

    figures = ("opens", "closes")

    opens = MonthAndDayField(label=gettext_lazy("First day (day-month)"), help_text=gettext_lazy("In the north, as 01-05 for 1 May."))
    closes = MonthAndDayField(label=gettext_lazy("Last day (day-month)"))


class LadderField(forms.CharField):
    """Rising minutes a day, typed with commas; cleans to a list."""

    default_error_messages = {"required": gettext_lazy("Give minutes a day with commas between them, such as 5, 10, 15.")}

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(map(str, value)) if isinstance(value, list | tuple) else value

    def clean(self, value: Any) -> list[int]:
        try:
            return [int(part) for part in super().clean(value).replace(";", ",").split(",") if part.strip()]
        except ValueError:
            raise ValidationError(_("Give minutes a day with commas between them, such as 5, 10, 15.")) from None


class WaterForm(FiguresForm):
    """Dry days, and the ladder of minutes a day."""

    figures = ("dry_days", "ladder", "clean_days", "used_share_percent", "mild_steps_down")

    dry_days = _number(gettext_lazy("Dry days after the wound was closed"), unit=gettext_lazy("days"))
    ladder = LadderField(label=gettext_lazy("Steps, in minutes a day"), help_text=gettext_lazy("Rising, with commas between them."))
    clean_days = _number(gettext_lazy("Clean days in a row for the next step"), unit=gettext_lazy("days"), least=1)
    used_share_percent = _number(gettext_lazy("Share of the time that counts as used"), unit="%", least=1, most=100)
    mild_steps_down = _number(gettext_lazy("Steps down after a mild sign"), least=1, most=50)


class TargetForm(FiguresForm):
    """The weight, trend or season that a criterion asks for."""

    figures = ("target",)

    target = forms.CharField(
        label=gettext_lazy("Figure"),
        max_length=40,
        widget=forms.TextInput(attrs={"class": "w-10"}),
        error_messages={"required": gettext_lazy("Give the figure.")},
    )

    def __init__(self, *args: Any, value: Criterion, **kwargs: Any) -> None:
        super().__init__(*args, value=value, **kwargs)
        self.fields["target"].label, self.fields["target"].help_text = TARGETS[value.needs]


TARGETS = {
    Needs.WEIGHT: (gettext_lazy("Weight in grams, at least"), ""),
    Needs.TREND: (gettext_lazy("Grams gained a day, at least"), gettext_lazy("0 means no loss.")),
    Needs.SEASON: (gettext_lazy("Season, in the north"), gettext_lazy("Month-day/month-day, such as 04-01/09-30.")),
}
FORMS: dict[str, type[FiguresForm]] = {
    Kind.RULE: RuleForm,
    Kind.GATE: GateForm,
    Kind.WATER: WaterForm,
    Kind.CRITERION: TargetForm,
}


def has_figures(value: Rule | SeasonGate | WaterProtocol | Criterion) -> bool:
    """Whether the value has figures that a hospital may set."""
    if isinstance(value, Criterion):
        return value.needs in TARGETS
    return not isinstance(value, Rule) or value.is_planned or value.is_routine

"""Forms for the decisions that people put into a plan."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from handover.plans.actions import UNSEEN
from handover.schedule.whatif import FURTHEST_DAYS
from hospital.admissions.days import day_field

Choices = Sequence[tuple[str, str]]


def reason_field(label: str, *, required: bool, **kwargs: Any) -> forms.CharField:
    missing = {"required": gettext_lazy("Write why, so that the next reader can follow it.")}
    return forms.CharField(label=label, max_length=250, required=required, error_messages=missing, **kwargs)


class EventForm(forms.Form):
    """A decision about one event of the plan. `events` are those that may be decided about, with their words."""

    event_id = forms.ChoiceField(label=gettext_lazy("What"))
    seen_latest = forms.IntegerField(widget=forms.HiddenInput, min_value=0)  # the latest decision when the page was opened

    def __init__(self, *args: Any, events: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["event_id"].choices = events

    def was_refused_unseen(self) -> bool:
        """Whether it was refused because of a decision that its sender had not seen; now it has been shown."""
        return any(error.code == UNSEEN for errors in self.errors.as_data().values() for error in errors)


class PinForm(EventForm):
    """Fix a day for something."""

    on = day_field(gettext_lazy("Day"), help_text=gettext_lazy("Counts even if the clinic is usually closed on that day."))
    reason = reason_field(gettext_lazy("Why on this day"), required=True)


class HoldForm(EventForm):
    """Not yet: something waits until a day."""

    not_before = day_field(gettext_lazy("Not before"))
    reason = reason_field(gettext_lazy("Why it must wait"), required=True)


class ChoiceForm(forms.Form):
    """Take another window of the protocol for this animal."""

    rule = forms.ChoiceField(label=gettext_lazy("Other window"))
    reason = reason_field(gettext_lazy("Why for this animal"), required=True)

    def __init__(self, *args: Any, rules: Choices, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["rule"].choices = rules


class PublishForm(forms.Form):
    """Publish what was shown. The hidden fields say which plan was in force and which answer was seen."""

    seen_plan = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    seen_answer = forms.CharField(widget=forms.HiddenInput, max_length=64)
    reason = reason_field(gettext_lazy("Why the plan changes"), required=False, help_text=gettext_lazy("One line; the carer is told."))


# --- what if ------------------------------------------------------------------------------------------------------


class SupposedForm(forms.Form):
    """One thing that is supposed, typed or dragged. It is asked by address and saves nothing."""

    is_filter = True  # nothing of it is "optional": a row is filled in, or is not there
    use_required_attribute = False

    def __init__(self, *args: Any, events: Choices = (), rules: Choices = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, choices in (("event_id", events), ("rule_id", rules)):
            if name in self.fields:
                self.fields[name].choices = [("", gettext_lazy("Choose")), *choices]


def _choice(label: str, wrong: str) -> forms.ChoiceField:
    return forms.ChoiceField(label=label, error_messages={"required": wrong, "invalid_choice": wrong})


def _event_choice() -> forms.ChoiceField:
    return _choice(gettext_lazy("What"), gettext_lazy("Choose something that is planned for this animal."))


def _figure(label: str) -> forms.IntegerField:
    widget = forms.NumberInput(attrs={"class": "w-6", "inputmode": "numeric"})
    wrong = {
        "invalid": gettext_lazy("Give a whole number of days."),
        "min_value": gettext_lazy("Give a whole number of days from 0 to 730."),
        "max_value": gettext_lazy("Give a whole number of days from 0 to 730."),
    }
    field = forms.IntegerField(label=label, required=False, min_value=0, max_value=FURTHEST_DAYS, widget=widget, error_messages=wrong)
    field.unit = gettext_lazy("days")
    return field


class OnDayForm(SupposedForm):
    event_id = _event_choice()
    on = day_field(gettext_lazy("On this day"))


class NotBeforeForm(SupposedForm):
    event_id = _event_choice()
    not_before = day_field(gettext_lazy("Not before"))


class ClinicShutForm(SupposedForm):
    on = day_field(gettext_lazy("Closed on"))


class CarerAwayForm(SupposedForm):
    starts_on = day_field(gettext_lazy("First day away"))
    ends_on = day_field(gettext_lazy("Last day away"))


class OtherFiguresForm(SupposedForm):
    """Figures of a rule; one left empty stays as it is."""

    rule_id = _choice(gettext_lazy("Rule"), gettext_lazy("Choose a rule that plans something for this animal."))
    min_days = _figure(gettext_lazy("At least"))
    usual_days = _figure(gettext_lazy("Usually"))
    max_days = _figure(gettext_lazy("At most"))

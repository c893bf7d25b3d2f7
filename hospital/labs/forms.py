"""A sample on one page: what it is, and its result line by line."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.clock import today
from hospital.labs.models import Finding, Sample
from hospital.numbers import CommaDecimalField
from hospital.rules.wording import number

LINES, MORE_LINES, MOST_LINES = 6, 6, 60


class NumberField(CommaDecimalField):
    """A number of a result, or an end of its range."""

    def __init__(self, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "w-4", "autocomplete": "off"})
        super().__init__(required=False, max_digits=12, decimal_places=4, widget=widget, **kwargs)
        self.error_messages["invalid"] = _("Write a number, for example 4.5.")


def _line_box(label: Any, listed: str, size: str, most: int = 80) -> forms.CharField:
    box = forms.TextInput(attrs={"list": listed, "class": size})
    return forms.CharField(label=label, max_length=most, required=False, widget=box)


class FindingForm(forms.Form):
    """One line of a result; an empty one is none."""

    name = _line_box(_("What"), "lab-names", "w-10")
    result = _line_box(_("Result"), "lab-amounts", "w-6")
    unit = _line_box(_("Unit"), "lab-units", "w-4", 20)
    low = NumberField(label=_("From"))
    high = NumberField(label=_("To"))

    def clean(self) -> dict:
        data = super().clean()
        result = data.pop("result", "")
        if not result and all(data.get(name) in ("", None) for name in ("name", "unit", "low", "high")):
            return data  # never written, or emptied
        if not data.get("name"):
            self.add_error("name", _("Say what was looked for or measured."))
        if not result:
            self.add_error("result", _("Write the number or the words."))
        if data.get("low") is not None and data.get("high") is not None and data["low"] > data["high"]:
            self.add_error("high", _("The range ends before it begins."))
        return data | _number_or_words(result)


def _number_or_words(text: str) -> dict[str, Any]:
    """ "4,5" is a number; "<5" and "many" are words."""
    try:
        value = Decimal(text.strip().replace(",", "."))
        if not value.is_finite() or abs(value) >= Decimal(10) ** 8 or value != round(value, 4):
            raise InvalidOperation
    except InvalidOperation:
        return {"value": None, "words": text}
    return {"value": value, "words": ""}


class BaseLines(forms.BaseFormSet):
    def written(self) -> list[dict[str, Any]]:
        return [form.cleaned_data for form in self.forms if form.cleaned_data.get("name")]


Lines = forms.formset_factory(FindingForm, formset=BaseLines, extra=LINES, max_num=MOST_LINES, absolute_max=MOST_LINES + 10)


class SampleForm(forms.ModelForm):
    """A sample with its lines: valid when all of it is, and one `cleaned_data` for one action."""

    taken_on = day_field(_("Taken on"), initial=today)
    resulted_on = day_field(_("Result on"), required=False, help_text=_("Empty while the result is waited for."))

    class Meta:
        model = Sample
        fields = ["kind", "site", "taken_on", "laboratory", "number", "question", "resulted_on", "ranges_of", "conclusion"]
        widgets = {"kind": forms.RadioSelect(attrs={"class": "choices inline"}), "conclusion": forms.Textarea(attrs={"rows": 3})}
        error_messages = {"kind": {"required": _("Choose what was sampled.")}}
        help_texts = {
            "laboratory": _("A laboratory, or who looked through the microscope."),
            "ranges_of": _("The laboratory's own for this species, for example. Without it nobody can judge the range."),
        }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = Sample.Kind.choices
        sent = self.data if self.is_bound else None
        lines = [] if self.instance.pk is None else [_as_typed(each) for each in self.instance.findings.all()]
        self.lines = Lines(sent, initial=lines, prefix="lines")

    def is_valid(self) -> bool:
        return all([super().is_valid(), self.lines.is_valid()])

    def clean(self) -> dict:
        data = super().clean()
        if self.lines.is_valid():
            data["findings"] = self.lines.written()
            if any(each.get("low") is not None or each.get("high") is not None for each in data["findings"]) and not data.get("ranges_of"):
                self.add_error("ranges_of", _("Say whose ranges these are."))
        return data


class NewSampleForm(SampleForm):
    key = forms.UUIDField(widget=forms.HiddenInput, required=False)


class EditSampleForm(SampleForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


def _as_typed(finding: Finding) -> dict[str, Any]:
    said = number(finding.value) if finding.value is not None else finding.words
    return {"name": finding.name, "result": said, "unit": finding.unit, "low": _plain(finding.low), "high": _plain(finding.high)}


def _plain(value: Decimal | None) -> str | None:
    return None if value is None else f"{value.normalize():f}"

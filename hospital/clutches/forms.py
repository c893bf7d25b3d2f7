"""Forms about clutches and incubators."""

from __future__ import annotations

import uuid
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.forms import WeightField, moment_field, words_field
from hospital.clock import now, today
from hospital.clutches.models import MOST_EGGS, CandledEgg, Clutch, Egg, Incubator
from hospital.clutches.queries import orders_to_tie
from hospital.clutches.wording import state_line
from hospital.numbers import CommaDecimalField
from hospital.rules.logfile import COLDEST_C, HOTTEST_AS_F, WARMEST_C

MOST_BYTES = 1_000_000


class CelsiusField(CommaDecimalField):
    """Degrees Celsius; degrees Fahrenheit are refused with a word about them."""

    def __init__(self, label: Any, places: int = 1, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", "autocomplete": "off"})
        super().__init__(label=label, widget=widget, decimal_places=places, min_value=COLDEST_C, **kwargs)
        self.unit = "°C"
        self.error_messages |= {"required": _("Give the temperature."), "invalid": _("Give degrees Celsius, for example 28.5.")}

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.strip().removesuffix("°C") if isinstance(value, str) else value)

    def validate(self, value: Decimal | None) -> None:
        super().validate(value)
        if value is not None and value > WARMEST_C:
            fahrenheit = _("That looks like degrees Fahrenheit. Give degrees Celsius.")
            raise ValidationError(fahrenheit if value <= HOTTEST_AS_F else _("No egg lives at more than 45 °C. Give degrees Celsius."))


class HumidityField(CommaDecimalField):
    """Relative humidity in percent."""

    def __init__(self, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", "autocomplete": "off"})
        limits = {"min_value": 0, "max_value": 100, "max_digits": 4, "decimal_places": 1}
        super().__init__(label=_("Humidity"), required=False, widget=widget, **limits, **kwargs)
        self.unit = "%"
        self.error_messages |= {"invalid": _("Give percent of relative humidity, for example 80.")}

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.strip().removesuffix("%") if isinstance(value, str) else value)


class EggsField(forms.ModelMultipleChoiceField):
    """Eggs of one clutch, ticked by their number."""

    widget = forms.CheckboxSelectMultiple(attrs={"class": "choices"})

    def label_from_instance(self, egg: Egg) -> str:
        return f"{egg.number}: {state_line(egg)}"


def whole_field(label: Any, least: int, most: int, **kwargs: Any) -> forms.IntegerField:
    sentences = {"required": _("Give a whole number."), "invalid": _("Give a whole number.")}
    widget = forms.NumberInput(attrs={"class": "w-6"})
    return forms.IntegerField(label=label, min_value=least, max_value=most, widget=widget, error_messages=sentences, **kwargs)


class BeginForm(forms.Form):
    """What is known before eggs are laid; all of it may be left out if they lie there already."""

    imaged_on = day_field(_("Eggs seen on an image of"), required=False)
    imaged_eggs = whole_field(_("Eggs on the image"), 1, MOST_EGGS, required=False)
    is_way_clear = forms.BooleanField(label=_("A vet saw that nothing blocks the way"), required=False)
    note = words_field(_("Note"), 250)


class EditClutchForm(BeginForm):
    is_top_marked = forms.BooleanField(label=_("The top of each egg is marked"), required=False)
    own_days_least = whole_field(_("Hatches from day"), 5, 500, required=False, help_text=_("Counted from laying."))
    own_days_most = whole_field(_("Until day"), 5, 500, required=False)
    own_days_source = words_field(
        _("Where these days are from"), 250, help_text=_("A book, or your own earlier clutches. Without published figures only.")
    )
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class InduceForm(forms.Form):
    order = forms.ModelChoiceField(
        queryset=None, label=_("Order"), empty_label=_("Choose"), error_messages={"required": _("Choose the order.")}
    )

    def __init__(self, *args: Any, clutch: Clutch, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["order"]
        field.queryset = orders_to_tie(clutch)
        field.label_from_instance = lambda order: f"{order.drug}, {order.first_dose_at:%Y-%m-%d}"


class LayForm(forms.Form):
    laid_from = moment_field(_("First egg laid"), initial=now)
    laid_until = moment_field(_("Last egg laid"), required=False)
    eggs = whole_field(_("Eggs"), 1, MOST_EGGS)
    is_top_marked = forms.BooleanField(label=_("The top of each egg is marked"), required=False)
    incubator = forms.ModelChoiceField(queryset=None, label=_("Into the incubator"), required=False, empty_label=_("Not yet"))
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, incubators: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["incubator"].queryset = incubators


class MoveForm(forms.Form):
    incubator = forms.ModelChoiceField(
        queryset=None, label=_("Into the incubator"), empty_label=_("Choose"), error_messages={"required": _("Choose the incubator.")}
    )
    since = moment_field(_("Since"), initial=now)

    def __init__(self, *args: Any, incubators: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["incubator"].queryset = incubators


class EachEggForm(forms.Form):
    """A form with one field for each egg that has neither hatched nor been lost; what was said comes together, by the id of the egg."""

    together = ""

    def __init__(self, *args: Any, eggs: list[Egg], **kwargs: Any):
        super().__init__(*args, **kwargs)
        for egg in eggs:
            self.fields[f"egg_{egg.pk}"] = field = self.field_of(egg, _("Egg %(number)d") % {"number": egg.number})
            field.says_optional = True

    def field_of(self, egg: Egg, label: str) -> forms.Field:
        raise NotImplementedError

    def clean(self) -> dict:
        data = super().clean()
        each = {name: value for name, value in data.items() if name.startswith("egg_")}
        said = {int(name.removeprefix("egg_")): value for name, value in each.items() if value}
        return {name: value for name, value in data.items() if name not in each} | {self.together: said}


class CandleForm(EachEggForm):
    candled_on = day_field(_("Candled on"), initial=today)
    note = words_field(_("Note"), 250)
    together = "seen"

    def field_of(self, egg: Egg, label: str) -> forms.Field:
        return forms.ChoiceField(label=label, required=False, choices=[("", _("not looked at")), *CandledEgg.Seen.choices])


def egg_weight_field(**kwargs: Any) -> WeightField:
    return WeightField(required=False, min_value=Decimal("0.01"), max_digits=7, decimal_places=2, **kwargs)


class WeighEggsForm(EachEggForm):
    weighed_on = day_field(_("Weighed on"), initial=today)
    dish_g = egg_weight_field(label=_("Dish on the scale"), help_text=_("What the empty dish weighs; it is taken off each egg."))
    together = "weights"

    def field_of(self, egg: Egg, label: str) -> forms.Field:
        return egg_weight_field(label=label)


class LoseForm(forms.Form):
    eggs = EggsField(None, label=_("Which eggs?"), error_messages={"required": _("Tick at least one egg.")})
    ended_on = day_field(_("Day"), initial=today)
    loss = forms.ChoiceField(label=_("Why?"), choices=[("", _("Choose")), *Egg.Loss.choices], error_messages={"required": _("Choose why.")})
    loss_note = words_field(_("Note"), 250)

    def __init__(self, *args: Any, clutch: Clutch, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["eggs"].queryset = clutch.eggs.filter(end="")


class HatchForm(forms.Form):
    eggs = EggsField(None, label=_("Which eggs?"), error_messages={"required": _("Tick at least one egg.")})
    hatched_at = moment_field(_("Hatched"), initial=now)
    ward = words_field(_("Ward or cage"), 80)
    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)

    def __init__(self, *args: Any, clutch: Clutch, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["eggs"].queryset = clutch.eggs.all() if self.is_bound else clutch.eggs.filter(end="")


class CorrectWeightForm(forms.Form):
    weighed_on = day_field(_("Weighed on"))
    weight_g = egg_weight_field(help_text=_("Leave it empty to take this weight back. The history keeps what was written."))
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class BackForm(forms.Form):
    is_sure = forms.BooleanField(
        label=_("Yes, this was recorded by mistake"), error_messages={"required": _("Tick the box if it was recorded by mistake.")}
    )
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    def clean(self) -> dict:
        return {"seen_version": super().clean().get("seen_version")}


# --- incubators ---------------------------------------------------------------------------------------------------


class IncubatorForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=80, error_messages={"required": _("Give it a name.")})
    target_c = CelsiusField(_("Set to"))
    target_humidity_percent = whole_field(_("Humidity"), 0, 100, required=False)
    alarm_low_c = CelsiusField(_("Alarm below"), required=False, help_text=_("Your own range; nothing is proposed here."))
    alarm_high_c = CelsiusField(_("Alarm above"), required=False)
    alarm_low_humidity_percent = whole_field(_("Humidity alarm below"), 0, 100, required=False)
    alarm_high_humidity_percent = whole_field(_("Humidity alarm above"), 0, 100, required=False)
    silent_hours = whole_field(_("Longest silence of the log"), 1, 168, initial=24)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name in ("target_humidity_percent", "alarm_low_humidity_percent", "alarm_high_humidity_percent"):
            self.fields[name].unit = "%"
        self.fields["silent_hours"].unit = _("hours")


class EditIncubatorForm(IncubatorForm):
    is_in_use = forms.BooleanField(label=_("In use"), required=False)
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class ReadingForm(forms.Form):
    read_at = moment_field(_("Read at"), initial=now)
    temperature_c = CelsiusField(_("Temperature"), places=2)
    humidity_percent = HumidityField()


class SetAsideForm(forms.Form):
    reason = words_field(_("Why does it not count?"), 250, required=True, error_messages={"required": _("Say why it does not count.")})


class LogFileForm(forms.Form):
    """A logger's file, or its rows pasted. After validation `text` holds the rows."""

    file = forms.FileField(
        label=_("File of the logger (CSV)"), required=False, help_text=_("At most 1 MB. Columns: time, temperature; humidity too.")
    )
    pasted = forms.CharField(label=_("Or paste its rows"), required=False, widget=forms.Textarea(attrs={"rows": 6}), strip=False)

    def clean(self) -> dict:
        data = super().clean()
        file = data.get("file")
        if (file and file.size > MOST_BYTES) or len(data.get("pasted", "")) > MOST_BYTES:
            raise ValidationError(_("This is more than 1 MB. Take fewer weeks at a time."))
        self.text = _decoded(file.read()) if file else data.get("pasted", "")
        if not self.text.strip():
            self.add_error("file", _("Choose the file, or paste its rows."))
        return data


def _decoded(raw: bytes) -> str:
    """Text of a file that may come from any spreadsheet."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def as_stored(row: Clutch | Incubator, form: type[forms.Form]) -> dict[str, Any]:
    """A row's values for its form."""
    return {name: getattr(row, name) for name in form.base_fields if hasattr(row, name)} | {"seen_version": row.version}

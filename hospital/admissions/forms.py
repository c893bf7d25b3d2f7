"""Forms about patients."""

from __future__ import annotations

import re
import uuid
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.http import QueryDict
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.models import Cause, Identification, LifeStage, Patient, Sex, Species, TaxonGroup, Triage
from hospital.admissions.queries import Twin, possible_twins, species_matching
from hospital.clock import today
from hospital.pictures import PhotoField
from hospital.rules import casenumbers
from hospital.rules.geo import parse_coordinates
from hospital.sites.models import Hospital


def words_field(label: Any, most: int, *, rows: int = 0, **kwargs: Any) -> forms.CharField:
    """Free words that may be left out."""
    widget = forms.Textarea(attrs={"rows": rows}) if rows else forms.TextInput()
    return forms.CharField(**{"label": label, "max_length": most, "required": False, "widget": widget, **kwargs})


def moment_field(label: Any, **kwargs: Any) -> forms.DateTimeField:
    """A day and a time of the hospital's clock."""
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    sentences = {
        "required": _("Give the day and time."),
        "invalid": _("Give day and time, for example 2027-01-25 14:30."),
    }
    return forms.DateTimeField(label=label, widget=widget, error_messages=sentences, **kwargs)


class WithdrawForm(forms.Form):
    """Why a record is withdrawn, and under which animal it should have been recorded. `patients`: those it may belong to."""

    why = forms.CharField(label=_("Why"), max_length=160, error_messages={"required": _("Say why it is withdrawn.")})
    to = forms.CharField(
        label=_("It belongs to another animal: its case number"), max_length=20, required=False,
        widget=forms.TextInput(attrs={"class": "w-10", "autocomplete": "off", "autocapitalize": "characters"}),
        help_text=_("It is recorded there with everything that was found. Left empty, it is only withdrawn."),
    )  # fmt: skip

    def __init__(self, *args: Any, patients: QuerySet, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.patients = patients

    def clean_to(self) -> Patient | None:
        typed = self.cleaned_data["to"].strip()
        if not typed:
            return None
        try:
            number = casenumbers.case_number(casenumbers.sequence_of(typed))
        except ValueError as wrong:
            raise ValidationError(str(wrong)) from None
        found = self.patients.filter(case_number=number).first()
        if found is None:
            raise ValidationError(_("This hospital has no animal of the number %(number)s.") % {"number": number})
        return found


def finder_fields() -> dict[str, forms.Field]:
    """Name and ways to reach whoever found the animal; for the hospital's staff only."""
    off = {"autocomplete": "off"}  # the browser would offer the staff's own
    return {
        "name": words_field(_("Finder's name"), 120, widget=forms.TextInput(attrs=off)),
        "phone": words_field(_("Finder's phone"), 40, widget=forms.TelInput(attrs=off)),
        "email": forms.EmailField(
            label=_("Finder's e-mail"),
            required=False,
            widget=forms.EmailInput(attrs=off),
            error_messages={"invalid": _("Give an e-mail address such as name@example.org, or leave it empty.")},
        ),
        "wants_news": forms.BooleanField(label=_("Wants to hear how it went"), required=False),
    }


class WeightField(forms.DecimalField):
    """Grams. A space, a comma for a point, and the unit behind the number are understood."""

    unit = "g"

    def __init__(self, **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", "autocomplete": "off"})
        defaults = {
            "label": _("Weight"),
            "min_value": Decimal("0.1"),
            "max_value": Decimal("1000000"),
            "widget": widget,
        }
        super().__init__(**{**defaults, "max_digits": 9, "decimal_places": 1, **kwargs})
        self.error_messages["invalid"] = _("Give the weight in grams as a number, for example 812 or 23.5.")
        self.error_messages["required"] = _("Give the weight in grams.")

    def to_python(self, value: Any) -> Decimal | None:
        if isinstance(value, str):
            value = re.sub(r"\s", "", value).removesuffix("g").replace(",", ".")
            if value.endswith("k"):
                raise ValidationError(_("Give the weight in grams: one kilogram is 1000 g."))
        return super().to_python(value)


def degrees_field(label: Any, hint: Any) -> forms.CharField:
    """Degrees as text: decimal, or with minutes and seconds; read together with its other half."""
    return words_field(
        label, 60, help_text=hint, widget=forms.TextInput(attrs={"class": "w-10", "autocomplete": "off"})
    )


def _with_point(text: str) -> str:
    """A decimal comma, where there is but one number, as a point."""
    return text.replace(",", ".") if re.fullmatch(r"\s*[+-−]?\d+,\d+\s*", text) else text


class AnimalForm(forms.Form):
    """What is known of an animal: the same fields when it comes in and when they are corrected."""

    species_words = words_field(
        _("Search the species"), 80, help_text=_("Part of its common, other or scientific name.")
    )
    species = forms.ModelChoiceField(Species.objects.select_related("group"), label=_("Species"), required=False)
    cause = forms.ModelChoiceField(
        Cause.objects.all(), label=_("Why it needs help"), required=False, empty_label=_("Not known yet")
    )
    circumstances = words_field(_("What happened"), 4000, rows=3)
    found_on = day_field(_("Found on"), required=False)
    found_place = words_field(
        _("Where found, in words"), 250, help_text=_("So that it can go back there: road, bank, nearest house.")
    )
    found_latitude = degrees_field(_("Latitude"), _("54.5083 or 54°30′30″N. Both may be pasted here."))
    found_longitude = degrees_field(_("Longitude"), _("3.2 or 3°12′E."))
    found_uncertainty_m = forms.IntegerField(
        label=_("How exact is the place"),
        required=False,
        min_value=1,
        max_value=100_000,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "class": "w-6"}),
        error_messages={"invalid": _("Give whole metres, for example 50.")},
        help_text=_("It lies within so many metres of the point."),
    )
    sex = forms.ChoiceField(label=_("Sex"), choices=Sex, initial=Sex.UNKNOWN)
    life_stage = forms.ChoiceField(label=_("Life stage"), choices=LifeStage, initial=LifeStage.UNKNOWN)
    is_gravid = forms.BooleanField(label=_("Gravid or pregnant"), required=False)
    triage = forms.ChoiceField(
        label=_("How urgent"),
        choices=Triage,
        initial=Triage.TODAY,
        widget=forms.RadioSelect(attrs={"class": "choices"}),
    )
    triage_note = words_field(_("What is wrong, in a line"), 250)
    is_biosecurity_risk = forms.BooleanField(label=_("Keep apart from other animals"), required=False)
    is_zoonosis_risk = forms.BooleanField(
        label=_("May be catching for people"),
        required=False,
        help_text=_("Gloves and mask from now on. Every page of this animal says so."),
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["found_uncertainty_m"].unit = "m"
        self.fields["species_words"].says_optional = True  # the species is not, and these words may stand for it
        self.fields["species_words"].widget.attrs |= {
            "autocomplete": "off",
            "hx-get": reverse("admissions:species"),
            "hx-trigger": "input changed delay:250ms",
            "hx-include": "#species-choices",
            "hx-target": "#species-choices",
            "hx-swap": "outerHTML",
            "hx-indicator": "#species-busy",
        }
        self.fields["cause"].widget.attrs |= {
            "hx-get": reverse("admissions:cautions"),
            "hx-trigger": "change",
            "hx-target": "#cause-caution",
            "hx-swap": "outerHTML",
        }

    def chosen_cause(self) -> Cause | None:
        value = self["cause"].value()
        return value if isinstance(value, Cause) else Cause.objects.filter(slug=value or "").first()

    def species_choices(self) -> list[Species]:
        """The species to choose from: the chosen one first, then those that the words find."""
        chosen = Species.objects.filter(pk=self.chosen_species_id()).first()
        found = species_matching(str(self["species_words"].value() or ""))
        return ([chosen] if chosen else []) + [species for species in found if species != chosen]

    def chosen_species_id(self) -> int:
        value = self["species"].value()
        value = getattr(value, "pk", value)
        return int(value) if str(value or "").isdecimal() and len(str(value)) < 19 else 0

    def clean(self) -> dict:
        data = super().clean()
        if "species" in data and not data["species"]:
            data["species"] = self._only_species(data.get("species_words", ""))
        data.pop("species_words", None)
        self._read_place(data)
        if data.get("found_on") and data["found_on"] > today():
            self.add_error("found_on", _("This day is in the future. Give the day on which it was found."))
        return data

    def _read_place(self, data: dict) -> None:
        """Turn what was typed into degrees; both may stand in the first box."""
        latitude, longitude = (data.get(f"found_{axis}", "").strip() for axis in ("latitude", "longitude"))
        data["found_latitude"] = data["found_longitude"] = None
        if not latitude and not longitude:
            return
        if not latitude or (not longitude and not re.search(r"\d\D*[\s,;]\D*\d", latitude)):
            missing = "found_longitude" if latitude else "found_latitude"
            return self.add_error(missing, _("A place needs both latitude and longitude."))
        try:
            found = parse_coordinates("; ".join(_with_point(text) for text in (latitude, longitude) if text))
        except ValueError as mistake:
            return self.add_error("found_latitude", str(mistake))
        data["found_latitude"], data["found_longitude"] = (round(degrees, 6) for degrees in found)

    def _only_species(self, words: str) -> Species | None:
        """The one species that the words find; words that find several, or none, are not enough."""
        found = species_matching(words)
        if len(found) == 1:
            return found[0]
        if not words.strip():
            self.add_error("species", _("Search the species and choose it from the list."))
        elif found:
            self.add_error("species", _("Choose the species from the list below the search."))
        else:
            self.add_error("species", _("No species has these words in its names. Try fewer letters."))
        return None


class AdmitForm(AnimalForm):
    """A new animal. `cleaned_data` is grouped as the action takes it."""

    key = forms.UUIDField(widget=forms.HiddenInput, required=False)
    weight_g = WeightField(required=False)
    mark_kind = forms.ChoiceField(
        label=_("Kind of mark"), required=False, choices=[("", _("No mark")), *Identification.Kind.choices]
    )
    mark_value = words_field(_("Number or pattern"), 60)
    photo = PhotoField(required=False)
    ward = words_field(_("Ward or cage"), 80)
    is_another_animal = forms.BooleanField(label=_("No, it is another animal"), required=False)

    def __init__(self, *args: Any, hospital: Hospital, like: Patient | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.hospital, self.like = hospital, like
        self.twins: list[Twin] = []
        if not self._finder_known():  # else the same finder brings several, and is not asked for again
            self.fields |= {f"finder_{name}": field for name, field in finder_fields().items()}

    def _finder_known(self) -> bool:
        return bool(self.like and self.like.finder_id)

    def clean(self) -> dict:
        data = super().clean()
        if data.get("mark_value") and not data.get("mark_kind"):
            self.add_error("mark_kind", _("Say what kind of mark this is."))
        if data.get("mark_kind") and not data.get("mark_value"):
            self.add_error("mark_value", _("Write the number or pattern of the mark."))
        self._ask_about_twins(data)
        return self._grouped(data)

    def _ask_about_twins(self, data: dict) -> None:
        self.twins = possible_twins(
            self.hospital,
            mark=data.get("mark_value", ""),
            finder_name=data.get("finder_name", ""),
            finder_phone=data.get("finder_phone", ""),
            on=today(self.hospital.zone),
        )
        if self.twins and not data.get("is_another_animal"):
            self.add_error("is_another_animal", _("Look at the animals named here. If it is another one, say so."))

    def _grouped(self, data: dict) -> dict:
        finder = {name.removeprefix("finder_"): data.pop(name) for name in list(data) if name.startswith("finder_")}
        data.pop("is_another_animal", None)
        kind, value = data.pop("mark_kind", ""), data.pop("mark_value", "")
        apart = {name: data.pop(name, None) for name in ("key", "weight_g", "photo")}
        return {
            **apart,
            "ward": data.pop("ward", ""),
            "finder": self.like.finder if self._finder_known() else finder if any(finder.values()) else None,
            "mark": (kind, value) if kind and value else None,
            "animal": data,
        }


def as_typed(data: QueryDict) -> dict:
    """What was typed, as `initial` for a fresh form: nothing checked, nothing lost."""
    typed = data.dict()
    boxes = [name for name, field in AdmitForm.base_fields.items() if isinstance(field, forms.BooleanField)]
    return {**{name: name in data for name in boxes}, **typed}


def fresh(like: Patient | None) -> dict:
    """What a new admission begins with; `like` is an animal that came from the same place."""
    start = {"key": uuid.uuid4(), "found_on": today()}
    if like:
        same = ("species", "cause", "circumstances", "found_on", "found_place", "found_latitude", "found_longitude")
        start |= {name: getattr(like, name) for name in (*same, "found_uncertainty_m", "life_stage")}
    return start


class PatientForm(AnimalForm):
    """Corrections of what is known of an animal."""

    name = words_field(_("Called"), 60, help_text=_("A name for the cage door, if the hospital gives names."))
    admitted_at = moment_field(_("Admitted at"))
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class FinderForm(forms.Form):
    """Who found it; `seen_version` 0 means that nobody was known when the form was opened."""

    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields |= finder_fields()


class WeighForm(forms.Form):
    weight_g = WeightField()
    weighed_at = moment_field(_("Weighed at"), required=False, help_text=_("Left empty, it is now."))
    note = words_field(_("Note"), 120)
    is_sure = forms.BooleanField(label=_("Weighed again: this weight is right"), required=False)


class PhotoForm(forms.Form):
    photo = PhotoField()
    caption = words_field(_("What it shows"), 160)


class MarkForm(forms.Form):
    kind = forms.ChoiceField(label=_("Kind of mark"), choices=Identification.Kind)
    value = forms.CharField(
        label=_("Number or pattern"), max_length=60, error_messages={"required": _("Write the number or pattern.")}
    )


class SpeciesForm(forms.Form):
    """A species that the shipped list lacks."""

    common_name = forms.CharField(
        label=_("Common name"), max_length=120, error_messages={"required": _("Write the common name.")}
    )
    scientific_name = forms.CharField(
        label=_("Scientific name"), max_length=120, error_messages={"required": _("Write the scientific name.")}
    )
    group = forms.ModelChoiceField(
        TaxonGroup.objects.order_by("name"),
        label=_("Group"),
        help_text=_("It decides which protocols apply."),
        error_messages={"required": _("Choose the group.")},
    )
    is_dangerous = forms.BooleanField(label=_("Dangerous to handle"), required=False)
    danger_note = words_field(_("What to beware of"), 160)
    is_aquatic = forms.BooleanField(label=_("Lives in water"), required=False)
    sensitivity = forms.TypedChoiceField(
        label=_("How far its places are hidden in exports"),
        required=False,
        coerce=int,
        empty_value=None,
        choices=[
            ("", _("Not decided")),
            (0, _("Not hidden")),
            (1, _("No place at all")),
            (2, _("About 7 km")),
            (3, _("About 700 m")),
            (4, _("About 70 m")),
        ],
    )


class EditSpeciesForm(SpeciesForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class FindForm(forms.Form):
    """The list's search and filter."""

    words = words_field(_("Number, name, species, place or mark"), 80)
    where = forms.ChoiceField(label=_("Where it is"), required=False)
    order = forms.ChoiceField(
        label=_("Order"),
        required=False,
        choices=[
            ("", _("Newest first")),
            ("oldest", _("Oldest first")),
            ("species", _("By species")),
            ("urgent", _("Most urgent first")),
        ],
    )

    def __init__(self, data: QueryDict, *, carers: list):
        super().__init__(data)
        one_by_one = [(f"carer-{carer.pk}", str(carer)) for carer in carers]
        places = [("", _("Everywhere")), ("ward", _("In the hospital")), ("carers", _("With a carer"))]
        self.fields["where"].choices = [*places, *one_by_one]
        self.is_filter = True

"""Forms for what is seen when an animal is looked at."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.forms import WeightField
from hospital.admissions.models import Patient
from hospital.admissions.weighing import called_as_typed
from hospital.clock import today
from hospital.examinations.models import Examination, Problem, WoundMark
from hospital.examinations.vocabulary import PLACES, REGIONS, VIEWS, VIEWS_OF, scale_for, scale_named, systems_of
from hospital.examinations.wording import source_words
from hospital.procedures.queries import bandages_on, closures_in, implants_in
from hospital.procedures.vocabulary import AT_RECHECK, IN_WATER, event_name
from hospital.procedures.wording import bandage_line, closure_line, implant_line

LEFT, CHANGED, OFF = "", "changed", "off"
SAY_OPTIONAL = ("findings", "advice", "problems")
DRAWING_PX = 300  # the side of a drawing on the page: where it is touched comes in pixels of it
PROBLEM_MOST = 120


NOT_LOOKED, NORMAL, ODD = "", "normal", "odd"
LOOKED = [(NOT_LOOKED, _("Not looked at")), (NORMAL, _("Normal")), (ODD, _("Not normal"))]


class SeenForm(forms.ModelForm):
    """The findings that every examination has, fitted to the body of the animal."""

    examined_on = day_field(_("Examined on"), initial=today)

    class Meta:
        model = Examination
        fields = [
            "kind", "examined_on", "wound", "mentation", "hydration", "temperature_c", "heart_rate_per_min", "breaths_per_min",
            "condition_score", "body_condition", "findings", "advice", "prognosis", "decision", "decision_reason",
        ]  # fmt: skip
        widgets = {
            "wound": forms.RadioSelect(attrs={"class": "choices cards"}),
            "mentation": forms.RadioSelect(attrs={"class": "choices inline"}),
            "hydration": forms.RadioSelect(attrs={"class": "choices inline"}),
            "prognosis": forms.RadioSelect(attrs={"class": "choices inline"}),
            "decision": forms.RadioSelect(attrs={"class": "choices inline"}),
            "temperature_c": forms.TextInput(attrs={"inputmode": "decimal", "class": "w-4", "autocomplete": "off"}),
            "heart_rate_per_min": forms.TextInput(attrs={"inputmode": "numeric", "class": "w-4", "autocomplete": "off"}),
            "breaths_per_min": forms.TextInput(attrs={"inputmode": "numeric", "class": "w-4", "autocomplete": "off"}),
            "findings": forms.Textarea(attrs={"rows": 3}),
            "advice": forms.Textarea(attrs={"rows": 3}),
        }
        help_texts = {
            "hydration": _("By eyes, mouth and skin; the skin of reptiles and birds says little. Common practice, no source."),
            "body_condition": _("In words, if there is more to say than the score."),
            "advice": _("In plain words. It goes into the carer's pack."),
            "decision_reason": _("Needed for euthanasia and transfer; the page of the outcome comes next."),
        }

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any):
        super().__init__(*args, **kwargs)
        group = patient.species.group
        self.systems = systems_of(group.body_plan)
        self.scale = scale_named(self.instance.condition_scale) or scale_for(group.lineage())
        self._set_up_scale()
        for name in ("temperature_c", "heart_rate_per_min", "breaths_per_min"):
            self.fields[name].unit = "°C" if name == "temperature_c" else _("a minute")
            self.fields[name].error_messages["invalid"] = _("Write a number, for example 38.5.")
        for name in ("mentation", "hydration", "prognosis", "decision"):
            self.fields[name].choices = [each for each in self.fields[name].choices if each[0]]
        for slug, label in self.systems.items():
            self._add_system(slug, label)
        for name, field in self.fields.items():
            field.says_optional = name not in SAY_OPTIONAL  # nearly all may stay empty: the page's head says it

    def _set_up_scale(self) -> None:
        scale, field = self.scale, self.fields["condition_score"]
        scores = [("", _("Not scored")), *((n, str(n)) for n in range(scale.low, scale.high + 1))]
        source = source_words(scale.source, scale.how_known)
        words = _("%(meaning)s. Source: %(source)s.") % {"meaning": scale.meaning, "source": source}
        self.fields["condition_score"] = forms.TypedChoiceField(
            label=_("Body condition, %s") % scale.name, choices=scores, coerce=int, empty_value=None, required=field.required,
            help_text=words, widget=forms.Select(attrs={"class": "w-6"}), initial=field.initial,
        )  # fmt: skip

    def _add_system(self, slug: str, label: Any) -> None:
        said = self.instance.systems.get(slug)
        look = forms.RadioSelect(attrs={"class": "choices inline"})
        start = NOT_LOOKED if said is None else ODD if said else NORMAL
        self.fields[f"system_{slug}"] = forms.ChoiceField(label=label, choices=LOOKED, required=False, widget=look, initial=start)
        words = forms.TextInput(attrs={"autocomplete": "off"})
        name = _("%s: what is not normal") % label
        self.fields[f"odd_{slug}"] = forms.CharField(label=name, max_length=250, required=False, widget=words, initial=said or "")

    def system_rows(self) -> list[tuple[Any, forms.BoundField, forms.BoundField]]:
        return [(label, self[f"system_{slug}"], self[f"odd_{slug}"]) for slug, label in self.systems.items()]

    def clean(self) -> dict:
        data = super().clean()
        rest = data.pop("rest_is_normal", False)
        looked = {slug: self._looked_at(slug, data, rest) for slug in self.systems}
        data["systems"] = {slug: words for slug, words in looked.items() if words is not None}
        data["condition_scale"] = self.scale.slug if data.get("condition_score") is not None else ""
        if data.get("decision") in (Examination.Decision.EUTHANASE, Examination.Decision.TRANSFER) and not data.get("decision_reason"):
            self.add_error("decision_reason", _("Say why: the next reader must be able to follow the decision."))
        return data

    def _looked_at(self, slug: str, data: dict, rest: bool) -> str | None:
        """None: not looked at; "" for normal; or what is not normal. Words alone say that it is not normal."""
        looked, words = data.pop(f"system_{slug}", ""), data.pop(f"odd_{slug}", "").strip()
        if looked == NORMAL and words:
            self.add_error(f"odd_{slug}", _("Normal is ticked and something is written. Choose “Not normal”, or take the words away."))
        if looked == ODD and not words:
            self.add_error(f"odd_{slug}", _("Write what is not normal."))
        if words:
            return words
        return "" if looked == NORMAL or (rest and not looked) else None


class WeighedForm(SeenForm):
    """An examination at which the animal may have been weighed."""

    weight_g = WeightField(required=False)
    is_sure = forms.BooleanField(label=_("Weighed again: this weight is right"), required=False)
    rest_is_normal = forms.BooleanField(label=_("All that is not marked was looked at and is normal"), required=False)
    problems = forms.CharField(
        label=_("New problems or diagnoses"), required=False, max_length=600, widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("One a line. They stand at the head of the chart until they are closed."),
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["weight_g"].widget.attrs |= called_as_typed(kwargs["patient"], "examined_on")
        self.initial["wound"] = None  # somebody has to look and say
        self.fields["wound"].error_messages["required"] = _("Say how the wound is, or that there is none.")

    def asks_to_be_sure(self) -> bool:
        """Whether the weight was refused as unlikely, so that the box to confirm it is shown."""
        return self.is_bound and ("weight_g" in self.errors or bool(self["is_sure"].value()))

    def clean_problems(self) -> list[str]:
        lines = [line.strip() for line in self.cleaned_data["problems"].splitlines() if line.strip()]
        if any(len(line) > PROBLEM_MOST for line in lines):
            raise forms.ValidationError(_("A problem has at most %d characters. Write the rest among the findings.") % PROBLEM_MOST)
        return lines


class ExaminationForm(WeighedForm):
    pass


class EditExaminationForm(SeenForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class MarkForm(forms.Form):
    """A mark on the drawing: where it was touched (`top.x`, `top.y`), or a named place."""

    kind = forms.ChoiceField(
        label=_("What"), choices=WoundMark.Kind.choices, initial=WoundMark.Kind.WOUND,
        widget=forms.RadioSelect(attrs={"class": "choices inline"}),
    )  # fmt: skip
    words = forms.CharField(
        label=_("Size and look"), max_length=160, required=False, help_text=_("For example 12 mm long, clean edges.")
    )
    place = forms.ChoiceField(label=_("Or choose the place"), required=False)

    def __init__(self, *args: Any, body_plan: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.body_plan = body_plan
        views = VIEWS_OF.get(body_plan, ())
        named = [
            (VIEWS[view], [(f"{view}:{key}", PLACES[key]) for key in REGIONS[body_plan, view]]) for view in views
        ]
        self.fields["place"].choices = [("", _("Touch the drawing")), *named]
        self.fields["place"].error_messages["invalid_choice"] = _("Choose a place of the list.")

    def clean(self) -> dict:
        data = super().clean()
        point = self._touched() or self._named(data.pop("place", ""))
        data.pop("place", None)
        if not self.errors and point is None:
            raise forms.ValidationError(_("Touch the drawing where the wound is, or choose the place from the list."))
        return data | dict(zip(("view", "x", "y"), point or (), strict=False))

    def _touched(self) -> tuple[str, int, int] | None:
        """A picture that is a button sends where it was touched, in pixels. The keyboard sends 0, 0: no place."""
        for view in VIEWS_OF.get(self.body_plan, ()):
            pixels = [self.data.get(f"{view}.{axis}", "") for axis in "xy"]
            if all(each.isdecimal() and len(each) < 5 for each in pixels) and pixels != ["0", "0"]:
                x, y = (min(1000, round(int(each) * 1000 / DRAWING_PX)) for each in pixels)
                return view, x, y
        return None

    def _named(self, place: str) -> tuple[str, int, int] | None:
        view, _sep, key = place.partition(":")
        if key not in REGIONS.get((self.body_plan, view), {}):
            return None
        return view, *REGIONS[self.body_plan, view][key]


class ProblemForm(forms.ModelForm):
    found_on = day_field(_("Found on"), initial=today)

    class Meta:
        model = Problem
        fields = ["name", "found_on", "note"]
        error_messages = {"name": {"required": _("Write what is wrong.")}}


class EditProblemForm(ProblemForm):
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class CloseProblemForm(forms.Form):
    closed_on = day_field(_("Closed on"), initial=today)
    close_reason = forms.CharField(
        label=_("Why"), max_length=250, help_text=_("Healed, or found to be something else."),
        error_messages={"required": _("Say why it is closed.")},
    )  # fmt: skip
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


class ThingsField(forms.ModelMultipleChoiceField):
    """Things on or in the animal, each with a box; one that somebody else took out meanwhile says so."""

    def __init__(self, queryset: Any, line: Any, **kwargs: Any):
        gone = _("One of these was recorded as out by somebody else meanwhile. Look at the list again.")
        widget = forms.CheckboxSelectMultiple(attrs={"class": "choices"})
        super().__init__(queryset, required=False, widget=widget, **kwargs)
        self.error_messages |= {"invalid_choice": gone, "invalid_pk_value": gone}
        self.line = line

    def label_from_instance(self, thing: Any) -> str:
        return self.line(thing)


class RecheckForm(WeighedForm):
    """A recheck: what was seen, and what was done at it. `cleaned_data` is what `record_recheck` takes."""

    class Meta(SeenForm.Meta):
        fields = [name for name in SeenForm.Meta.fields if name != "kind"]

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any):
        super().__init__(*args, patient=patient, **kwargs)
        self.closures, self.implants = closures_in(patient), implants_in(patient)
        self.bandages = list(bandages_on(patient))
        self.fields["closures_out"] = ThingsField(self.closures, closure_line, label=_("Sutures or staples taken out"))
        for bandage in self.bandages:
            self.fields[f"bandage_{bandage.pk}"] = _bandage_field(bandage_line(bandage))
        out = _("Implants, drains or tubes taken out")
        self.fields["implants_out"] = ThingsField(self.implants, implant_line, label=out)
        self.fields["milestones"] = forms.MultipleChoiceField(
            label=_("Steps allowed, done or passed"),
            required=False,
            choices=[(event, event_name(event)) for event in steps_of(patient)],
            widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
        )

        for name in self.fields:
            if name.startswith(("bandage_", "closures_", "implants_", "milestones")):
                self.fields[name].says_optional = True  # an empty box says it

    def bandage_fields(self) -> list[forms.BoundField]:
        return [self[f"bandage_{bandage.pk}"] for bandage in self.bandages]

    def clean(self) -> dict:
        data = super().clean()
        done = {bandage: data.pop(f"bandage_{bandage.pk}", LEFT) for bandage in self.bandages}
        data["bandages_changed"] = [bandage for bandage, what in done.items() if what == CHANGED]
        data["bandages_off"] = [bandage for bandage, what in done.items() if what == OFF]
        return data


def steps_of(patient: Patient) -> list[str]:
    """The steps that a recheck may tick: those in water only for a species that lives there."""
    return [event for event in AT_RECHECK if patient.species.is_aquatic or event not in IN_WATER]


def _bandage_field(line: str) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=line,
        required=False,
        widget=forms.RadioSelect(attrs={"class": "choices inline"}),
        choices=[(LEFT, _("Left as it is")), (CHANGED, _("Looked at or changed")), (OFF, _("Off for good"))],
    )

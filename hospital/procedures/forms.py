"""Forms for what is done to an animal: one page for an operation, small ones for what follows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.urls import reverse
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.models import Patient
from hospital.clock import today
from hospital.procedures.actions import refuse_removal
from hospital.procedures.models import LAYERS, Bandage, Closure, Implant, Procedure
from hospital.procedures.queries import clinical_staff
from hospital.procedures.vocabulary import USUALLY_LEAVES, Term, choices, event_name, milestones, vocabulary

CHOOSE = _("Choose")
NO_BANDAGE = {"required": _("Choose the kind of bandage.")}
NO_BANDAGE_SITE = {"required": _("Say where the bandage is.")}
AS_USUAL = _("As usual for this kind")


class RowForm(forms.Form):
    """One closure, bandage or implant. An empty row counts for nothing."""

    row_id = forms.IntegerField(required=False, widget=forms.HiddenInput)
    seen_version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        if not self["row_id"].value():
            del self.fields["removed_on"], self.fields["is_mistake"]


def _off_fields(off: str) -> tuple[forms.DateField, forms.BooleanField]:
    return day_field(off, required=False), forms.BooleanField(label=_("Written by mistake: remove it"), required=False)


def _layer(name: str) -> forms.CharField:
    """What one layer of a bandage is made of, by the words of its column."""
    column = Bandage._meta.get_field(name)
    return forms.CharField(label=capfirst(column.verbose_name), max_length=column.max_length, required=False)


class ClosureRow(RowForm):
    site = forms.CharField(
        label=_("Wound"),
        max_length=120,
        help_text=_("Where, and how long."),
        error_messages={"required": _("Say where the closed wound is.")},
    )
    pattern = forms.ChoiceField(label=_("Pattern"), required=False)
    material = forms.ChoiceField(
        label=_("Material"), error_messages={"required": _("Choose what the wound was closed with.")}
    )
    count = forms.IntegerField(
        label=_("How many"), required=False, min_value=1, max_value=500, help_text=_("So that none stays in.")
    )
    removed_on, is_mistake = _off_fields(_("Out on"))

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["pattern"].choices = choices(vocabulary().patterns, CHOOSE)
        self.fields["material"].choices = choices(vocabulary().materials, CHOOSE)


class BandageRow(RowForm):
    kind = forms.ChoiceField(label=_("Kind"), error_messages=NO_BANDAGE)
    site = forms.CharField(label=_("Where"), max_length=120, error_messages=NO_BANDAGE_SITE)
    contact, padding, conforming, stiffening, outer = (_layer(name) for name in LAYERS)
    removed_on, is_mistake = _off_fields(_("Off on"))

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = choices(vocabulary().bandages, CHOOSE)


class ImplantRow(RowForm):
    kind = forms.ChoiceField(label=_("Kind"), error_messages={"required": _("Choose the kind of implant.")})
    size = forms.CharField(label=_("Size"), max_length=60, required=False)
    site = forms.CharField(
        label=_("Where"), max_length=120, error_messages={"required": _("Say where the implant is.")}
    )
    position = forms.CharField(
        label=_("Position"), max_length=160, required=False,
        help_text=_("Side, level, where it goes in and where it ends, for example: from the elbow, end 3 mm below the skin."),
    )  # fmt: skip
    must_come_out = forms.TypedChoiceField(
        label=_("Before release"),
        required=False,
        empty_value=None,
        coerce=lambda value: value == "yes",
        choices=[("", AS_USUAL), ("yes", _("Must come out")), ("no", _("May stay in"))],
    )
    removed_on, is_mistake = _off_fields(_("Out on"))

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = choices(vocabulary().implants, CHOOSE)

    def clean(self) -> dict:
        """Where the vet leaves it open, what is usual for the kind."""
        data = super().clean()
        if data.get("must_come_out") is None and data.get("kind"):
            data["must_come_out"] = vocabulary().implants[data["kind"]].must_come_out
        return data


class BaseRows(forms.BaseFormSet):
    """Rows that may stay empty, and that grow without losing what was typed: no row counts as an initial one."""

    def initial_form_count(self) -> int:
        return 0

    def written(self) -> list[dict]:
        """The cleaned rows in which something was written."""
        return [form.cleaned_data for form in self.forms if form.has_changed()]


ROWS = {
    "closures": forms.formset_factory(ClosureRow, formset=BaseRows, extra=0, max_num=40, absolute_max=60),
    "bandages": forms.formset_factory(BandageRow, formset=BaseRows, extra=0, max_num=20, absolute_max=40),
    "implants": forms.formset_factory(ImplantRow, formset=BaseRows, extra=0, max_num=20, absolute_max=40),
}
MODELS = {"closures": Closure, "bandages": Bandage, "implants": Implant}
NOTHING_WRITTEN = {
    "closures": _("This usually leaves sutures, staples or glue. Write the closure below, or say that there is none."),
    "bandages": _("This usually leaves a bandage, wrap or splint. Write it below, or say that there is none."),
    "implants": _("This usually leaves an implant, drain or tube. Write it below, or say that there is none."),
}


class ProcedureForm(forms.ModelForm):
    """A procedure with its rows: valid when all of it is, and one `cleaned_data` for one action.

    `initial` may hold a list of plain values for each kind of rows.
    """

    asks_what_it_left = True

    key = forms.UUIDField(widget=forms.HiddenInput, required=False)  # the same form sent twice is stored once
    kind = forms.ChoiceField(label=_("Procedure"), error_messages={"required": _("Choose the procedure.")})
    done_on = day_field(_("Done on"))
    left_nothing = forms.BooleanField(
        label=_("Nothing of the kind stayed on or in the animal"),
        required=False,
        help_text=_("What is not written here is on no plan, and nobody is told to take it out."),
    )

    class Meta:
        model = Procedure
        fields = [
            "kind",
            "done_on",
            "site",
            "indication",
            "anaesthetic",
            "findings",
            "complications",
            "surgeon",
        ]
        widgets = {
            "findings": forms.Textarea(attrs={"rows": 4}),
            "complications": forms.Textarea(attrs={"rows": 2}),
        }
        help_texts = {
            "anaesthetic": _("Agents and route, tube, breathing support, recovery, in a line."),
            "site": _("Side and part of the body, for example left forelimb."),
        }
        error_messages = {"surgeon": {"required": _("Choose who did it.")}}

    def __init__(
        self,
        data: QueryDict | None = None,
        *,
        patient: Patient,
        initial: Mapping | None = None,
        **kwargs: Any,
    ):
        self.patient = patient
        data = data.copy() if data is not None else None  # so that a collision can move the seen versions on
        super().__init__(data, initial=dict(initial or {}), **kwargs)
        self.fields["kind"].choices = choices(vocabulary().procedures, CHOOSE)
        self.fields["kind"].widget.attrs |= {
            "hx-get": reverse("procedures:hint", args=[patient.case_number]),
            "hx-target": "#kind-hint",
            "hx-swap": "outerHTML",
        }
        self.fields["surgeon"].queryset = clinical_staff(patient)
        self.rows = {name: self._rows(name, kind) for name, kind in ROWS.items()}

    def _rows(self, name: str, kind: type[BaseRows]) -> BaseRows:
        if self.is_bound:
            return kind(self.data, prefix=name)
        rows = kind(initial=self.initial.get(name, []), prefix=name)
        rows.extra = len(rows.initial)
        return rows

    def with_mistakes(self) -> list[forms.BaseForm]:
        """Those of this form and its rows that hold mistakes, in the order of the page: for the error summary."""
        return [form for form in (self, *(f for rows in self.rows.values() for f in rows.forms)) if form.errors]

    def chosen_kind(self) -> Term | None:
        """What was chosen so far, for its hint."""
        return vocabulary().procedures.get(self["kind"].value() or "")

    def is_valid(self) -> bool:
        is_right = super().is_valid()  # first, because `clean` puts mistakes at rows
        return all([is_right, *(rows.is_valid() for rows in self.rows.values())])

    def clean(self) -> dict:
        data = super().clean()
        for name, rows in self.rows.items():
            if rows.is_valid() and data.get("done_on"):
                self._check_days(rows, data["done_on"])
            for sentence in rows.non_form_errors():
                self.add_error(None, sentence)
            data[name] = rows.written() if rows.is_valid() else []
        self._ask_what_it_left(data, left_nothing=data.pop("left_nothing", False))
        return data

    def _ask_what_it_left(self, data: dict, *, left_nothing: bool) -> None:
        """A pin that nobody wrote down is a pin that nobody takes out."""
        usual = USUALLY_LEAVES.get(data.get("kind", ""))
        if not self.asks_what_it_left or left_nothing or not usual:
            return
        if self.rows[usual].is_valid() and not data[usual]:
            self.add_error("left_nothing", NOTHING_WRITTEN[usual])

    def asks_if_nothing(self) -> bool:
        """Whether the box for "nothing stayed" is on the page: once it was asked, or while it is ticked."""
        return self.has_error("left_nothing") or bool(self["left_nothing"].value())

    def _check_days(self, rows: BaseRows, done_on: Any) -> None:
        for form in rows.forms:
            try:
                refuse_removal(self.patient, done_on, form.cleaned_data.get("removed_on"))
            except ValidationError as refusal:
                form.add_error(None, refusal)


class EditProcedureForm(ProcedureForm):
    asks_what_it_left = False

    key = None
    seen_version = forms.IntegerField(widget=forms.HiddenInput)


def as_typed(data: QueryDict) -> dict:
    """What was typed into the procedure's page, as `initial` for a fresh form: nothing checked, nothing lost."""
    typed = {name: value for name, value in data.items() if "-" not in name}
    for name, kind in ROWS.items():
        count = row_count(data, name)
        typed[name] = [
            {field: data.get(f"{name}-{i}-{field}", "") for field in kind.form.base_fields} for i in range(count)
        ]
    return typed


def row_count(data: QueryDict, name: str) -> int:
    """How many rows of a kind the page held, within what a page may hold."""
    sent = data.get(f"{name}-TOTAL_FORMS", "")
    return min(int(sent), ROWS[name].max_num) if sent.isdecimal() else 0


def as_stored(procedure: Procedure) -> dict:
    """A recorded procedure's rows as `initial` of its form."""
    stored: dict[str, Any] = {"seen_version": procedure.version}
    for name, kind in ROWS.items():
        stored[name] = [_row_as_stored(row, kind.form) for row in getattr(procedure, name).all()]
    return stored


def _row_as_stored(row: Closure | Bandage | Implant, form: type[RowForm]) -> dict:
    values = {field: getattr(row, field) for field in form.base_fields if hasattr(row, field)}
    if "must_come_out" in values:
        values["must_come_out"] = "yes" if row.must_come_out else "no"
    return values | {"row_id": row.pk, "seen_version": row.version}


class DayOffForm(forms.Form):
    """The day on which something came off or out."""

    removed_on = day_field(_("On which day?"), initial=today)


class BandageChangeForm(forms.Form):
    changed_on = day_field(_("Changed or looked at on"), initial=today)
    note = forms.CharField(label=_("What was seen"), max_length=250, required=False)


class BandageForm(forms.ModelForm):
    kind = forms.ChoiceField(label=_("Kind"), error_messages=NO_BANDAGE)
    applied_on = day_field(_("Put on, on"), initial=today)

    class Meta:
        model = Bandage
        fields = ["kind", "site", *LAYERS, "applied_on"]
        help_texts = {"contact": _("On the skin or the wound. Then the layers from within outwards; empty for none.")}
        error_messages = {"site": NO_BANDAGE_SITE}

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = choices(vocabulary().bandages, CHOOSE)
        self.fields["site"].label = _("Where")


class EditBandageForm(BandageForm):
    removed_on = day_field(_("Off on"), required=False)
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

    class Meta(BandageForm.Meta):
        fields = [*BandageForm.Meta.fields, "removed_on"]


class MilestoneForm(forms.Form):
    event = forms.ChoiceField(label=_("What happened?"), error_messages={"required": _("Choose what happened.")})
    happened_on = day_field(_("On which day?"), initial=today)
    note = forms.CharField(label=_("Note"), max_length=250, required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        groups = {"steps": _("Steps of the plan"), "facts": _("Tests, treatments, eggs"), "case": _("True of the case")}
        named = [(groups[group], [(e, event_name(e)) for e in events]) for group, events in milestones().items()]
        self.fields["event"].choices = [("", CHOOSE), *named]


class TakeBackForm(forms.Form):
    """Asks, and holds nothing."""

    is_sure = forms.BooleanField(
        label=_("Yes, this was recorded by mistake"),
        error_messages={"required": _("Tick the box if it was recorded by mistake.")},
    )

    def clean(self) -> dict:
        super().clean()
        return {}

"""What a line of a set holds, and the form and the action that order it. There is no other way to a dose than the usual one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from copy import deepcopy
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.examinations.actions import record_examination
from hospital.examinations.models import Examination
from hospital.feeding.actions import sign_feeding
from hospital.feeding.forms import FeedingForm
from hospital.feeding.queries import feeding_plans_of
from hospital.feeding.wording import feeding_line, meals
from hospital.medications.actions import order_medication
from hospital.medications.forms import OrderForm
from hospital.medications.queries import recent_weights
from hospital.medications.wording import line as medicine_line
from hospital.medications.wording import tongue
from hospital.ordersets.models import OrderSet, SetLine, What
from hospital.people.models import Person
from hospital.procedures.actions import put_bandage_on, record_milestone
from hospital.procedures.forms import BandageForm, MilestoneForm
from hospital.procedures.models import LAYERS
from hospital.procedures.vocabulary import event_name, name_of, vocabulary
from hospital.procedures.wording import bandage_line, milestone_line
from hospital.rules.wording import ROUTES, Route, Unit, every, quantity

CHOOSES_ITS_LIST = (BandageForm, MilestoneForm)  # their choices are set when they are made


class TellForm(forms.Form):
    """Words for whoever nurses it."""

    advice = forms.CharField(
        label=gettext_lazy("What the carer is told"), max_length=400, widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("Water, food, rest, when to phone. It is written into the record as an examination’s advice."),
        error_messages={"required": gettext_lazy("Write what is told.")},
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of line. `kept` are the fields that the set fixes, `asked` those that are asked when it is signed."""

    form: type[forms.BaseForm]
    kept: tuple[str, ...]
    asked: tuple[str, ...]
    write: Callable[[Patient, Person, dict[str, Any]], str]


def _order(patient: Patient, by: Person, data: dict[str, Any]) -> str:
    order = order_medication(patient, by=by, **data)
    return _("%(line)s (waits for a second vet)") % {"line": medicine_line(order)} if order.is_waiting else medicine_line(order)


def _feed(patient: Patient, by: Person, data: dict[str, Any]) -> str:
    return feeding_line(sign_feeding(patient, by=by, **data))


def _bandage(patient: Patient, by: Person, data: dict[str, Any]) -> str:
    return bandage_line(put_bandage_on(patient, **data))


def _milestone(patient: Patient, by: Person, data: dict[str, Any]) -> str:
    return milestone_line(record_milestone(patient, by=by, **data))


def _tell(patient: Patient, by: Person, data: dict[str, Any]) -> str:
    record_examination(patient, by=by, kind=Examination.Kind.OTHER, examined_on=today(patient.hospital.zone), **data)
    return data["advice"]


DOUBTS = ("seen_weight_g", "is_weight_checked", "is_warning_read")
KINDS: Mapping[str, Kind] = {
    What.MEDICINE: Kind(
        OrderForm,
        ("drug", "dose_per_kg", "dose_unit", "strength_per_ml", "strength_unit", "dilution_parts", "syringe_ml", "route", "every_hours",
         "doses", "late_dose", "instruction"),
        (*DOUBTS, "first_dose_at", "dose_reason", "stops_earlier"),
        _order,
    ),
    What.FEEDING: Kind(
        FeedingForm,
        ("food", "kcal_per_g", "energy_in", "factor", "every_days", "meals_per_day", "note"),
        (*DOUBTS, "kcal_constant", "kept_at_c", "seen_version"),
        _feed,
    ),
    What.BANDAGE: Kind(BandageForm, ("kind", *LAYERS), ("site", "applied_on"), _bandage),
    What.MILESTONE: Kind(MilestoneForm, ("event", "note"), ("happened_on",), _milestone),
    What.TOLD: Kind(TellForm, (), ("advice",), _tell),
}  # fmt: skip
LATER = "first_dose_after_hours"  # kept with a medicine: when its first dose falls due, counted from the signature
PROPOSED = {What.BANDAGE: ("site",), What.TOLD: ("advice",)}  # asked when it is signed, and the set proposes words


class LineForm(forms.Form):
    """The values of one line, by the very fields of the form that will order it."""

    def __init__(self, *args: Any, what: str, **kwargs: Any):
        super().__init__(*args, **kwargs)
        kind = KINDS[what]
        fields = kind.form().fields if kind.form in CHOOSES_ITS_LIST else kind.form.base_fields
        for name in (*kind.kept, *PROPOSED.get(What(what), ())):
            self.fields[name] = deepcopy(fields[name])
        if what == What.MEDICINE:
            self.fields["route"].choices = [("", _("Choose")), *self.fields["route"].choices]
            self.fields[LATER] = forms.IntegerField(
                label=_("First dose after"), min_value=0, max_value=240, initial=0, widget=forms.NumberInput(attrs={"class": "w-4"}),
                help_text=_("Hours from the signature on. 0: at once."),
            )  # fmt: skip
            self.fields[LATER].unit = _("hours")
        if what == What.BANDAGE:
            self.fields["site"].required = False
            self.fields["site"].help_text = _("Empty: asked for when it is signed.")

    def clean(self) -> dict:
        """As plain values, which is how a line keeps them."""
        return {"content": {name: _plain(value) for name, value in super().clean().items()}}


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    return value if isinstance(value, int | str) else "" if value is None else str(value)


class Offered:
    """A line as it would be written for one animal: its form, worked out, and whether the vet wants it."""

    def __init__(self, line: SetLine, patient: Patient, by: Person, typed: QueryDict | None):
        self.line, self.kind = line, KINDS[line.what]
        self.prefix = f"line-{line.pk}"
        self.is_wanted = typed is None or f"{self.prefix}-wanted" in typed
        self.form = _form(self, patient, by, self._values(patient, typed))
        self.is_right = self.form.is_valid()
        if typed is None or not self.is_wanted:
            self.form.errors.clear()  # the sums are shown, and nothing is blamed yet

    def _values(self, patient: Patient, typed: QueryDict | None) -> QueryDict:
        """What the set fixes, and beside it what is asked: as typed, or to begin with."""
        values = QueryDict(mutable=True)
        kept = self.line.content
        for name in self.kind.kept:
            values[f"{self.prefix}-{name}"] = kept.get(name, "")
        for name, value in _to_begin_with(self.line, patient).items():
            values[f"{self.prefix}-{name}"] = value
        for name in self.kind.asked if typed is not None else ():
            at = f"{self.prefix}-{name}"
            values.setlist(at, typed.getlist(at))
        if typed is not None and "is_weight_checked" in typed:
            values[f"{self.prefix}-is_weight_checked"] = "on"
        return values

    @property
    def words(self) -> str:
        """The line in short, for a heading."""
        return line_words(self.line)

    @property
    def dose_part(self) -> str:
        """The name of its dose among the others of the page."""
        return f"{self.prefix}-dose"

    @property
    def ration(self) -> str:
        """What it is fed, worked out: "120 g, twice a day"."""
        data = self.form.cleaned_data
        return meals(self.form.asked.worked.grams_per_meal, data["meals_per_day"], data["every_days"])

    @property
    def asked_fields(self) -> list[forms.BoundField]:
        return [self.form[name] for name in self.kind.asked]

    @property
    def fixed_errors(self) -> list[tuple[str, str, str]]:
        """What speaks against the values that the set fixes: where a link leads, the label, the sentence."""
        fixed = [self.form[name] for name in self.kind.kept]
        return [(bound.id_for_label, bound.label, error) for bound in fixed for error in bound.errors]


def _form(offered: Offered, patient: Patient, by: Person, values: QueryDict) -> forms.BaseForm:
    about = {
        What.MEDICINE: lambda: {"patient": patient, "by": by},
        What.FEEDING: lambda: {"patient": patient, "latest": feeding_plans_of(patient).last()},
    }.get(What(offered.line.what), dict)
    return offered.kind.form(values, prefix=offered.prefix, **about())


def _to_begin_with(line: SetLine, patient: Patient) -> dict[str, Any]:
    day = f"{today(patient.hospital.zone):%Y-%m-%d}"
    newest = next(iter(recent_weights(patient)), None)
    begins = {"applied_on": day, "happened_on": day, "site": line.content.get("site", ""), "advice": line.content.get("advice", "")}
    if line.what == What.MEDICINE:
        first = localtime(now() + timedelta(hours=line.content.get(LATER) or 0))
        begins |= {"first_dose_at": f"{first:%Y-%m-%dT%H:%M}"}
    if line.what == What.FEEDING:
        fresh = FeedingForm(patient=patient, latest=feeding_plans_of(patient).last())
        begins |= {"kcal_constant": fresh["kcal_constant"].value() or "", "seen_version": fresh["seen_version"].value()}
    begins |= {"seen_weight_g": newest.weight_g if newest else ""}
    return {name: value for name, value in begins.items() if name in KINDS[line.what].asked}


def line_words(line: SetLine) -> str:
    """ "meloxicam, 0.2 mg per kg by injection into muscle, once a day, 5 doses"; what one animal gets is worked out for it."""
    kept = line.content
    if line.what == What.MEDICINE:
        return _medicine_words(kept)
    if line.what == What.FEEDING:
        return f"{kept['food']}"
    if line.what == What.BANDAGE:
        layers = [kept[name] for name in LAYERS if kept.get(name)]
        return ", ".join([name_of(vocabulary().bandages, kept["kind"]), *layers])
    return event_name(kept["event"]) if line.what == What.MILESTONE else kept["advice"]


def about(order_set: OrderSet) -> dict[str, Any]:
    """A set for a list: after what it is offered, and its lines in short."""
    after = name_of(vocabulary().procedures, order_set.kind) if order_set.kind else _("Every procedure and every anaesthetic")
    return {"set": order_set, "after": after, "lines": [(line, line_words(line)) for line in order_set.lines.all()]}


def _medicine_words(kept: Mapping[str, Any]) -> str:
    say = tongue()
    told = {
        "drug": kept["drug"],
        "dose": quantity(Decimal(kept["dose_per_kg"]), Unit(kept["dose_unit"]), say),
        "route": say.say(ROUTES[Route(kept["route"])]),
        "every": every(kept["every_hours"], say),
        "doses": ngettext("%(n)d dose", "%(n)d doses", kept["doses"]) % {"n": kept["doses"]},
    }
    return _("%(drug)s, %(dose)s per kg %(route)s, %(every)s, %(doses)s") % told

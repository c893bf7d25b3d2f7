"""Forms of the release pages, and the filter that lists of animals share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from django import forms
from django.utils.translation import gettext_lazy as _

from handover.releases.actions import Judgement
from handover.releases.models import ReleaseDay
from handover.schedule.release import Criterion
from hospital.admissions.days import day_field
from hospital.admissions.forms import FindForm
from hospital.edits import Versioned

LATER, MET, NOT_MET = "", "met", "not_met"


class ListForm(FindForm):
    """Which animals a board shows: words, and where they live."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["order"]


class Question(NamedTuple):
    """A criterion, and its two fields."""

    criterion: Criterion
    answer: forms.BoundField
    evidence: forms.BoundField


class AssessForm(forms.Form):
    """Criteria to be judged by a person: met, not met, or left for later. Cleaned into `judgements`."""

    seen_latest = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args: Any, criteria: Sequence[Criterion], latest: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.criteria, self.latest = criteria, latest
        self.is_filter = True  # every answer may be left for later: no "(optional)" beside each
        for criterion in criteria:
            self.fields[f"answer_{slug(criterion)}"] = _answer(criterion)
            self.fields[f"evidence_{slug(criterion)}"] = _evidence()

    def questions(self) -> list[Question]:
        return [Question(c, self[f"answer_{slug(c)}"], self[f"evidence_{slug(c)}"]) for c in self.criteria]

    def clean(self) -> dict:
        """Only what the action needs; an answer without evidence is a mistake at its field."""
        data = super().clean()
        judgements = []
        for criterion in self.criteria:
            answer, evidence = data.get(f"answer_{slug(criterion)}"), data.get(f"evidence_{slug(criterion)}", "")
            if answer and not evidence:
                self.add_error(f"evidence_{slug(criterion)}", _("Say what this rests on."))
            elif evidence and not answer:
                self.add_error(f"answer_{slug(criterion)}", _("Choose met or not met."))
            elif answer:
                judgements.append(Judgement(criterion.id, answer == MET, evidence))
        if not judgements and not self.errors:
            self.add_error(None, _("Nothing was judged. Choose met or not met for at least one."))
        return {"judgements": judgements, "seen_latest": data.get("seen_latest", 0)}

    def add_error(self, field: str | None, error: Any) -> None:
        """What somebody else found meanwhile has been shown now: the next try knows it."""
        super().add_error(field, error)
        self.data = self.data.copy()
        self.data["seen_latest"] = str(self.latest)


def slug(criterion: Criterion) -> str:
    return criterion.id.replace(".", "_")


def _answer(criterion: Criterion) -> forms.ChoiceField:
    choices = [(LATER, _("Leave as it is")), (MET, _("Met")), (NOT_MET, _("Not met"))]
    widget = forms.RadioSelect(attrs={"class": "choices inline"})
    return forms.ChoiceField(label=criterion.wording, choices=choices, required=False, widget=widget, initial=LATER)


def _evidence() -> forms.CharField:
    return forms.CharField(label=_("What it rests on"), max_length=250, required=False)


class GoAheadForm(forms.Form):
    """Why an animal goes although criteria are not met."""

    reason = forms.CharField(
        label=_("Why it goes all the same"),
        max_length=250,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": _("Give the reason why it goes all the same.")},
    )


class DayForm(forms.ModelForm):
    """What is agreed for the day of the release."""

    on = day_field(_("Day"), required=False)
    seen_version = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    class Meta:
        model = ReleaseDay
        fields = ["on", "driver", "place", "directions"]
        widgets = {"directions": forms.Textarea(attrs={"rows": 4})}
        help_texts = {
            "place": _("Where it was found, or as near as the law and the habitat allow."),
            "directions": _("Where to park, which path, a gate, whom to ask for the key."),
        }

    def __init__(self, *args: Any, agreed: Versioned | None, **kwargs: Any) -> None:
        fresh = {"seen_version": agreed.version if agreed else 0}
        if agreed:
            fresh |= {name: getattr(agreed, name) for name in self._meta.fields}
        super().__init__(*args, initial=fresh | kwargs.pop("initial", {}), **kwargs)

"""What a tap on the sheet sends."""

from __future__ import annotations

from datetime import datetime

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.ward.models import Attended

LOST = _("The sheet has changed. Look again, then tap.")


class TapForm(forms.Form):
    """`what` is "dose" with `number`, or "meal" or "fluid" with `due_at` (ISO 8601 with its offset)."""

    what = forms.ChoiceField(choices=[("dose", "dose"), ("meal", "meal"), ("fluid", "fluid")])
    pk = forms.IntegerField(min_value=1, max_value=2**62)
    number = forms.IntegerField(min_value=0, max_value=9999, required=False)
    due_at = forms.CharField(required=False, max_length=40)
    kind = forms.ChoiceField(choices=Attended.Kind.choices)

    def clean_due_at(self) -> datetime | None:
        text = self.cleaned_data["due_at"]
        try:
            moment = datetime.fromisoformat(text) if text else None
        except ValueError:
            raise ValidationError(LOST) from None
        if moment and moment.utcoffset() is None:
            raise ValidationError(LOST)
        return moment

    def clean(self) -> dict:
        data = super().clean()
        needed = "number" if data.get("what") == "dose" else "due_at"
        if data.get(needed) is None:
            raise ValidationError(LOST)
        return data

"""The one question that making a pack asks."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from handover.packs.pdf import PAPERS


class PackForm(forms.Form):
    paper = forms.ChoiceField(
        label=_("Paper"),
        choices=[(name, name) for name in PAPERS],
        initial="A4",
        error_messages={"required": _("Choose A4 or Letter."), "invalid_choice": _("Choose A4 or Letter.")},
    )

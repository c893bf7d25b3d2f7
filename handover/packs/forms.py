"""What making a pack asks: the paper, the print and the language, at first as the carer likes them."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from hospital.people.models import PAPERS, PRINT_SIZES, Person


class PackForm(forms.Form):
    """`doubt`: why the agreed dates may not hold; a box then asks whether they are to be printed all the same."""

    paper = forms.ChoiceField(
        label=_("Paper"),
        choices=list(PAPERS.items()),
        error_messages={"required": _("Choose A4 or Letter."), "invalid_choice": _("Choose A4 or Letter.")},
    )
    print_size = forms.ChoiceField(
        label=_("Print"),
        choices=list(PRINT_SIZES.items()),
        required=False,
        error_messages={"invalid_choice": _("Choose usual or large print.")},
    )
    language = forms.ChoiceField(
        label=_("Language"),
        choices=settings.LANGUAGES,
        required=False,
        help_text=_("Advice in another language than English was translated by us and has not been read by a clinician. The pack says so."),
        error_messages={"invalid_choice": _("Choose one of the languages.")},
    )
    dates_differ = forms.BooleanField(label=_("Print the agreed dates all the same"), required=False)

    def __init__(self, *args: Any, doubt: str = "", carer: Person | None = None, **kwargs: Any):
        super().__init__(*args, initial=liked_by(carer), **kwargs)
        if doubt:
            self.fields["dates_differ"].help_text = doubt
        else:
            del self.fields["dates_differ"]

    def clean_print_size(self) -> str:
        return self.cleaned_data["print_size"] or "usual"

    def clean_language(self) -> str:
        return self.cleaned_data["language"] or settings.LANGUAGE_CODE


def liked_by(carer: Person | None) -> dict[str, str]:
    """How a carer likes to read; A4, usual print and English when nobody has said."""
    if carer is None:
        return {"paper": "A4", "print_size": "usual", "language": settings.LANGUAGE_CODE}
    return {"paper": carer.paper, "print_size": carer.print_size, "language": carer.language or settings.LANGUAGE_CODE}

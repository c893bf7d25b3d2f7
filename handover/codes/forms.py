"""The code on the cover of a pack, typed by those who cannot scan it."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from hospital.rules.codes import is_whole, tidied


class CodeForm(forms.Form):
    code = forms.CharField(
        label=gettext_lazy("Code on the cover of the pack"), max_length=40,
        help_text=gettext_lazy("Twelve characters. Small letters, spaces and hyphens are no matter."),
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off", "spellcheck": "false", "class": "big w-10"}),
        error_messages={"required": gettext_lazy("Write the code that is printed on the cover of the pack.")},
    )  # fmt: skip

    def clean_code(self) -> str:
        """Told before anything is looked for: a slip costs no try."""
        code = tidied(self.cleaned_data["code"])
        if len(code) != 12 or not is_whole(code):
            raise ValidationError(_("A character is wrong, missing, or two are swapped. There is no 0, 1, O, I or L in it. Look again."))
        return code

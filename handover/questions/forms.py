"""The box in which a question or an answer is written."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.pictures import PhotoField


class MessageForm(forms.Form):
    key = forms.UUIDField(widget=forms.HiddenInput)
    words = forms.CharField(
        label=_("Your question"), max_length=2000, widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": _("Write your question."), "max_length": _("Write at most 2000 characters.")},
    )  # fmt: skip
    photo = PhotoField(
        label=_("Photograph"), required=False, help_text=_("Needs signal. A question without a photograph waits for it on the phone.")
    )

    def __init__(self, *args: Any, answering: bool = False, **kwargs: Any):
        super().__init__(*args, initial={"key": uuid.uuid4()}, **kwargs)
        if answering:
            self.fields["words"].label = _("Your message")
            self.fields["words"].error_messages["required"] = _("Write your message.")

"""The name of a set, and the signature under one."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from hospital.ordersets.models import OrderSet
from hospital.procedures.vocabulary import choices, vocabulary


class SetForm(forms.ModelForm):
    kind = forms.ChoiceField(label=_("Offered after"), required=False)

    class Meta:
        model = OrderSet
        fields = ["name", "kind", "note"]
        help_texts = {"name": _("As the vets call it, for example: after a shell repair.")}
        error_messages = {"name": {"required": _("Give it a name.")}}

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = choices(vocabulary().procedures, _("Every procedure and every anaesthetic"))
        self.fields["kind"].says_optional = True  # it always says something
        if self.instance.pk:
            self.fields["seen_version"] = forms.IntegerField(widget=forms.HiddenInput, initial=self.instance.version)


class SignForm(forms.Form):
    """Which set was seen, in which version; the same form sent twice is written once."""

    key = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    seen_version = forms.IntegerField(widget=forms.HiddenInput)
    is_weight_checked = forms.BooleanField(label=_("This weight is right"), required=False)

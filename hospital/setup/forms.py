"""What must be known before the first animal can be admitted."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.password_validation import password_validators_help_texts, validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.people.models import Role
from hospital.sites.forms import HospitalForm


class FirstForm(HospitalForm):
    """The hospital, and whoever sits here."""

    person_name = forms.CharField(label=_("Your name"), max_length=120, error_messages={"required": _("Write your name.")})
    email = forms.EmailField(
        label=_("Your e-mail address"),
        help_text=_("You sign in with it."),
        widget=forms.EmailInput(attrs={"autocomplete": "username"}),
        error_messages={"required": _("Write your e-mail address."), "invalid": _("Write an e-mail address such as name@example.org.")},
    )
    roles = forms.TypedMultipleChoiceField(
        label=_("You are a coordinator here. Are you also"),
        required=False,
        choices=[(role.value, role.label) for role in (Role.VET, Role.NURSE)],
        coerce=Role,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices inline"}),
        help_text=_("Only a vet can adopt protocols and medicines. Tick “Vet” only if you are licensed where the hospital is."),
    )
    password = forms.CharField(
        label=_("A password"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}, render_value=False),
        error_messages={"required": _("Choose a password.")},
    )
    again = forms.CharField(
        label=_("The same password again"),
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}, render_value=False),
        error_messages={"required": _("Write the password once more.")},
    )

    HOSPITAL = ("name", "phone", "out_of_hours_phone", "address", "zone", "latitude", "longitude", "clinic_hours", "closed_weekdays")
    YOU = ("person_name", "email", "roles", "password", "again")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for later in ("seen_version", "late_after_minutes", "missed_after_minutes"):  # the usual minutes hold until somebody sets others
            del self.fields[later]
        self.fields["password"].help_text = " ".join(password_validators_help_texts())

    @property
    def about_the_hospital(self) -> list[forms.BoundField]:
        return [self[name] for name in self.HOSPITAL]

    @property
    def about_you(self) -> list[forms.BoundField]:
        return [self[name] for name in self.YOU]

    def clean_password(self) -> str:
        password = self.cleaned_data["password"]
        validate_password(password)
        return password

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        again = said.pop("again", None)
        if again is not None and "password" in said and again != said["password"]:
            self.add_error("again", ValidationError(_("The two passwords differ. Write both again.")))
        return said

"""Forms about people."""

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.people import attempts


class SignInForm(AuthenticationForm):
    """E-mail address and password. Too many wrong tries for one address, from anywhere, make it wait."""

    username = forms.EmailField(
        label=_("E-mail address"), widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True}),
        error_messages={"required": _("Write your e-mail address."), "invalid": _("Write an e-mail address such as name@example.org.")},
    )
    error_messages = {
        **AuthenticationForm.error_messages,
        "invalid_login": _("That e-mail address and password do not go together. Check both and try again."),
        "inactive": _("This account has been closed. Phone the hospital."),
    }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["password"].error_messages["required"] = _("Write your password.")

    def clean(self):
        email = self.cleaned_data.get("username", "")
        if attempts.must_wait(email):
            raise ValidationError(_("Too many tries. Wait fifteen minutes, then try again, or phone the hospital."))
        try:
            cleaned = super().clean()
        except ValidationError:
            attempts.count(email)
            raise
        attempts.forget(email)
        return cleaned

"""Forms about people."""

from django import forms
from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.people import attempts
from hospital.people.models import PAPERS, PRINT_SIZES, Role

WRITE_ADDRESS = {"required": _("Write your e-mail address."), "invalid": _("Write an e-mail address such as name@example.org.")}


class ReadingForm(forms.Form):
    """How somebody likes to read: the language of their pages, and the paper and print of their packs."""

    language = forms.ChoiceField(
        label=_("Language"),
        choices=settings.LANGUAGES,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose one of the languages."), "invalid_choice": _("Choose one of the languages.")},
    )
    paper = forms.ChoiceField(label=_("Paper"), choices=list(PAPERS.items()), error_messages={"invalid_choice": _("Choose A4 or Letter.")})
    print_size = forms.ChoiceField(
        label=_("Print"), choices=list(PRINT_SIZES.items()), error_messages={"invalid_choice": _("Choose usual or large print.")}
    )


class SignInForm(AuthenticationForm):
    """E-mail address and password. Too many wrong tries for one address, from anywhere, make it wait."""

    username = forms.EmailField(
        label=_("E-mail address"), widget=forms.EmailInput(attrs={"autocomplete": "username webauthn", "autofocus": True}),
        error_messages=WRITE_ADDRESS,
    )
    error_messages = {
        **AuthenticationForm.error_messages,
        "invalid_login": _("That e-mail address and password do not go together. Check both and try again."),
        "inactive": _("This account has been closed. Phone the hospital."),
    }

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["password"].error_messages["required"] = _("Write your password, or have a code mailed.")

    def clean(self):
        email, network = self.cleaned_data.get("username", ""), attempts.network_of(self.request)
        if attempts.must_wait(email) or attempts.WRONG_FROM_A_NETWORK.is_reached(network):
            raise ValidationError(_("Too many tries. Wait fifteen minutes, then try again, or phone the hospital."))
        try:
            cleaned = super().clean()
        except ValidationError:
            attempts.count(email)
            attempts.WRONG_FROM_A_NETWORK.count(network)
            raise
        attempts.forget(email)
        return cleaned


class AskForCodeForm(forms.Form):
    """To which address a code is mailed."""

    username = forms.EmailField(
        label=_("E-mail address"), max_length=254, error_messages=WRITE_ADDRESS,
        widget=forms.EmailInput(attrs={"autocomplete": "username"}),
    )  # fmt: skip


class CodeForm(forms.Form):
    """The mailed code, typed or pasted in any way."""

    code = forms.CharField(
        label=_("Code from the mail"), max_length=40, help_text=_("Eight letters. Small letters, spaces and hyphens are no matter."),
        widget=forms.TextInput(attrs={
            "autocomplete": "one-time-code", "autocapitalize": "characters", "spellcheck": "false", "autofocus": True, "class": "big w-10",
        }),
        error_messages={"required": _("Write the eight letters of the code.")},
    )  # fmt: skip


class PasskeyForm(forms.Form):
    """What the browser answers for a passkey, with the state that the page carried."""

    state = forms.CharField(max_length=2000, widget=forms.HiddenInput)
    answer = forms.CharField(
        max_length=20000, widget=forms.HiddenInput(attrs={"data-answer": ""}),
        error_messages={"required": _("The device gave no answer. Try once more, or sign in another way.")},
    )  # fmt: skip


class PasskeyNameForm(forms.Form):
    name = forms.CharField(
        label=_("What shall it be called?"), max_length=60, help_text=_("So that you know it again, for example: my phone."),
        error_messages={"required": _("Give it a name, for example: my phone.")},
    )  # fmt: skip


class NewPasskeyForm(PasskeyNameForm, PasskeyForm):
    field_order = ["name"]


class PasswordForm(forms.Form):
    """A new password, typed once and readable on request by the browser; nothing about its characters is asked but length."""

    password = forms.CharField(
        label=_("New password"), strip=False, max_length=200, help_text=_("At least twelve characters. Three or four words are good."),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}), error_messages={"required": _("Write a new password.")},
    )  # fmt: skip

    def clean_password(self) -> str:
        password = self.cleaned_data["password"]
        validate_password(password)
        return password


class InvitationForm(forms.Form):
    """Whom to ask, and for what."""

    email = forms.EmailField(
        label=_("E-mail address"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        error_messages={"required": _("Write the e-mail address."), "invalid": WRITE_ADDRESS["invalid"]},
    )  # fmt: skip
    role = forms.ChoiceField(
        label=_("Asked to be"), choices=Role, initial=Role.CARER, widget=forms.RadioSelect(attrs={"class": "choices"}),
        error_messages={"required": _("Choose what they are asked to be.")},
    )  # fmt: skip


class JoinForm(forms.Form):
    """What a new person says about themselves. Without a password a code is mailed each time."""

    name = forms.CharField(
        label=_("Your name"), max_length=120, widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": _("Write your name.")},
    )  # fmt: skip
    phone = forms.CharField(
        label=_("Phone"), max_length=30, required=False, widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "tel"}),
    )  # fmt: skip
    password = forms.CharField(
        label=_("Password"), strip=False, max_length=200, required=False,
        help_text=_("At least twelve characters. Leave it empty to have a code mailed whenever you sign in."),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )  # fmt: skip

    def clean_password(self) -> str:
        password = self.cleaned_data["password"]
        if password:
            validate_password(password)
        return password

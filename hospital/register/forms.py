"""Forms of the register. A witness signs in the same form, with their own sign-in password."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from hospital.admissions.forms import moment_field, words_field
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.numbers import CommaDecimalField
from hospital.people.models import Person
from hospital.people.signing import why_not_signed
from hospital.register.models import DrugForm, Kind, RegisterLine, RegisterPage, StrengthUnit
from hospital.register.queries import first_count, patients_to_choose, rules_of, same_kind, witnesses
from hospital.register.wording import ASKED, unit

_OFF = {"autocomplete": "off"}
_LAST = ("done_at", "late_reason", "witness", "witness_password")


class AmountField(CommaDecimalField):
    """An amount in the page's unit, to three decimals."""

    def __init__(self, label: Any, *, least: Decimal = Decimal("0.001"), **kwargs: Any):
        widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", **_OFF})
        limits = {"min_value": least, "max_value": Decimal(1000000), "max_digits": 10, "decimal_places": 3}
        super().__init__(label=label, widget=widget, **limits, **kwargs)
        self.error_messages |= {
            "required": _("Give the amount."),
            "invalid": _("Give a number, for example 0.2."),
            "min_value": _("Give a number above 0.") if least else _("Give a number, 0 or more."),
            "max_decimal_places": _("Give at most three decimals."),
        }


class SignedForm(forms.Form):
    """The part of a form in which a witness signs. After validation `witness` is a person who has signed, or None."""

    witness = forms.ModelChoiceField(
        Person.objects.none(), label=_("Witness"), required=False, empty_label=_("Nobody is at hand"),
        help_text=_("Who stands beside you and saw it."),
    )  # fmt: skip
    witness_password = forms.CharField(
        label=_("The witness’s own sign-in password"), required=False, strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        help_text=_("Typed by the witness, not by you. It is not kept."),
    )  # fmt: skip

    kinds: tuple[Kind, ...] = ()
    must_be_signed = False

    def __init__(self, *args: Any, page: RegisterPage, by: Person, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.page, self.by = page, by
        self.order_fields([name for name in self.fields if name not in _LAST] + [*_LAST])
        for field in self.fields.values():
            if isinstance(field, AmountField):
                field.unit = unit(page)
        self.asks_witness = bool({*self.kinds} & {*rules_of(page.hospital).witness_for})
        if not self.asks_witness:
            del self.fields["witness"], self.fields["witness_password"]
            return
        self.fields["witness"].queryset = witnesses(page.hospital, by)
        self.fields["witness_password"].says_optional = True
        if self.must_be_signed:
            self.fields["witness"].required, self.fields["witness"].empty_label = True, _("Choose")
            self.fields["witness"].error_messages["required"] = _("Two people sign this at once. Name the witness.")

    def clean(self) -> dict:
        data = super().clean()
        password, witness = data.pop("witness_password", ""), data.get("witness")
        if password and not witness and "witness" not in self.errors:
            self.add_error("witness", _("Say whose password this is."))
        if witness and not password:
            self.add_error("witness_password", _("%(name)s must type their own sign-in password here.") % {"name": witness})
        elif witness and not self.errors and (why := why_not_signed(witness, password)):
            self.add_error("witness_password", why)
        elif witness and self.errors:
            self.add_error("witness_password", _("Type the password again when the rest is right."))
        data.setdefault("witness", None)
        return data


class EntryForm(SignedForm):
    """What every entry about stock says: when, and why so late if it was before yesterday."""

    done_at = moment_field(_("When did it happen?"), initial=now)
    late_reason = words_field(_("Why is it entered only now?"), 250)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["late_reason"].says_optional = True  # on the page only when it is asked for

    @property
    def asks_late_reason(self) -> bool:
        return bool(self["late_reason"].errors or self["late_reason"].value())


class ReceiveForm(EntryForm):
    kinds = (Kind.RECEIVED,)
    amount = AmountField(_("How much came in?"))
    other_party = forms.CharField(
        label=_("From whom"), max_length=160, error_messages={"required": _("Name the supplier, or who brought it.")}
    )
    source = forms.CharField(
        label=_("Delivery note or invoice"), max_length=120, error_messages={"required": _("Give the number on the document.")}
    )
    batch = words_field(_("Batch"), 60)


class UseForm(EntryForm):
    kinds = (Kind.GIVEN, Kind.WASTED)
    patient = forms.ModelChoiceField(
        Patient.objects.none(), label=_("For which animal"), empty_label=_("Choose"),
        error_messages={"required": _("Choose the animal."), "invalid_choice": _("Choose an animal of this hospital.")},
    )  # fmt: skip
    drawn = AmountField(_("Drawn up"))
    given = AmountField(_("Given"), least=Decimal(0))
    wasted = AmountField(
        _("Wasted"), least=Decimal(0), required=False, help_text=_("What was left in the syringe. Empty if nothing was.")
    )
    source = words_field(_("Ordered by, or number of the order"), 120)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["patient"]
        field.queryset = patients_to_choose(self.by, self.page.hospital, today(self.page.hospital.zone))
        field.label_from_instance = lambda each: " · ".join(filter(None, (each.case_number, each.name, str(each.species))))

    def clean(self) -> dict:
        data = super().clean()
        data["wasted"] = data.get("wasted") or Decimal(0)
        return data


class DiscardForm(EntryForm):
    kinds = (Kind.WASTED, Kind.DESTROYED)
    kind = forms.ChoiceField(
        label=_("What happened?"),
        choices=[
            (Kind.WASTED, _("Wasted: spilt, broken, left over")),
            (Kind.DESTROYED, _("Destroyed: out of date, given back for destruction")),
        ],
        widget=forms.RadioSelect(attrs={"class": "choices"}), error_messages={"required": _("Choose wasted or destroyed.")},
    )  # fmt: skip
    amount = AmountField(_("How much?"))
    reason = forms.CharField(label=_("Why"), max_length=250, error_messages={"required": _("Say why.")})
    other_party = words_field(_("Who took it, or how it was destroyed"), 160)
    batch = words_field(_("Batch"), 60)


class TransferForm(EntryForm):
    kinds = (Kind.TRANSFERRED,)
    amount = AmountField(_("How much?"))
    to_page = forms.ModelChoiceField(
        RegisterPage.objects.none(), label=_("To another place here"), required=False, empty_label=_("No, it leaves the hospital"),
        help_text=_("A page of the same drug, strength and form. Both pages get their line."),
    )  # fmt: skip
    other_party = words_field(_("To whom outside, with their address"), 160)
    source = words_field(_("Document"), 120)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["to_page"]
        field.queryset = same_kind(self.page)
        field.label_from_instance = lambda each: each.location
        if not field.queryset.exists():
            del self.fields["to_page"]

    def clean(self) -> dict:
        data = super().clean()
        data.setdefault("to_page", None)
        return data


class CorrectForm(SignedForm):
    kinds, must_be_signed = (Kind.CORRECTION,), True
    should_be = AmountField(
        _("What the amount should have been"), least=Decimal(0),
        help_text=_("0 takes the line back whole. Leave it as it is when only the words were wrong."),
    )  # fmt: skip
    reason = forms.CharField(
        label=_("What was wrong, and what is right"), max_length=250,
        widget=forms.Textarea(attrs={"rows": 3}), error_messages={"required": _("Say what was wrong.")},
    )  # fmt: skip


class SettleForm(SignedForm):
    kinds, must_be_signed = (Kind.CORRECTION,), True
    is_adjusted = forms.TypedChoiceField(
        label=_("What closes the difference?"), coerce=lambda value: value == "yes",
        widget=forms.RadioSelect(attrs={"class": "choices"}), error_messages={"required": _("Choose one.")},
        choices=[
            ("no", _("A line entered since the count explains it. The balance stays.")),
            ("yes", _("It cannot be explained by a line. The balance follows what was counted.")),
        ],
    )  # fmt: skip
    reason = forms.CharField(
        label=_("What was found out, and who was told"), max_length=250,
        widget=forms.Textarea(attrs={"rows": 3}), error_messages={"required": _("Say what was found out.")},
    )  # fmt: skip


class CountForm(forms.Form):
    """One person's count. Whoever is signed in counts first; the second may sign in this form as well."""

    counted = AmountField(_("What is there?"), least=Decimal(0), help_text=_("Measured or counted now, without looking at the balance."))
    counted_by = forms.ModelChoiceField(
        Person.objects.none(), label=_("Second person"), empty_label=_("Choose"),
        error_messages={"required": _("Choose who counts as the second.")},
    )  # fmt: skip
    password = forms.CharField(
        label=_("Their own sign-in password"), strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        error_messages={"required": _("The second person types their own sign-in password.")},
    )  # fmt: skip

    def __init__(self, *args: Any, page: RegisterPage, by: Person, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.by, self.first = by, first_count(page, now())
        self.fields["counted"].unit = unit(page)
        self.is_second_here = self.first is not None and self.first.counted_by_id == by.pk
        if self.is_second_here:
            self.fields["counted_by"].queryset = witnesses(page.hospital, by)
        else:
            del self.fields["counted_by"], self.fields["password"]

    def clean(self) -> dict:
        data = super().clean()
        who, password = data.pop("counted_by", self.by), data.pop("password", "")
        if self.is_second_here and not self.errors and (why := why_not_signed(who, password)):
            self.add_error("password", why)
        return {"counted": data.get("counted"), "by": who}


class WitnessForm(forms.Form):
    """Somebody who saw it signs, with the password of their own sign-in."""

    password = forms.CharField(
        label=_("Your own sign-in password"), strip=False, widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        error_messages={"required": _("Type your password.")},
    )  # fmt: skip

    def __init__(self, *args: Any, by: Person, line: RegisterLine, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.by, self.line = by, line

    def clean(self) -> dict:
        password = super().clean().pop("password", "")
        if not self.errors and self.line.recorded_by_id == self.by.pk:
            raise ValidationError(_("You wrote this line. Somebody else who saw it must sign."))
        if not self.errors and (why := why_not_signed(self.by, password)):
            self.add_error("password", why)
        return {}


class PageForm(forms.Form):
    """A new page."""

    drug = forms.CharField(
        label=_("Drug"), max_length=120, widget=forms.TextInput(attrs=_OFF), help_text=_("The generic name in full, as orders name it."),
        error_messages={"required": _("Name the drug.")},
    )  # fmt: skip
    form = forms.ChoiceField(label=_("Form"), choices=DrugForm)
    strength = forms.DecimalField(
        label=_("Strength"), min_value=Decimal("0.0001"), max_digits=12, decimal_places=4,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", **_OFF}),
        help_text=_("Per mL of a liquid, else per tablet, capsule, patch or vial. As on the package."),
        error_messages={
            "required": _("Give the strength."), "invalid": _("Give a number, for example 10."), "min_value": _("Give a number above 0."),
        },
    )  # fmt: skip
    strength_unit = forms.ChoiceField(label=_("Unit of the strength"), choices=StrengthUnit, initial=StrengthUnit.MG)
    location = forms.CharField(
        label=_("Where it is kept"), max_length=80, help_text=_("One page for each safe or cabinet."),
        error_messages={"required": _("Say where it is kept.")},
    )  # fmt: skip
    legal_class = words_field(_("Legal class"), 60, help_text=_("As the law of your country names it. Printed as a heading."))


class RulesForm(forms.Form):
    witness_for = forms.MultipleChoiceField(
        label=_("A witness is asked for"), required=False, choices=list(ASKED.items()),
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
        help_text=_("Take one off only where the law of your place and your own rules let you."),
    )  # fmt: skip
    count_every_days = forms.IntegerField(
        label=_("Days from one count to the next"), min_value=1, max_value=366, widget=forms.NumberInput(attrs={"class": "w-4"}),
        error_messages={"required": _("Give the number of days."), "invalid": _("Give a whole number.")},
    )  # fmt: skip
    seen_version = forms.IntegerField(widget=forms.HiddenInput)

"""Passkeys (W3C WebAuthn), by the library fido2: registered for a person, later enough to sign in without anything typed.

The device is asked to make sure of its owner (finger, face or PIN), so that a passkey stands for two factors. A challenge travels
in the page, signed and good for ten minutes; each is taken once.
"""

from __future__ import annotations

import ipaddress
import json
from typing import Any

from django.conf import settings
from django.core import signing
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from fido2.server import Fido2Server
from fido2.utils import websafe_decode, websafe_encode
from fido2.webauthn import (
    AttestedCredentialData,
    AuthenticationResponse,
    PublicKeyCredentialRpEntity,
    PublicKeyCredentialUserEntity,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from hospital.clock import now
from hospital.people.attempts import Limit
from hospital.people.models import Passkey, Person

GOOD_FOR_S = 600
ONCE = Limit("passkey-challenge", 1, GOOD_FOR_S)
REGISTER, SIGN_IN = "passkey.register", "passkey.sign-in"


def host_of(request: HttpRequest) -> str:
    return request.get_host().rsplit(":", 1)[0].strip("[]")


def work_here(request: HttpRequest) -> bool:
    """Whether passkeys can work at this address: the standard asks for a name, and 127.0.0.1 is none."""
    try:
        ipaddress.ip_address(host_of(request))
    except ValueError:
        return True
    return False


def _server(request: HttpRequest) -> Fido2Server:
    """One for this installation's own name; on a developer's machine for the name that was typed."""
    origin = f"{request.scheme}://{request.get_host()}" if settings.IS_LOOPBACK else settings.SITE_URL
    party = PublicKeyCredentialRpEntity(id=host_of(request), name=str(request.hospital or _("Wildlife hospital")))
    return Fido2Server(party, verify_origin=lambda told: told == origin)


def _handle(person: Person) -> bytes:
    """What the device knows the person by: never the address."""
    return salted_hmac("people.passkeys", str(person.pk), algorithm="sha256").digest()


def registration(request: HttpRequest) -> tuple[dict[str, Any], str]:
    """What the browser is to be asked for, and the state that goes with it through the page."""
    person = request.user
    options, state = _server(request).register_begin(
        PublicKeyCredentialUserEntity(id=_handle(person), name=person.email, display_name=person.name),
        credentials=[_data(each) for each in person.passkeys.all()],
        resident_key_requirement=ResidentKeyRequirement.REQUIRED,
        user_verification=UserVerificationRequirement.REQUIRED,
    )
    return dict(options)["publicKey"], signing.dumps(state | {"person": person.pk}, salt=REGISTER)


def signing_in(request: HttpRequest) -> tuple[dict[str, Any], str]:
    """Likewise for signing in: any passkey of this site will do, so that nothing needs to be typed."""
    options, state = _server(request).authenticate_begin(user_verification=UserVerificationRequirement.REQUIRED)
    return dict(options)["publicKey"], signing.dumps(state, salt=SIGN_IN)


def _data(passkey: Passkey) -> AttestedCredentialData:
    return AttestedCredentialData(websafe_decode(passkey.credential))


@transaction.atomic
def add_passkey(request: HttpRequest, *, name: str, state: str, answer: str) -> Passkey:
    """Keep the passkey that the person's device made just now."""
    kept = _state(state, REGISTER)
    if kept.pop("person") != request.user.pk:
        raise ValidationError(_("This page was made for somebody else. Begin again."))
    made = _checked(lambda: _server(request).register_complete(kept, json.loads(answer))).credential_data
    passkey = Passkey(
        person=request.user,
        name=name,
        credential_id=websafe_encode(made.credential_id),
        credential=websafe_encode(bytes(made)),
        made_at=now(),
    )
    passkey.full_clean()
    passkey.save()
    return passkey


def person_with_passkey(request: HttpRequest, *, state: str, answer: str) -> Person:
    """Who signed the challenge of this page."""
    kept = _state(state, SIGN_IN)
    told = _checked(lambda: AuthenticationResponse.from_dict(json.loads(answer) or {}))
    passkey = Passkey.objects.select_related("person").filter(credential_id=websafe_encode(told.raw_id)).first()
    if passkey is None or not passkey.person.is_active:
        raise ValidationError(_("This passkey is not known here. Sign in another way, and add it under “My account”."))
    if told.response.user_handle not in (None, _handle(passkey.person)):
        raise ValidationError(_("This passkey is not known here. Sign in another way, and add it under “My account”."))
    _checked(lambda: _server(request).authenticate_complete(kept, [_data(passkey)], told))
    _count(passkey, told.response.authenticator_data.counter)
    return passkey.person


def _count(passkey: Passkey, counter: int) -> None:
    """A counter that goes back is the sign of a copy (WebAuthn 6.1.1); many devices do not count and always say 0."""
    if counter and counter <= passkey.sign_count:
        raise ValidationError(_("This passkey seems to have been copied. Sign in another way and remove it under “My account”."))
    Passkey.objects.filter(pk=passkey.pk).update(sign_count=counter, used_at=now())


def _state(signed: str, salt: str) -> dict[str, Any]:
    try:
        state = signing.loads(signed, salt=salt, max_age=GOOD_FOR_S)
    except signing.BadSignature:
        raise ValidationError(_("That took too long. Try once more.")) from None
    if not ONCE.count(signed):
        raise ValidationError(_("That took too long. Try once more."))
    return state


def _checked(work):
    """What a device answers is a stranger's text: whatever is wrong with it, nobody gets in."""
    try:
        return work()
    except (ValueError, TypeError, KeyError, AttributeError, IndexError, AssertionError):
        raise ValidationError(_("The answer of the device did not fit. Try once more.")) from None

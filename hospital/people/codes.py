"""A mailed code for signing in: eight letters, ten minutes, five tries, used once, only in the browser that asked for it.

Somebody who asks learns nothing about who has an account: an unknown address gets a letter as well, one without a code, and
everything else that happens is the same. A code and no link, because programs that check mail open links.
"""

from __future__ import annotations

import logging
import secrets
import uuid
from datetime import timedelta

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.db.models import F
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _

from hospital.clock import now
from hospital.people import attempts
from hospital.people.models import MailedCode, Person
from hospital.rules.codes import LETTERS, grouped, tidied

LENGTH = 8
GOOD_FOR = timedelta(minutes=10)
MOST_WRONG = 5
log = logging.getLogger(__name__)


def ask_for_code(email: str, *, network: str) -> uuid.UUID:
    """Mail a code to whoever has the address; the key by which this browser may enter it. Refuses when too many were asked for."""
    email = email.strip().lower()
    if not attempts.CODES_OF_A_NETWORK.count(network) or not attempts.CODES.count(email):
        raise ValidationError(_("Too many codes were asked for. Wait fifteen minutes, then ask again, or phone the hospital."))
    MailedCode.objects.filter(asked_at__lte=now() - GOOD_FOR).delete()
    person = Person.objects.filter(email=email, is_active=True).first()
    code, key = "".join(secrets.choice(LETTERS) for _n in range(LENGTH)), uuid.uuid4()
    MailedCode.objects.create(key=key, person=person, digest=_digest(key, code), asked_at=now())
    _send(email, code if person else "")
    return key


def _digest(key: uuid.UUID, code: str) -> str:
    """Keyed with the installation's secret: eight letters alone could be found by trying them all."""
    return salted_hmac(f"people.codes:{key}", code, algorithm="sha256").hexdigest()


def _send(email: str, code: str) -> None:
    """At once, not by the outbox: somebody waits for it. A mail server that is down must not tell who has an account either."""
    subject, words = _letter(code) if code else _letter_to_a_stranger()
    try:
        send_mail(subject, words, None, [email])
    except OSError:  # that of smtplib is one too
        log.exception("A sign-in code could not be mailed.")
        raise ValidationError(_("Mail does not work here just now. Use another way to sign in, or phone the hospital.")) from None


def _letter(code: str) -> tuple[str, str]:
    told = {"code": grouped(code), "site": settings.SITE_URL}
    words = _(
        "Your code to sign in at %(site)s is\n\n    %(code)s\n\nIt is good for ten minutes, once, and only where you asked for it. "
        "Nobody from the hospital will ever ask you for it.\n\nIf you did not ask for a code, do nothing: without it nobody gets in."
    )
    return _("Your code: %(code)s") % told, words % told


def _letter_to_a_stranger() -> tuple[str, str]:
    words = _(
        "Somebody asked for a code to sign in at %(site)s with this e-mail address, but no account has it.\n\n"
        "If it was you, try the address that the hospital writes to, or phone the hospital. If not, do nothing."
    )
    return _("No account has this address"), words % {"site": settings.SITE_URL}


def enter_code(key: uuid.UUID | str, typed: str, *, network: str) -> Person:
    """Whose code it is. It is used up with that; a wrong one costs one of five tries."""
    if attempts.WRONG_FROM_A_NETWORK.is_reached(network):
        raise ValidationError(_("Too many tries. Wait fifteen minutes, then try again, or phone the hospital."))
    row = MailedCode.objects.select_related("person").filter(key=key, asked_at__gt=now() - GOOD_FOR, wrong__lt=MOST_WRONG).first()
    # The try is counted before the code is looked at: many at once must not have more tries than one after the other.
    if row is None or not MailedCode.objects.filter(pk=row.pk, wrong__lt=MOST_WRONG).update(wrong=F("wrong") + 1):
        raise ValidationError(_("This code is no longer good. Ask for a new one."))
    is_right = constant_time_compare(row.digest, _digest(row.key, tidied(typed)))
    if not (is_right and row.person and row.person.is_active):
        attempts.WRONG_FROM_A_NETWORK.count(network)
        raise ValidationError(_("That is not the code. Look at the newest mail: it has eight letters and no digits."))
    if not MailedCode.objects.filter(pk=row.pk).delete()[0]:
        raise ValidationError(_("This code is no longer good. Ask for a new one."))
    return row.person

"""Writing about people: how they sign in, and who is asked to join."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _

from hospital.clock import now
from hospital.people.models import Invitation, Membership, Passkey, Person, Role
from hospital.sites.models import Hospital

GOOD_FOR = timedelta(days=7)

# --- how one signs in ---------------------------------------------------------------------------------------------


@transaction.atomic
def set_password(person: Person, *, password: str) -> Person:
    """From now on this is the person's password."""
    person.set_password(password)
    person.save(update_fields=["password"])
    return person


@transaction.atomic
def rename_passkey(passkey: Passkey, *, name: str) -> Passkey:
    """Call a passkey by another name."""
    passkey.name = name
    passkey.full_clean()
    passkey.save(update_fields=["name"])
    return passkey


@transaction.atomic
def remove_passkey(passkey: Passkey) -> None:
    """Nobody signs in with this passkey any more."""
    passkey.delete()


def tell_of_change(person: Person, what: str) -> None:
    """Mail the person that the way they sign in has changed: they should hear it if it was somebody else."""
    words = _("%(what)s, for the account of %(name)s at %(site)s. If it was not you, phone the hospital at once.")
    send_mail(what, words % {"what": what, "name": person, "site": settings.SITE_URL}, None, [person.email], fail_silently=True)


# --- invitations --------------------------------------------------------------------------------------------------


@transaction.atomic
def invite(hospital: Hospital, *, by: Person, email: str, role: str) -> tuple[Invitation, str]:
    """Ask somebody to work with the hospital; the invitation and the secret of its link, which is kept nowhere."""
    email = email.strip().lower()
    if Membership.objects.filter(person__email=email, hospital=hospital, role=role).exists():
        raise ValidationError({"email": _("Somebody with this address is that already here.")})
    if hospital.invitations.open().filter(email=email, role=role).exists():
        raise ValidationError({"email": _("This address has been invited already. Send that invitation again, or withdraw it.")})
    secret, at = secrets.token_urlsafe(32), now()
    invitation = Invitation(
        hospital=hospital, email=email, role=role, digest=digest(secret), invited_by=by, sent_at=at, ends_at=at + GOOD_FOR
    )
    invitation.full_clean()
    invitation.save()
    return invitation, secret


def digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()  # of 256 random bits: nothing to guess


@transaction.atomic
def renew(invitation: Invitation) -> tuple[Invitation, str]:
    """A new link, good for another week; the old one opens nothing any more."""
    invitation = _open(invitation)
    secret = secrets.token_urlsafe(32)
    invitation.digest, invitation.sent_at = digest(secret), now()
    invitation.ends_at = invitation.sent_at + GOOD_FOR
    invitation.save()
    return invitation, secret


@transaction.atomic
def withdraw(invitation: Invitation) -> Invitation:
    """The link opens nothing any more, from this moment on."""
    invitation = _open(invitation)
    invitation.withdrawn_at = now()
    invitation.save()
    return invitation


def _open(invitation: Invitation) -> Invitation:
    held = Invitation.objects.select_for_update(of=("self",)).select_related("hospital").get(pk=invitation.pk)
    if held.accepted_at or held.withdrawn_at:
        raise ValidationError(_("This invitation was accepted or withdrawn already."))
    return held


def mail_invitation(invitation: Invitation, secret: str) -> bool:
    """Send the link; whether a mail server took it."""
    told = {
        "who": invitation.invited_by, "hospital": invitation.hospital, "role": invitation.get_role_display().lower(),
        "link": settings.SITE_URL + reverse("people:join", args=[secret]), "phone": invitation.hospital.phone,
    }  # fmt: skip
    words = _(
        "%(who)s asks you to work with %(hospital)s: %(role)s.\n\nOpen this page within seven days and say yes:\n\n    %(link)s\n\n"
        "The link is for you alone and works once. Questions: %(phone)s."
    )
    try:
        return bool(send_mail(_("Invitation from %(hospital)s") % told, words % told, None, [invitation.email]))
    except OSError:
        return False


@transaction.atomic
def accept(invitation: Invitation, *, name: str = "", phone: str = "", password: str = "") -> Person:
    """Join: a new account, or another role for the one that has the address. Works once, and not after its last day."""
    invitation = _open(invitation)
    if invitation.ends_at <= now():
        raise ValidationError(_("This invitation is too old. Ask the hospital for a new one."))
    person = Person.objects.filter(email=invitation.email).first()
    if person is None:
        person = Person.objects.create_user(invitation.email, name, password or None, phone=phone)
    elif not person.is_active:
        raise ValidationError(_("This account has been closed. Phone the hospital."))
    Membership.objects.get_or_create(person=person, hospital=invitation.hospital, role=Role(invitation.role))
    invitation.accepted_at, invitation.accepted_by = now(), person
    invitation.save()
    return person


# --- how one reads -------------------------------------------------------------------------------------------------


@transaction.atomic
def choose_reading(person: Person, *, language: str, paper: str, print_size: str) -> Person:
    """Keep how a person likes to read; their next pack is offered that way."""
    person.language, person.paper, person.print_size = language, paper, print_size
    person.full_clean()
    person.save(update_fields=["language", "paper", "print_size"])
    return person

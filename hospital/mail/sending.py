"""Sending what is due: taken on a lease, put into words, handed to the mail server, and only then written down as sent.

A letter is never lost. It is sent twice only if the sender dies between the server's "taken" and our own note of it, or hangs
there longer than its lease; both carry one Message-ID, by which a mailbox can tell.
"""

from __future__ import annotations

import smtplib
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.utils import formataddr
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from hospital.clock import now
from hospital.mail.models import Letter, MailChoice
from hospital.mail.queries import choice_of
from hospital.rules.hours import next_showing
from hospital.rules.post import may_go_at, next_try_after

State = Letter.State
DAILY = "daily"
TAKEN_AT_ONCE = 5
LEASE = timedelta(minutes=10)  # renewed before each letter, which settings.EMAIL_TIMEOUT bounds far below that
DAYS_TO_LOOK = 3  # for a daily letter that is not on its way yet


@dataclass(frozen=True, slots=True)
class Words:
    """A letter as it is read, without greeting or foot."""

    subject: str
    body: str


# What puts a kind of letter into words as things are now; None when there is nothing to tell any more.
Writer = Callable[[Letter], Words | None]


def send_due(
    writers: Mapping[str, Writer], *, is_stopped: Callable[[], bool] = lambda: False, connection: BaseEmailBackend | None = None
) -> dict[str, int]:
    """Send every letter that is due and say how many came to which end. Several senders may run at once."""
    ended: dict[str, int] = {}
    connection = connection or get_connection()
    try:
        while (taken := take(now())) and not is_stopped():
            for letter in filter(_renew, taken):
                end = _send(letter, writers, connection)
                ended[end] = ended.get(end, 0) + 1
    finally:
        connection.close()
    return ended


def take(at: datetime, most: int = TAKEN_AT_ONCE) -> list[Letter]:
    """The next letters that are due, leased to the caller alone."""
    lease = uuid.uuid4()
    with transaction.atomic():
        free = Letter.objects.filter(Q(lease_until=None) | Q(lease_until__lt=at), state=State.WAITING, next_try_at__lte=at)
        held = free.order_by("-is_urgent", "next_try_at", "pk").select_for_update(skip_locked=True)
        keys = list(held.values_list("pk", flat=True)[:most])
        Letter.objects.filter(pk__in=keys).update(lease=lease, lease_until=at + LEASE)
    taken = Letter.objects.filter(pk__in=keys, lease=lease).select_related("to", "hospital")
    return list(taken.order_by("-is_urgent", "next_try_at", "pk"))


def _renew(letter: Letter) -> bool:
    """Whether the letter is still the caller's, who may have been slow with those before it; then it is for another lease."""
    return bool(Letter.objects.filter(pk=letter.pk, lease=letter.lease).update(lease_until=now() + LEASE))


def _send(letter: Letter, writers: Mapping[str, Writer], connection: BaseEmailBackend) -> str:
    """Bring one leased letter to its next state, which is told."""
    choice = choice_of(letter.to)
    if not letter.is_urgent and letter.kind != DAILY:
        zone = ZoneInfo(letter.hospital.zone)
        allowed_at = may_go_at(now(), zone, choice.quiet_from, choice.quiet_until)
        if choice.how == MailChoice.How.DAILY:
            return _fold(letter, choice)
        if allowed_at > now():
            return _end(letter, State.WAITING, next_try_at=allowed_at)
    try:
        words, members = _in_words(letter, writers)
    except Exception as fault:  # a fault in the words of one letter must not stop the others
        return _failed(letter, fault)
    if words is None:
        return _end(letter, State.LAPSED, ended_at=now())
    letter.subject, letter.body = " ".join(words.subject.split())[:200], words.body
    try:
        connection.send_messages([message(letter)])
    except Exception as fault:  # whatever a mail server and the way to it can do
        connection.close()
        return _failed(letter, fault)
    return _sent(letter, members)


# --- words --------------------------------------------------------------------------------------------------------


def _in_words(letter: Letter, writers: Mapping[str, Writer]) -> tuple[Words | None, dict[int, Words | None]]:
    """The words of a letter, and for a daily one those of each letter in it."""
    if not letter.to.is_active:
        return None, {}
    with _where(letter):
        if letter.kind != DAILY:
            return writers[letter.kind](letter), {}
        members = letter.members.filter(state=State.FOLDED).select_related("to", "hospital").order_by("written_at", "pk")
        said = {each.pk: writers[each.kind](each) for each in members}
        return _together([words for words in said.values() if words]), said


@contextmanager
def _where(letter: Letter) -> Iterator[None]:
    """The hospital's clock, and the language that the reader chose."""
    with timezone.override(ZoneInfo(letter.hospital.zone)), translation.override(letter.to.language or settings.LANGUAGE_CODE):
        yield


def _together(said: list[Words]) -> Words | None:
    if not said:
        return None
    subject = ngettext("Today’s letter: %(first)s", "Today’s letter: %(n)d things", len(said))
    return Words(
        subject % {"n": len(said), "first": said[0].subject},
        "\n\n".join(f"{each.subject}\n{'-' * len(each.subject)}\n{each.body}" for each in said),
    )


def message(letter: Letter) -> EmailMessage:
    """The mail itself. Its Message-ID is the letter's key: the same letter twice is the same to every mailbox."""
    with _where(letter):
        foot = _("This letter was sent by a computer: do not answer it. Urgent? Phone %(phone)s.") % {"phone": letter.hospital.phone}
        choose = _("When letters come, and how many: %(address)s") % {"address": settings.SITE_URL + reverse("mail:choose")}
        hello = _("Hello %(name)s,") % {"name": letter.to.name}
    return EmailMessage(
        subject=letter.subject,
        body=f"{hello}\n\n{letter.body}\n\n-- \n{letter.hospital.name}\n{foot}\n{choose}\n",
        from_email=formataddr((letter.hospital.name, settings.DEFAULT_FROM_EMAIL)),
        to=[formataddr((letter.to.name, letter.to.email))],
        headers={"Message-ID": f"<{letter.key}@{settings.MAIL_DOMAIN}>", "Auto-Submitted": "auto-generated"},  # RFC 3834
    )


# --- what became of it --------------------------------------------------------------------------------------------


def _end(letter: Letter, state: str, **fields: object) -> str:
    """Give the lease back. Whoever lost it to another sender meanwhile changes nothing."""
    values = {"state": state, "lease": None, "lease_until": None, **fields}
    Letter.objects.filter(pk=letter.pk, lease=letter.lease).update(**values)
    return state


@transaction.atomic
def _sent(letter: Letter, members: Mapping[int, Words | None]) -> str:
    at = now()
    for pk, words in members.items():
        state, said = (State.SENT, {"subject": words.subject, "body": words.body}) if words else (State.LAPSED, {})
        Letter.objects.filter(pk=pk, state=State.FOLDED).update(state=state, ended_at=at, **said)
    return _end(letter, State.SENT, subject=letter.subject, body=letter.body, ended_at=at, tries=letter.tries + 1, error="")


def _failed(letter: Letter, fault: Exception) -> str:
    """Try again later; at last, or when the server says that there is no such mailbox, a person must look."""
    tries = letter.tries + 1
    pause = None if _is_for_good(fault) else next_try_after(tries)
    error = " ".join(f"{type(fault).__name__}: {fault}".replace(letter.to.email, _("(address)")).split())[:250]
    told = {"subject": letter.subject, "body": letter.body, "tries": tries, "error": error}
    if pause is None:
        return _end(letter, State.FAILED, ended_at=now(), **told)
    return _end(letter, State.WAITING, next_try_at=now() + pause, **told)


def _is_for_good(fault: Exception) -> bool:
    """Every recipient was refused with a permanent code: RFC 5321, 4.2.1, 5yz."""
    is_refusal = isinstance(fault, smtplib.SMTPRecipientsRefused)
    return is_refusal and all(500 <= code < 600 for code, _words in fault.recipients.values())


@transaction.atomic
def _fold(letter: Letter, choice: MailChoice) -> str:
    """Lay the letter into the person's next daily one that is not on its way yet."""
    zone, at = ZoneInfo(letter.hospital.zone), now()
    for _day in range(DAYS_TO_LOOK):
        at = next_showing(choice.daily_at, at, zone)
        key = f"{DAILY}.{letter.hospital_id}.{at.astimezone(zone).date()}.{letter.to_id}"
        new = {"hospital": letter.hospital, "to": letter.to, "kind": DAILY, "written_at": now(), "next_try_at": at}
        Letter.objects.get_or_create(key=key, defaults=new)
        daily = Letter.objects.select_for_update().get(key=key)
        if daily.state == State.WAITING and daily.lease is None:
            return _end(letter, State.FOLDED, folded_into=daily)
    return _end(letter, State.WAITING, next_try_at=at)

"""How often something may be tried, counted in a table, so that every server process counts alike and a restart forgets nothing.

The limits of signing in, all of them here: ten wrong passwords for an address in fifteen minutes; three mailed codes for an
address in fifteen minutes, each with five tries; from one network address forty codes an hour, and a hundred wrong
passwords or codes in fifteen minutes. A wrong password never stops a code or a passkey.
"""

from __future__ import annotations

import hashlib
import ipaddress
from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings
from django.db.models import F
from django.http import HttpRequest

from hospital.clock import now
from hospital.people.models import Tries

MOST = 10
WINDOW_S = 15 * 60


@dataclass(frozen=True, slots=True)
class Limit:
    """At most so many tries by or for somebody in a stretch of time that begins with the first of them."""

    name: str
    most: int
    window_s: int = WINDOW_S

    def key(self, who: str) -> str:
        return hashlib.sha256(f"{self.name}:{who.strip().lower()}".encode()).hexdigest()

    def is_reached(self, who: str) -> bool:
        return Tries.objects.filter(key=self.key(who), ends_at__gt=now(), count__gte=self.most).exists()

    def count(self, who: str) -> bool:
        """Count one more; whether it was still within the limit."""
        at, key = now(), self.key(who)
        Tries.objects.filter(ends_at__lte=at).delete()
        Tries.objects.get_or_create(key=key, defaults={"ends_at": at + timedelta(seconds=self.window_s)})
        Tries.objects.filter(key=key).update(count=F("count") + 1)
        return not Tries.objects.filter(key=key, count__gt=self.most).exists()

    def forget(self, who: str) -> None:
        Tries.objects.filter(key=self.key(who)).delete()


PASSWORDS = Limit("sign-in", MOST)
CODES = Limit("code", 3)
CODES_OF_A_NETWORK = Limit("code-network", 40, 3600)
WRONG_FROM_A_NETWORK = Limit("wrong-network", 100)


def network_of(request: HttpRequest) -> str:
    """Where a request comes from: of an IPv6 address the half that a household shares.

    What a client claims about itself counts only where a web server of ours stands in front and writes the last word.
    """
    claimed = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")[-1].strip() if settings.BEHIND_PROXY else ""
    try:
        address = ipaddress.ip_address(claimed or request.META.get("REMOTE_ADDR", ""))
    except ValueError:
        return "unknown"
    return str(ipaddress.ip_network((address, 64), strict=False)) if address.version == 6 else str(address)


def _key(email: str) -> str:
    return PASSWORDS.key(email)


def must_wait(email: str) -> bool:
    return PASSWORDS.is_reached(email)


def count(email: str) -> None:
    PASSWORDS.count(email)


def forget(email: str) -> None:
    PASSWORDS.forget(email)

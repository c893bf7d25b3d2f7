"""Wrong passwords are counted per e-mail address, in the shared cache, so that every server process counts alike."""

import hashlib

from django.core.cache import cache

MOST = 10
WINDOW_S = 15 * 60


def _key(email: str) -> str:
    return "sign-in:" + hashlib.sha256(email.strip().lower().encode()).hexdigest()


def must_wait(email: str) -> bool:
    return cache.get(_key(email), 0) >= MOST


def count(email: str) -> None:
    # Not incr(): in this cache it forgets the time that was asked for and falls back to five minutes.
    cache.set(_key(email), cache.get(_key(email), 0) + 1, WINDOW_S)


def forget(email: str) -> None:
    cache.delete(_key(email))

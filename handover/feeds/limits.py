"""How often an address may be asked: enough for every program that reads calendars, too little to load the server."""

from __future__ import annotations

from django.core.cache import cache

MOST = 60
WINDOW_S = 15 * 60


def must_wait(key: str) -> bool:
    """Counts one more time, in the shared cache, and says whether it was one too many. `key` is no secret."""
    name = f"calendar:{key}"
    asked = cache.get(name, 0) + 1
    cache.set(name, asked, WINDOW_S)
    return asked > MOST

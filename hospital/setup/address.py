"""The address of the first page: whoever can read the server's terminal may open it, for an hour."""

from __future__ import annotations

from django.core import signing

SALT = "hospital.setup"
LASTS_S = 3600


def new_token() -> str:
    return signing.dumps("first", salt=SALT)


def is_good(token: str) -> bool:
    try:
        return signing.loads(token, salt=SALT, max_age=LASTS_S) == "first"
    except signing.BadSignature:
        return False

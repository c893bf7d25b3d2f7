"""Tell the database who is acting, so that its audit triggers can write the name down."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import NamedTuple

from django.db import connection
from django.http import HttpRequest, HttpResponse


class Acting(NamedTuple):
    actor_id: int | None = None
    came_from: str = ""
    request_key: str = ""


NOBODY = Acting()
_acting: ContextVar[Acting] = ContextVar("acting", default=NOBODY)


@contextmanager
def acting(actor_id: int | None, came_from: str) -> Iterator[None]:
    """Everything written inside is written by this person, from this page or command."""
    token = _acting.set(Acting(actor_id, came_from[:100], str(uuid.uuid4())))
    _tell_postgresql()
    try:
        yield
    finally:
        _acting.reset(token)
        _tell_postgresql()


def _tell_postgresql() -> None:
    """PostgreSQL's triggers read session settings; SQLite's call the functions below instead."""
    if connection.vendor != "postgresql" or connection.needs_rollback:
        return
    actor_id, came_from, request_key = _acting.get()
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT set_config('hospital.actor', %s, false), set_config('hospital.came_from', %s, false), "
            "set_config('hospital.request_key', %s, false)",
            [str(actor_id or ""), came_from, request_key],
        )


def teach_sqlite(connection, **kwargs) -> None:
    """Give a new SQLite connection the functions that its audit triggers call."""
    if connection.vendor == "sqlite":
        for index, name in enumerate(["acting_person", "acting_from", "acting_key"]):
            connection.connection.create_function(name, 0, lambda index=index: _acting.get()[index])


def as_the_person(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Middleware: what a request writes is written by the person signed in."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if request.method in ("GET", "HEAD", "OPTIONS"):
            return get_response(request)
        with acting(request.user.pk, f"{request.method} {request.path}"):
            return get_response(request)

    return middleware

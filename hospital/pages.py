"""Page or part; an action's refusal becomes an error at its field; headers that every answer carries."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models.fields.files import FieldFile
from django.forms import BaseForm, BoundField, ModelChoiceField
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import patch_vary_headers
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext

from hospital.edits import EditCollision


class Showing:
    """What happened while a form was only shown: whether a button was pressed that then did nothing."""

    had_button = False


_only_showing: ContextVar[Showing | None] = ContextVar("only_showing", default=None)


def show(request: HttpRequest, page: str, context: dict | None = None, *, part: str | None = None, status: int = 200):
    """Render the page, or only `part` of it to a plain htmx request (not a boosted one, not a history restore)."""
    htmx = request.htmx
    wants_part = part and htmx and not htmx.boosted and not htmx.history_restore_request
    response = render(request, part if wants_part else page, context, status=status)
    patch_vary_headers(response, ["HX-Request"])
    return response


def done(form: BaseForm, action: Callable[..., Any], *args: Any, **kwargs: Any) -> bool:
    """Whether the form was sent, was right, and the action did its work with `form.cleaned_data`.

    What the action refuses (ValidationError, EditCollision) is put at the form's fields; the action's result is kept
    as `form.result`.
    """
    if not form.is_bound:
        return False
    is_right = form.is_valid()
    if _only_showing.get():
        form.add_error(None, gettext("You had been signed out. Nothing is saved yet: look through it, choose files again, then send it."))
    if not is_right or form.errors:
        return False
    try:
        form.result = action(*args, **kwargs, **form.cleaned_data)
    except ValidationError as refusal:
        put_at_fields(form, refusal)
    except EditCollision as collision:
        form.collision = collision
        form.add_error(None, str(collision.sentence))
    else:
        return True
    return False


@contextmanager
def only_showing() -> Iterator[Showing]:
    """Inside, a form is shown and no button does anything: somebody looks at what they sent after their session had ended."""
    showing = Showing()
    token = _only_showing.set(showing)
    try:
        yield showing
    finally:
        _only_showing.reset(token)


def put_at_fields(form: BaseForm, refusal: ValidationError) -> None:
    """What an action refused, at the fields that it names; what is said of no field of this form, above them."""
    if not hasattr(refusal, "error_dict"):
        return form.add_error(None, refusal)
    for field, errors in refusal.error_dict.items():
        at = field if field != NON_FIELD_ERRORS and field in form.fields else None
        form.add_error(at, errors)


def pressed(request: HttpRequest, action: Callable[..., Any], *args: Any, **kwargs: Any) -> Any:
    """Do what a button without fields asks for: the action's result, or None if it refused, which the next page says."""
    if showing := _only_showing.get():
        showing.had_button = True
        messages.error(request, gettext("You had been signed out, and nothing was done. Press the button once more."))
        return None
    try:
        return action(*args, **kwargs)
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    except EditCollision as collision:
        messages.error(request, str(collision.sentence))
    return None


def seen_version(request: HttpRequest) -> int:
    """The version that a button without fields was pressed on; 0 for none, and for what is no number."""
    return whole(request.POST.get("seen_version", ""))


def whole(text: str, otherwise: int = 0) -> int:
    """The whole number of up to nine digits that a text is, or `otherwise`."""
    return int(text) if text.isdecimal() and len(text) < 10 else otherwise


def status_of(form: BaseForm) -> int:
    """200 for a fresh form, 409 when somebody else saved first, 422 for a form with mistakes."""
    if not form.is_bound:
        return 200
    return 409 if hasattr(form, "collision") else 422


def both_versions(form: BaseForm) -> list[dict]:
    """After an EditCollision: label, yours, theirs and whether they differ for each visible field that the record has.

    The form's hidden `seen_version` moves on, so that saving once more puts yours over theirs on purpose.
    """
    theirs = form.collision.theirs
    form.data = form.data.copy()
    form.data[form.add_prefix("seen_version")] = str(theirs.version)
    fields = [bound for bound in form.visible_fields() if hasattr(theirs, bound.name)]
    return [_two_versions(bound, form.cleaned_data.get(bound.name), getattr(theirs, bound.name)) for bound in fields]


def _two_versions(bound: BoundField, yours: Any, theirs: Any) -> dict:
    return {
        "label": bound.label,
        "yours": _in_words(bound, yours),
        "theirs": _in_words(bound, theirs),
        "differs": (yours or None) != (theirs or None),
    }


def _in_words(bound: BoundField, value: Any) -> str:
    """A value as a person would read it: the choice's label, a day with its weekday, a row by its name."""
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if isinstance(value, datetime):
        return date_format(localtime(value), "D d-M-Y H:i")
    if isinstance(value, date):
        return date_format(value, "D d-M-Y")
    choices = {} if isinstance(bound.field, ModelChoiceField) else dict(getattr(bound.field, "choices", None) or {})
    values = value if isinstance(value, list | tuple) else [value]
    return ", ".join(str(choices.get(each, each)) for each in values if each not in (None, ""))


def as_picture(kept: FieldFile, *, name: str) -> HttpResponse:
    """A photograph of our own making, told to the browser to be a picture and nothing else. One that is not there is a 404."""
    if not kept:
        raise Http404
    try:
        with kept.open("rb") as file:
            response = HttpResponse(file.read(), content_type="image/jpeg")
    except FileNotFoundError:
        raise Http404 from None
    response["Content-Disposition"] = f'inline; filename="{name}"'
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["X-Content-Type-Options"] = "nosniff"
    return response


def add_headers(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Headers that Django and django-csp do not set."""

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.setdefault(
            "Permissions-Policy", "geolocation=(self), camera=(self), microphone=(), interest-cohort=()"
        )
        if getattr(request, "user", None) is not None and request.user.is_authenticated:
            response.setdefault("Cache-Control", "no-store")
        return response

    return middleware

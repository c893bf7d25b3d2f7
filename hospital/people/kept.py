"""A form that is sent after its session has ended is not lost: once its writer has signed in again it is shown as it was sent.

It is kept with the session of that browser (so signed, and in nobody else's hands), for an hour, for that person only. Who wrote
it is told by a signed cookie that outlives the session. Showing it writes nothing: the form stands there as after a mistake.
Passwords are not kept, and files cannot be.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.core import signing
from django.db import transaction
from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import reverse
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _

from hospital.clock import now
from hospital.pages import only_showing, show

KEPT = "kept_form"
WRITER = settings.SESSION_COOKIE_NAME.replace("sessionid", "writer")
WRITER_FOR = timedelta(days=7)
GOOD_FOR = timedelta(hours=1)
MOST_CHARACTERS = 200_000
SALT = "people.kept"
FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")


class KeepForms(LoginRequiredMiddleware):
    """Sign-in is required everywhere; what was typed meanwhile waits."""

    def handle_no_permission(self, request: HttpRequest, view_func: Callable) -> HttpResponse:
        if request.method == "POST" and request.accepts("text/html") and request.content_type in FORMS:
            _keep(request)
        if not request.htmx:
            return super().handle_no_permission(request, view_func)
        # A whole page, not a part in the middle of one; and back to the page, not to the part.
        back = request.path if request.method == "POST" else request.htmx.current_url_abs_path or "/"
        return HttpResponse(headers={"HX-Redirect": f"{reverse(settings.LOGIN_URL)}?{urlencode({'next': back})}"})

    def process_view(self, request: HttpRequest, view_func: Callable, view_args, view_kwargs) -> HttpResponse | None:
        response = super().process_view(request, view_func, view_args, view_kwargs)
        if response is not None or not request.user.is_authenticated or KEPT not in request.session:
            return response
        kept = request.session[KEPT]
        is_old = now() - datetime.fromisoformat(kept["at"]) > GOOD_FOR
        if is_old or kept["person"] != request.user.pk or (request.path == kept["path"] and request.method != "GET"):
            del request.session[KEPT]
        elif request.path == kept["path"]:
            return _shown_again(request, kept["said"], lambda: view_func(request, *view_args, **view_kwargs))
        return None

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        person = request.user.pk if hasattr(request, "user") and request.user.is_authenticated else None
        if person and _writer(request) != person:
            response.set_cookie(
                WRITER, signing.dumps(person, salt=SALT), max_age=WRITER_FOR, secure=settings.IS_HTTPS, httponly=True, samesite="Lax"
            )
        return response


def _writer(request: HttpRequest) -> int | None:
    try:
        return signing.loads(request.COOKIES.get(WRITER, ""), salt=SALT, max_age=WRITER_FOR)
    except signing.BadSignature:
        return None


def _keep(request: HttpRequest) -> None:
    writer = _writer(request)
    if writer is None:
        return
    said = request.POST.copy()
    for name in [each for each in said if "password" in each or each == "csrfmiddlewaretoken"]:
        del said[name]
    if len(text := said.urlencode()) > MOST_CHARACTERS:
        messages.error(request, _("You were signed out, and what you wrote is too long to be kept. Go back one page and copy it first."))
        return
    request.session[KEPT] = {"person": writer, "path": request.path, "said": text, "at": now().isoformat()}
    messages.warning(request, _("You were signed out meanwhile. What you wrote is kept: sign in as before, and it is there again."))


def _shown_again(request: HttpRequest, said: str, answer: Callable[[], HttpResponse]) -> HttpResponse:
    """The view's own answer to what was sent, as if something were wrong with it; whatever it wrote is taken back."""
    request.method, request._post, request._files = "POST", QueryDict(said), MultiValueDict()
    try:
        with only_showing() as showing, transaction.atomic():
            response = answer()
            transaction.set_rollback(True)
    except Exception:
        del request.session[KEPT]
        raise
    finally:
        request.method = "GET"
    if response.status_code // 100 != 3:
        return response
    if showing.had_button:  # there is nothing to look through
        del request.session[KEPT]
        return response
    # A view of another make has acted, which was taken back with the transaction: its good news must not be read.
    request._messages._queued_messages.clear()
    words = [", ".join(each) for name, each in request.POST.lists() if name not in ("key", "seen_version") and any(each)]
    return show(request, "people/kept_words.html", {"words": words})

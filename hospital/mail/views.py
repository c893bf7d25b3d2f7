"""The post for a coordinator to read, and the page on which anybody chooses when letters come."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET, require_POST

from hospital.mail import actions
from hospital.mail.forms import ChoiceForm
from hospital.mail.models import Letter
from hospital.mail.queries import choice_of, letters_at
from hospital.pages import done, pressed, show, status_of
from hospital.people.access import for_anyone, for_roles
from hospital.people.models import STAFF, Role

State = Letter.State
A_PAGE = 50
SHOWN = {
    "failed": (gettext_lazy("Not delivered"), [State.FAILED]),
    "waiting": (gettext_lazy("Waiting"), [State.WAITING, State.FOLDED]),
    "sent": (gettext_lazy("Sent"), [State.SENT, State.SETTLED]),
}
TONES = {State.FAILED: "late", State.SENT: "done", State.SETTLED: "done", State.WAITING: "waiting", State.FOLDED: "waiting"}
CHOSEN = ("how", "daily_at", "quiet_from", "quiet_until", "wants_reminders")


@require_GET
@for_roles(Role.COORDINATOR)
def post(request: HttpRequest) -> HttpResponse:
    """The hospital's letters: those that could not be delivered, those that wait, those that went. Names, no addresses."""
    counts = {name: letters_at(request.hospital, request.user, states).count() for name, (_label, states) in SHOWN.items()}
    asked = request.GET.get("show", "")
    chosen = asked if asked in SHOWN else "failed" if counts["failed"] else "sent"
    page = Paginator(letters_at(request.hospital, request.user, SHOWN[chosen][1]), A_PAGE).get_page(request.GET.get("page"))
    tabs = [{"name": n, "label": label, "count": counts[n], "is_current": n == chosen} for n, (label, _s) in SHOWN.items()]
    rows = [(letter, TONES.get(letter.state, "note")) for letter in page]
    return show(request, "mail/post.html", {"tabs": tabs, "page": page, "rows": rows, "chosen": chosen})


@require_GET
@for_roles(Role.COORDINATOR)
def letter(request: HttpRequest, letter_id: int) -> HttpResponse:
    """One letter as it went, or why it did not."""
    found = _letter(request, letter_id)
    return show(request, "mail/letter.html", {"letter": found, "tone": TONES.get(found.state, "note")})


def _letter(request: HttpRequest, letter_id: int) -> Letter:
    letters = Letter.objects.visible_to(request.user).filter(hospital=request.hospital)
    return get_object_or_404(letters.select_related("to", "settled_by", "folded_into"), pk=letter_id)


@require_POST
@for_roles(Role.COORDINATOR)
def again(request: HttpRequest, letter_id: int) -> HttpResponse:
    """Try a letter anew that could not be delivered."""
    if pressed(request, actions.try_again, _letter(request, letter_id), by=request.user):
        messages.success(request, _("It is tried again within a minute."))
    return redirect("mail:post")


@require_POST
@for_roles(Role.COORDINATOR)
def settle(request: HttpRequest, letter_id: int) -> HttpResponse:
    """The person was told in another way."""
    if pressed(request, actions.told_otherwise, _letter(request, letter_id), by=request.user):
        messages.success(request, _("Noted: told in another way."))
    return redirect("mail:post")


@for_anyone
def choose(request: HttpRequest) -> HttpResponse:
    """When and how letters come to the person who is signed in."""
    mine = choice_of(request.user)
    initial = {name: getattr(mine, name) for name in CHOSEN} | {"seen_version": mine.version}
    form = ChoiceForm(request.POST or None, initial=initial)
    if done(form, actions.choose, mine):
        messages.success(request, _("Noted. Letters come as you chose; urgent ones come at once."))
        return redirect("mail:choose")
    base = "base.html" if request.roles & STAFF else "base_carer.html"
    return show(request, "mail/choose.html", {"form": form, "base": base}, status=status_of(form))

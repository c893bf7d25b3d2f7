"""My account: the ways in which I sign in, and where I am signed in."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from hospital.pages import done, show, status_of
from hospital.people import actions, passkeys, sessions
from hospital.people.access import for_anyone
from hospital.people.forms import NewPasskeyForm, PasskeyNameForm, PasswordForm
from hospital.people.models import STAFF, SignedIn


def _base(request: HttpRequest) -> str:
    return "base.html" if request.roles & STAFF else "base_carer.html"


@require_GET
@for_anyone
def account(request: HttpRequest) -> HttpResponse:
    """Passkeys, password, and where I am signed in."""
    context = {
        "base": _base(request),
        "passkeys": request.user.passkeys.all(),
        "has_password": request.user.has_usable_password(),
        "sessions": sessions.open_sessions(request.user),
        "here": request.session.session_key,
    }
    return show(request, "people/account.html", context)


@for_anyone
@sessions.freshly_signed_in
def set_password(request: HttpRequest) -> HttpResponse:
    """Choose a new password; everywhere else I am signed out."""
    form = PasswordForm(request.POST or None)
    if done(form, actions.set_password, request.user):
        sessions.end(sessions.open_sessions(request.user))
        sessions.begin(request, request.user, SignedIn.By.PASSWORD)
        actions.tell_of_change(request.user, _("A new password was set"))
        messages.success(request, _("Your new password is set. Everywhere else you are signed out."))
        return redirect("people:account")
    return show(request, "people/set_password.html", {"base": _base(request), "form": form}, status=status_of(form))


@for_anyone
@sessions.freshly_signed_in
def add_passkey(request: HttpRequest) -> HttpResponse:
    """Let the device that I hold make a passkey, and keep its public half."""
    form = NewPasskeyForm(request.POST or None, initial={"name": sessions.device_of(request)})
    if done(form, lambda **said: passkeys.add_passkey(request, **said)):
        actions.tell_of_change(request.user, _("A passkey was added"))
        messages.success(request, _("“%(name)s” is added: from now on it signs you in.") % {"name": form.result.name})
        return redirect("people:account")
    context: dict = {"base": _base(request), "form": form, "works_here": passkeys.work_here(request)}
    if context["works_here"]:
        context["options"], context["state"] = passkeys.registration(request)
    elif settings.IS_LOOPBACK:
        context["by_name_url"] = f"{request.scheme}://localhost:{request.get_port()}{request.path}"
    return show(request, "people/add_passkey.html", context, status=status_of(form))


@for_anyone
def rename_passkey(request: HttpRequest, passkey_id: int) -> HttpResponse:
    """Call a passkey by another name."""
    passkey = get_object_or_404(request.user.passkeys, pk=passkey_id)
    form = PasskeyNameForm(request.POST or None, initial={"name": passkey.name})
    if done(form, actions.rename_passkey, passkey):
        return redirect("people:account")
    context = {"base": _base(request), "form": form, "passkey": passkey}
    return show(request, "people/rename_passkey.html", context, status=status_of(form))


@require_POST
@for_anyone
@sessions.freshly_signed_in
def remove_passkey(request: HttpRequest, passkey_id: int) -> HttpResponse:
    """Take a passkey away."""
    passkey = get_object_or_404(request.user.passkeys, pk=passkey_id)
    actions.remove_passkey(passkey)
    actions.tell_of_change(request.user, _("A passkey was removed"))
    messages.success(request, _("“%(name)s” signs you in no more.") % {"name": passkey.name})
    return redirect("people:account")


@require_POST
@for_anyone
def sign_out_elsewhere(request: HttpRequest) -> HttpResponse:
    """End every session of mine but this one."""
    count = sessions.end_others(request)
    words = ngettext("You are signed out in %(n)d other place.", "You are signed out in %(n)d other places.", count)
    messages.success(request, words % {"n": count})
    return redirect("people:account")

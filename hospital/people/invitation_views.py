"""Asking somebody to work with the hospital, and saying yes to it."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital.clock import now
from hospital.pages import done, pressed, show, status_of
from hospital.people import actions, sessions
from hospital.people.access import for_roles
from hospital.people.forms import InvitationForm, JoinForm
from hospital.people.models import Invitation, Person, Role, SignedIn

COORDINATORS = for_roles(Role.COORDINATOR)


@require_GET
@COORDINATORS
def invitations(request: HttpRequest) -> HttpResponse:
    """Who has been asked and has not answered yet, and who has joined of late."""
    of_here = request.hospital.invitations.select_related("invited_by", "accepted_by")
    context = {
        "open": of_here.open(),
        "accepted": of_here.exclude(accepted_at=None)[:20],
        "now": now(),
        "mail_is_printed": settings.MAIL_IS_PRINTED,
    }
    return show(request, "people/invitations.html", context)


@COORDINATORS
def invite(request: HttpRequest) -> HttpResponse:
    """Ask somebody by e-mail."""
    form = InvitationForm(request.POST or None)
    if done(form, actions.invite, request.hospital, by=request.user):
        return _sent(request, *form.result)
    return show(request, "people/invite.html", {"form": form}, status=status_of(form))


def _sent(request: HttpRequest, invitation: Invitation, secret: str) -> HttpResponse:
    """After the transaction: a mail cannot be taken back."""
    if actions.mail_invitation(invitation, secret):
        messages.success(request, _("The invitation to %(email)s is on its way.") % {"email": invitation.email})
    else:
        words = _("The mail to %(email)s could not be sent. Send the invitation again later.")
        messages.error(request, words % {"email": invitation.email})
    return redirect("people:invitations")


@require_POST
@COORDINATORS
def resend(request: HttpRequest, invitation_id: int) -> HttpResponse:
    """Mail a new link; the old one stops working."""
    invitation = get_object_or_404(request.hospital.invitations, pk=invitation_id)
    renewed = pressed(request, actions.renew, invitation)
    return _sent(request, *renewed) if renewed else redirect("people:invitations")


@require_POST
@COORDINATORS
def withdraw(request: HttpRequest, invitation_id: int) -> HttpResponse:
    """The link stops working at once."""
    invitation = get_object_or_404(request.hospital.invitations, pk=invitation_id)
    if pressed(request, actions.withdraw, invitation):
        messages.success(request, _("The invitation to %(email)s is withdrawn.") % {"email": invitation.email})
    return redirect("people:invitations")


def join(request: HttpRequest, secret: str) -> HttpResponse:
    """The page behind the link. Opening it changes nothing, so that a program which checks mail uses nothing up."""
    found = Invitation.objects.open().filter(digest=actions.digest(secret), ends_at__gt=now())
    invitation = found.select_related("hospital", "invited_by").first()
    if invitation is None:
        return show(request, "people/join_gone.html", status=404)
    known = Person.objects.filter(email=invitation.email).first()
    if request.method == "POST" and known:
        if pressed(request, actions.accept, invitation):
            messages.success(request, _("You now work with %(hospital)s as well.") % {"hospital": invitation.hospital})
        return redirect("home" if request.user == known else "people:sign-in")
    form = JoinForm(request.POST or None)
    if done(form, actions.accept, invitation):
        sessions.begin(request, form.result, SignedIn.By.INVITATION)
        messages.success(request, _("Welcome. A passkey saves you the code or the password: add one under “My account”."))
        return redirect("home")
    response = show(request, "people/join.html", {"invitation": invitation, "form": form, "known": known}, status=status_of(form))
    response["Referrer-Policy"] = "no-referrer"  # the address is the secret
    return response

"""Signing in and out, and the first page of each role."""

import re

from django.contrib.auth import views as auth_views
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from hospital.people.access import CHOSEN, for_anyone
from hospital.people.forms import SignInForm
from hospital.people.models import STAFF, Role
from hospital.sites.models import Hospital

CARER_SESSION_S = 30 * 24 * 3600  # a phone on the river bank must not ask for a password before it sends a log

_sign_in = auth_views.LoginView.as_view(
    template_name="people/sign_in.html",
    authentication_form=SignInForm,
    redirect_authenticated_user=True,
    extra_context={"hospitals": Hospital.objects.order_by("name").all},  # called by the page, so asked anew each time
)


def sign_in(request: HttpRequest) -> HttpResponse:
    """Sign in; who is a carer only, on a phone of their own, stays signed in for a month."""
    response = _sign_in(request)
    if request.method == "POST" and request.user.is_authenticated:
        if not request.user.memberships.filter(role__in=STAFF).exists():
            request.session.set_expiry(CARER_SESSION_S)
    return response


sign_out = auth_views.LogoutView.as_view()


@for_anyone
def home(request: HttpRequest) -> HttpResponse:
    """Staff start with the day's board, carers with their animals."""
    if request.roles & STAFF:
        return redirect("boards:today")
    if Role.CARER in request.roles:
        return redirect("logs:mine")
    return render(request, "people/no_role.html")


@for_anyone
def work_at(request: HttpRequest) -> HttpResponse:
    """Choose the hospital to work at, for people who belong to several."""
    if request.method == "POST":
        wanted = request.POST.get("hospital", "")
        hospital_id = int(wanted) if re.fullmatch(r"[0-9]{1,18}", wanted) else 0
        if chosen := request.user.memberships.filter(hospital_id=hospital_id).first():
            request.session[CHOSEN] = chosen.hospital_id
            return redirect("home")
    hospitals = request.user.hospitals.distinct().order_by("name")
    return render(
        request, "people/work_at.html", {"hospitals": hospitals}, status=422 if request.method == "POST" else 200
    )

"""Signing in and out, and the first page of each role."""

from django.contrib.auth import views as auth_views
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from hospital.people.access import CHOSEN, for_anyone
from hospital.people.forms import SignInForm
from hospital.people.models import STAFF, Role

sign_in = auth_views.LoginView.as_view(
    template_name="people/sign_in.html", authentication_form=SignInForm, redirect_authenticated_user=True
)
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
        chosen = request.user.memberships.filter(hospital_id=request.POST.get("hospital") or 0).first()
        if chosen:
            request.session[CHOSEN] = chosen.hospital_id
            return redirect("home")
    hospitals = request.user.hospitals.distinct().order_by("name")
    return render(request, "people/work_at.html", {"hospitals": hospitals})

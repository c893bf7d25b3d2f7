"""Signing in and out, and the first page of each role."""

import re
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import views as auth_views
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from hospital.pages import done, show, status_of
from hospital.people import codes, passkeys, sessions
from hospital.people.access import CHOSEN, for_anyone
from hospital.people.actions import choose_reading
from hospital.people.attempts import network_of
from hospital.people.forms import AskForCodeForm, CodeForm, PasskeyForm, ReadingForm, SignInForm
from hospital.people.models import STAFF, Role, SignedIn
from hospital.sites.models import Hospital

A_YEAR_S = 365 * 24 * 3600
CODE = "code"  # the session's key for the code that this browser asked for

# --- signing in ---------------------------------------------------------------------------------------------------


class SignIn(auth_views.LoginView):
    """By password; the same page offers a mailed code and a passkey. `again`: once more, before something grave."""

    template_name = "people/sign_in.html"
    authentication_form = SignInForm

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.user.is_authenticated and not _is_again(request):
            return redirect(self.get_success_url())
        return super().dispatch(request, *args, **kwargs)

    def get_initial(self) -> dict[str, Any]:
        return {"username": self.request.user.email} if self.request.user.is_authenticated else {}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | sign_in_page(self.request)

    def form_valid(self, form: SignInForm) -> HttpResponse:
        sessions.begin(self.request, form.get_user(), SignedIn.By.PASSWORD)
        return redirect(self.get_success_url())


def _is_again(request: HttpRequest) -> bool:
    return "again" in request.GET or "again" in request.POST


def sign_in_page(request: HttpRequest) -> dict[str, Any]:
    """What the page shows beside the form of address and password."""
    context: dict[str, Any] = {"hospitals": Hospital.objects.order_by("name").all, "again": _is_again(request), "next": _next(request)}
    if passkeys.work_here(request):
        options, state = passkeys.signing_in(request)
        context |= {"passkey_options": options, "passkey_form": PasskeyForm(initial={"state": state}, auto_id=False)}
    elif settings.IS_LOOPBACK:
        context["by_name_url"] = f"{request.scheme}://localhost:{request.get_port()}{request.path}"
    return context


def _next(request: HttpRequest) -> str:
    """Where to go after signing in: an address of this site, or nowhere."""
    wanted = request.POST.get("next", request.GET.get("next", ""))
    is_ours = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if is_ours else ""


def _go_on(request: HttpRequest, wanted: str = "") -> HttpResponseRedirect:
    return redirect(wanted or _next(request) or "home")


def ask_for_code(request: HttpRequest) -> HttpResponse:
    """Have a code mailed to an address."""
    form = AskForCodeForm(request.POST or None, initial={"username": request.GET.get("username", "")})
    if done(form, lambda username: codes.ask_for_code(username, network=network_of(request))):
        request.session[CODE] = {"key": str(form.result), "email": form.cleaned_data["username"], "next": _next(request)}
        return redirect("people:enter-code")
    return show(request, "people/ask_for_code.html", {"form": form, "next": _next(request)}, status=status_of(form))


def enter_code(request: HttpRequest) -> HttpResponse:
    """Type the code that was mailed."""
    asked = request.session.get(CODE)
    if not asked:
        return redirect("people:ask-for-code")
    form = CodeForm(request.POST or None)
    if done(form, lambda code: codes.enter_code(asked["key"], code, network=network_of(request))):
        del request.session[CODE]
        sessions.begin(request, form.result, SignedIn.By.CODE)
        return _go_on(request, asked["next"])
    context = {"form": form, "asked": asked, "mail_is_printed": settings.MAIL_IS_PRINTED}
    return show(request, "people/enter_code.html", context, status=status_of(form))


@require_POST
def by_passkey(request: HttpRequest) -> HttpResponse:
    """Sign in by what a device answered for a passkey."""
    form = PasskeyForm(request.POST)
    if done(form, lambda **said: passkeys.person_with_passkey(request, **said)):
        sessions.begin(request, form.result, SignedIn.By.PASSKEY)
        return _go_on(request)
    for sentence in [each for errors in form.errors.values() for each in errors]:
        messages.error(request, sentence)
    back = {"next": _next(request)} | ({"again": 1} if _is_again(request) else {})
    return redirect(f"{reverse('people:sign-in')}?{urlencode(back)}")


_sign_out = auth_views.LogoutView.as_view()


def sign_out(request: HttpRequest) -> HttpResponse:
    """Sign out here."""
    if request.method == "POST" and request.user.is_authenticated:
        sessions.end(list(request.user.signed_in.filter(session_key=request.session.session_key)))
    return _sign_out(request)


# --- where to begin, where to work --------------------------------------------------------------------------------


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


# --- how one reads ------------------------------------------------------------------------------------------------


@require_POST
def choose_language(request: HttpRequest) -> HttpResponse:
    """Another language for these pages: kept with the person, else by the browser. Who asks for an unknown one keeps theirs."""
    response, language = _go_on(request), request.POST.get("language", "")
    if language in dict(settings.LANGUAGES):
        _remember(response, language)
        if request.user.is_authenticated:
            choose_reading(request.user, language=language, paper=request.user.paper, print_size=request.user.print_size)
    return response


@for_anyone
def reading(request: HttpRequest) -> HttpResponse:
    """How I read: language, paper and print."""
    person = request.user
    now = {"language": person.language or request.LANGUAGE_CODE, "paper": person.paper, "print_size": person.print_size}
    form = ReadingForm(request.POST if request.method == "POST" else None, initial=now)
    if done(form, choose_reading, person):
        return _remember(redirect("home"), person.language)
    base = "base.html" if request.roles & STAFF else "base_carer.html"
    return show(request, "people/reading.html", {"form": form, "base": base}, status=status_of(form))


def _remember(response: HttpResponse, language: str) -> HttpResponse:
    """Keep the language in the browser too: for pages before signing in."""
    response.set_cookie(settings.LANGUAGE_COOKIE_NAME, language, max_age=A_YEAR_S, samesite="Lax", secure=settings.IS_HTTPS)
    return response

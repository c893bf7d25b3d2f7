"""Who holds the paper may report about that one animal, and sees nothing else."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.cache import never_cache

from handover.packs.codes import code_typed, is_good
from handover.packs.views import warnings_of
from hospital.admissions.models import Patient
from hospital.pages import show
from hospital.people.attempts import Limit, network_of
from hospital.sites.models import Hospital

WRONG_CODES = Limit("animal-code-wrong", 20)  # from one network address in fifteen minutes
REPORTS = Limit("animal-code-reports", 30, 3600)  # by one code in an hour


class CodeConverter:
    """A code in an address, as it is printed or as it was typed."""

    regex = "[0-9A-Za-z]{4}-?[0-9A-Za-z]{4}-?[0-9A-Za-z]{4}"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


def for_holder(view: Callable) -> Callable:
    """The view gets the code's pack, in its hospital's time. A code that is not good says so and whom to phone, no more.

    Somebody who is signed in and may see the animal goes to the usual page, so that the report is in their own name.
    """

    @never_cache
    @wraps(view)
    def guarded(request: HttpRequest, code: str, *args, **kwargs) -> HttpResponse:
        network = network_of(request)
        found = None if WRONG_CODES.is_reached(network) else code_typed(code)
        if found is None:
            WRONG_CODES.count(network)
            return _shut(request, Hospital.objects.order_by("name"), status=404)
        patient = found.pack.patient
        if request.method == "GET" and _may_see(request, patient):
            for sentence in warnings_of(found.pack):
                messages.error(request, sentence)
            return redirect("logs:day", patient.case_number)
        if not is_good(found):
            return _shut(request, [patient.hospital], status=410)
        with timezone.override(ZoneInfo(patient.hospital.zone)):
            response = view(request, code, found.pack, *args, **kwargs)
        response["Referrer-Policy"] = "no-referrer"  # the address is the secret
        return response

    return guarded


def _may_see(request: HttpRequest, patient: Patient) -> bool:
    return request.user.is_authenticated and Patient.objects.visible_to(request.user).filter(pk=patient.pk).exists()


def _shut(request: HttpRequest, hospitals, status: int) -> HttpResponse:
    """What was typed into a form that came too late is shown, to be read out on the phone: nothing else would keep it."""
    hidden = {"csrfmiddlewaretoken", "key", "made_at", "sent_at", "on", "corrects", "photo_follows"}
    said = [(name, ", ".join(request.POST.getlist(name))) for name in request.POST if name not in hidden]
    return show(request, "codes/shut.html", {"hospitals": hospitals, "said": [row for row in said if row[1]]}, status=status)

"""The page that proposes carers for several animals at once, and takes each row by itself."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.pages import done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import STAFF
from hospital.placements.actions import place
from hospital.placements.forms import PlaceForm
from hospital.placements.matching import MOST_AT_ONCE, Row, proposal
from hospital.placements.queries import waiting_for_carers
from hospital.placements.words import change_in_words, reasons_against, reasons_for


@for_roles(*STAFF)
def match(request: HttpRequest) -> HttpResponse:
    """The best carers for several animals as a whole. A row that is sent is placed, and the others are asked about anew."""
    waiting = waiting_for_carers(request.user, request.hospital)
    if request.method != "POST":
        return _show(request, list(waiting), request.GET.getlist("animal"))
    patient = get_object_or_404(waiting, case_number=request.POST.get("patient", ""))
    form, asked = PlaceForm(request.POST, hospital=request.hospital), request.POST.getlist("animal")
    if done(form, place, patient, by=request.user, at=now(), on=today()):
        messages.success(request, _("%(patient)s is offered to %(carer)s.") % {"patient": patient, "carer": form.result.carer})
        rest = [("animal", number) for number in asked if number != patient.case_number]
        return redirect(f"{reverse('placements:match')}?{urlencode(rest)}")
    return _show(request, list(waiting), asked, form, patient)


def _show(
    request: HttpRequest, waiting: list[Patient], asked: list[str], form: PlaceForm | None = None, sent: Patient | None = None
) -> HttpResponse:
    chosen = [patient for patient in waiting if patient.case_number in asked]
    too_many = len(chosen) > MOST_AT_ONCE
    found = proposal([] if too_many else chosen, today())
    context = {
        "waiting": waiting,
        "chosen": chosen,
        "too_many": too_many,
        "most": MOST_AT_ONCE,
        "rows": [_in_words(row, form if row.patient == sent else None) for row in found.rows],
        "is_proven": found.is_proven,
        "form": form,
    }
    return show(request, "placements/match.html", context, status=status_of(form) if form else 200)


def _in_words(row: Row, form: PlaceForm | None) -> dict[str, Any]:
    """A row, and what was refused if it is the one that was sent."""
    here = next((each for each in row.patient.placements.all() if each.ended_at is None), None)
    return {
        "patient": row.patient,
        "proposed": row.proposed,
        "for": reasons_for(row.proposed, frozenset()) if row.proposed else [],
        "against": reasons_against(row.proposed) if row.proposed else [],
        "others": [(each.offer.name, reasons_against(each)) for each in row.others],
        "change": change_in_words(row.change) if row.change else "",
        "seen_placement": here.pk if here else 0,
        "errors": [error for errors in form.errors.values() for error in errors] if form else [],
        "note": form["note"].value() if form else "",
    }

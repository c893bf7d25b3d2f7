"""Pages of release: who could go, criterion by criterion, and the sheet for the day."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from handover.releases import actions
from handover.releases.forms import AssessForm, DayForm, GoAheadForm
from handover.releases.lists import chosen
from handover.releases.models import ReleaseDay
from handover.releases.queries import BY_A_PERSON, Readiness, history, readiness, readiness_of_one
from handover.releases.sheet import sheet
from handover.releases.wording import lines, parts_of, ranked, waits_in_words, when_in_words
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.pages import both_versions, done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import STAFF, Role

A_PAGE = 40
READERS = for_patient(*STAFF)
JUDGES = for_patient(Role.VET, Role.COORDINATOR)


@require_GET
@for_roles(*STAFF)
def candidates(request: HttpRequest) -> HttpResponse:
    """Every animal in care, the nearest to release first."""
    form, patients = chosen(request)
    placed = ranked(readiness(patients, today()).values(), today())
    page = Paginator(placed, A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "parts": parts_of(page.object_list, today()),
        "page": page,
        "ready_count": sum(slug == "now" for slug, ready in placed),
        "as_of": now(),
        "is_filtered": any(request.GET.get(name) for name in ("words", "where")),
    }
    return show(request, "releases/candidates.html", context, part="releases/_candidates.html")


@require_GET
@READERS
def criteria(request: HttpRequest, patient: Patient) -> HttpResponse:
    """One animal: every criterion with its evidence, what people found, and the way on."""
    ready = readiness_of_one(patient, today())
    context = {
        **_base(request, patient, ready),
        "automatic": lines(ready, (a for a in ready.assessed if a.criterion.needs not in BY_A_PERSON)),
        "judged": lines(ready, (a for a in ready.assessed if a.criterion.needs in BY_A_PERSON)),
        "findings": _history(patient, ready),
        "go_aheads": patient.go_aheads.select_related("decided_by"),
        "agreed": ReleaseDay.objects.filter(patient=patient).first(),
    }
    return show(request, "releases/criteria.html", context)


def _base(request: HttpRequest, patient: Patient, ready: Readiness) -> dict:
    held = set(request.user.memberships.filter(hospital=patient.hospital_id).values_list("role", flat=True))
    return {
        "patient": patient,
        "ready": ready,
        "when": when_in_words(ready, today()),
        "waits": waits_in_words(ready),
        "can_judge": bool(held & {Role.VET, Role.COORDINATOR}),
        "is_vet": Role.VET in held,
    }


def _history(patient: Patient, ready: Readiness) -> list[dict]:
    wordings = {each.criterion.id: each.criterion.wording for each in ready.assessed}
    return [{"row": row, "wording": wordings.get(row.criterion, row.criterion)} for row in history(patient)]


@JUDGES
def assess(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Judge all criteria that need a person, or the one named in the address."""
    ready = readiness_of_one(patient, today())
    asked = [a for a in ready.assessed if a.criterion.needs in BY_A_PERSON]
    if one := request.GET.get("criterion"):
        asked = [a for a in asked if a.criterion.id == one]
    latest = max((row.pk for row in history(patient)), default=0)
    form = AssessForm(request.POST or None, criteria=[a.criterion for a in asked], latest=latest, initial={"seen_latest": latest})
    if asked and done(form, actions.assess_criteria, patient, by=request.user):
        messages.success(request, _("Saved. Judged again, a later finding takes its place."))
        return redirect("releases:criteria", patient.case_number)
    pairs = list(zip(form.questions(), lines(ready, asked), strict=True))
    context = {**_base(request, patient, ready), "form": form, "pairs": pairs}
    return show(request, "releases/assess.html", context, part="releases/_assess_form.html", status=status_of(form))


@JUDGES
def go_ahead(request: HttpRequest, patient: Patient) -> HttpResponse:
    """On to recording the release: at once if all is met, else with a vet's reason."""
    ready = readiness_of_one(patient, today())
    agreed = ReleaseDay.objects.filter(patient=patient).first()
    known = {"kind": "released"} | ({"place": agreed.place} if agreed and agreed.place else {})
    onwards = f"{reverse('outcomes:record', args=[patient.case_number])}?{urlencode(known)}"
    if ready.is_ready:
        return redirect(onwards)
    form = GoAheadForm(request.POST or None)
    if done(form, actions.go_ahead, patient, by=request.user):
        messages.warning(request, _("Your reason is kept. Now record the release."))
        return redirect(onwards)
    context = {**_base(request, patient, ready), "form": form, "missing": lines(ready, ready.unmet)}
    return show(request, "releases/go_ahead.html", context, part="releases/_go_ahead_form.html", status=status_of(form))


@JUDGES
def day(request: HttpRequest, patient: Patient) -> HttpResponse:
    """When, where and with whom it goes."""
    agreed = ReleaseDay.objects.filter(patient=patient).first()
    form = DayForm(request.POST or None, agreed=agreed, initial={} if agreed else {"place": patient.found_place})
    if done(form, actions.agree_on_day, patient):
        messages.success(request, _("Saved. Print the day sheet for whoever drives."))
        return redirect("releases:criteria", patient.case_number)
    rows = both_versions(form) if hasattr(form, "collision") else []
    context = {"patient": patient, "form": form, "rows": rows}
    return show(request, "releases/day.html", context, part="releases/_day_form.html", status=status_of(form))


@require_GET
@READERS
def day_sheet(request: HttpRequest, patient: Patient) -> HttpResponse:
    """To be printed. The exact place only when asked for: most who see the sheet need not know it."""
    context = sheet(patient, is_exact=request.GET.get("place") == "exact")
    context["missing"] = readiness_of_one(patient, today()).unmet
    return show(request, "releases/day_sheet.html", {**context, "hospital": patient.hospital, "printed_at": now()})

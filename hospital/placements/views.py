"""Pages about carers, and about where an animal lives."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient, TaxonGroup
from hospital.clock import now, today
from hospital.pages import both_versions, done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import STAFF, Carer, CarerAway, Role
from hospital.placements import actions, queries
from hospital.placements.forms import (
    AcceptForm,
    AwayForm,
    BringBackForm,
    CarerForm,
    DeclineForm,
    EndLoanForm,
    LendForm,
    LimitForm,
    NewCarerForm,
    PlaceForm,
)
from hospital.placements.words import facilities_in_words, kilometres, reasons_against, reasons_for

CORRECTED = (
    "authority",
    "authority_ends_on",
    "taxon_groups",
    "facilities",
    "room_for",
    "experience",
    "town",
    "latitude",
    "longitude",
    "is_active",
)

# --- carers -------------------------------------------------------------------------------------------------------


@require_GET
@for_roles(*STAFF)
def carers(request: HttpRequest) -> HttpResponse:
    """Who has room, may hold what, and is away when."""
    found = queries.carers_of(request.hospital, today())
    groups = dict(TaxonGroup.objects.values_list("slug", "name"))
    context = {
        "rows": [_card(carer, groups) for carer in found],
        "without_profile": queries.carers_without_profile(request.hospital),
        "is_coordinator": Role.COORDINATOR in request.roles,
        "today": today(),
    }
    return show(request, "placements/carers.html", context)


def _card(carer: Carer, groups: dict[str, str]) -> dict:
    return {
        "carer": carer,
        "room_left": max(0, carer.room_for - carer.animals_there),
        "groups": ", ".join(groups.get(slug, slug) for slug in carer.taxon_groups),
        "facilities": facilities_in_words(carer.facilities),
        "km": kilometres(queries.distance_to(carer)),
        "authority_ended": bool(carer.authority_ends_on and carer.authority_ends_on < today()),
    }


@require_GET
@for_roles(*STAFF)
def carer(request: HttpRequest, carer_id: int) -> HttpResponse:
    found = get_object_or_404(queries.carers_of(request.hospital, today()), pk=carer_id)
    groups = dict(TaxonGroup.objects.values_list("slug", "name"))
    is_coordinator = Role.COORDINATOR in request.roles
    context = {**_card(found, groups), "is_coordinator": is_coordinator, "loans": queries.loans_of(found), "today": today()}
    return show(request, "placements/carer.html", context)


@for_roles(Role.COORDINATOR)
def carer_edit(request: HttpRequest, carer_id: int) -> HttpResponse:
    found = _carer(request, carer_id)
    known = {name: getattr(found, name) for name in CORRECTED}
    form = CarerForm(request.POST or None, initial=known | {"phone": found.person.phone, "seen_version": found.version})
    if done(form, actions.correct_carer, found):
        messages.success(request, _("What %(carer)s can offer was saved.") % {"carer": found})
        return redirect("placements:carer", found.pk)
    context = {"form": form, "carer": found} | ({"rows": both_versions(form)} if hasattr(form, "collision") else {})
    return show(
        request, "placements/carer_edit.html", context, part="placements/_carer_form.html", status=status_of(form)
    )


def _carer(request: HttpRequest, carer_id: int) -> Carer:
    return get_object_or_404(Carer.objects.at(request.hospital).select_related("person"), pk=carer_id)


@for_roles(Role.COORDINATOR)
def carer_add(request: HttpRequest) -> HttpResponse:
    """Begin the profile of somebody who has the role and no profile yet."""
    form = NewCarerForm(request.POST or None, people=queries.carers_without_profile(request.hospital))
    if done(form, actions.add_carer, request.hospital):
        messages.success(request, _("Write down what %(carer)s may hold and has.") % {"carer": form.result})
        return redirect("placements:carer-edit", form.result.pk)
    return show(
        request,
        "placements/carer_add.html",
        {"form": form},
        part="placements/_carer_add_form.html",
        status=status_of(form),
    )


@for_roles(Role.COORDINATOR)
def away_add(request: HttpRequest, carer_id: int) -> HttpResponse:
    found = _carer(request, carer_id)
    start = {name: request.GET.get(name) for name in ("starts_on", "ends_on")}
    form = AwayForm(request.POST or None, initial=start)
    if done(form, actions.add_away, found, today=today()):
        messages.success(request, _("The days away were saved. Look at the visits that were planned for them."))
        return redirect("placements:carer", found.pk)
    return show(
        request,
        "placements/away_add.html",
        {"form": form, "carer": found},
        part="placements/_away_form.html",
        status=status_of(form),
    )


@require_POST
@for_roles(Role.COORDINATOR)
def away_remove(request: HttpRequest, carer_id: int, away_id: int) -> HttpResponse:
    found = _carer(request, carer_id)
    actions.remove_away(get_object_or_404(found.away, pk=away_id))
    messages.success(request, _("The days away were taken out of the list."))
    return redirect("placements:carer", found.pk)


@for_roles(Role.CARER)
def my_away(request: HttpRequest) -> HttpResponse:
    """A carer's own days away."""
    mine = get_object_or_404(Carer.objects.at(request.hospital), person=request.user)
    form = AwayForm(request.POST or None)
    if done(form, actions.add_away, mine, today=today()):
        messages.success(request, _("Saved. The hospital keeps visits off these days."))
        return redirect("placements:my-away")
    context = {"form": form, "away_days": mine.away.filter(ends_on__gte=today())}
    return show(
        request, "placements/my_away.html", context, part="placements/_my_away_form.html", status=status_of(form)
    )


@require_POST
@for_roles(Role.CARER)
def my_away_remove(request: HttpRequest, away_id: int) -> HttpResponse:
    mine = CarerAway.objects.filter(carer__person=request.user, carer__hospital=request.hospital)
    actions.remove_away(get_object_or_404(mine, pk=away_id))
    messages.success(request, _("The days away were taken out of the list."))
    return redirect("placements:my-away")


# --- what is lent, and what the law limits ------------------------------------------------------------------------


@for_roles(*STAFF)
def lend(request: HttpRequest, carer_id: int) -> HttpResponse:
    found = _carer(request, carer_id)
    form = LendForm(request.POST or None, carer=found, initial={"patient": request.GET.get("patient")})
    if done(form, actions.lend, found, by=request.user, at=now(), today=today()):
        messages.success(request, _("Lent to %(carer)s: %(what)s.") % {"carer": found, "what": form.result.what})
        return redirect("placements:carer", found.pk)
    return show(request, "placements/lend.html", {"form": form, "carer": found}, part="placements/_lend_form.html", status=status_of(form))


@for_roles(*STAFF)
def loan_end(request: HttpRequest, carer_id: int, loan_id: int) -> HttpResponse:
    """It came back, or never will."""
    found = _carer(request, carer_id)
    loan = get_object_or_404(found.loans, pk=loan_id)
    form = EndLoanForm(request.POST or None, initial={"seen_version": loan.version})
    if done(form, actions.end_loan, loan, by=request.user, at=now()):
        messages.success(request, _("Written down: %(what)s.") % {"what": loan.what})
        return redirect("placements:carer", found.pk)
    context = {"form": form, "carer": found, "loan": loan}
    return show(request, "placements/loan_end.html", context, part="placements/_loan_end_form.html", status=status_of(form))


@for_roles(*STAFF)
def limits(request: HttpRequest) -> HttpResponse:
    """The limits of the law: everybody reads them, coordinators set them."""
    may_edit = Role.COORDINATOR in request.roles
    if request.method == "POST" and not may_edit:
        raise PermissionDenied
    form = LimitForm(request.POST or None)
    if done(form, actions.set_limit, request.hospital):
        messages.success(request, _("The limit was saved. It counts from now on."))
        return redirect("placements:limits")
    found = request.hospital.holding_limits.select_related("group").order_by("group__name")
    context = {"form": form if may_edit else None, "limits": found, "may_edit": may_edit}
    return show(request, "placements/limits.html", context, status=status_of(form))


@require_POST
@for_roles(Role.COORDINATOR)
def limit_remove(request: HttpRequest, limit_id: int) -> HttpResponse:
    actions.remove_limit(get_object_or_404(request.hospital.holding_limits, pk=limit_id))
    messages.success(request, _("The limit was taken out."))
    return redirect("placements:limits")


# --- where an animal lives ----------------------------------------------------------------------------------------


@for_patient(*STAFF)
def place(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Choose a carer, with the reasons for and against each."""
    here = patient.open_placement()
    form = PlaceForm(
        request.POST or None, hospital=patient.hospital, initial={"seen_placement": here.pk if here else 0}
    )
    if done(form, actions.place, patient, by=request.user, at=now(), on=today(patient.hospital.zone)):
        placed = _("%(patient)s is placed with %(carer)s, who can now see it and is asked to say when they have it.")
        onward = _("Next: see that its plan is published and suits the carer, then make the care pack.")
        messages.success(request, placed % {"patient": patient, "carer": form.result.carer} + " " + onward)
        return redirect("plans:plan", patient.case_number)
    _move_on(form)
    rows = _choices(patient, here, form)
    able = [row for row in rows if not row["suitability"].is_refused]
    refused = [row for row in rows if row["suitability"].is_refused]
    context = {"form": form, "patient": patient, "here": here, "able": able, "refused": refused}
    return show(request, "placements/place.html", context, part="placements/_place_form.html", status=status_of(form))


def _move_on(form: PlaceForm | BringBackForm) -> None:
    """After somebody else moved the animal, a second save is meant for the place where it is now."""
    if hasattr(form, "collision"):
        theirs = form.collision.theirs
        form.data = form.data.copy()
        form.data["seen_placement"] = "0" if isinstance(theirs, Patient) else str(theirs.pk)


def _choices(patient: Patient, here, form: PlaceForm) -> list[dict]:
    carers = queries.carers_of(patient.hospital, today(patient.hospital.zone)).filter(is_active=True)
    others = carers.exclude(pk=here.carer_id) if here and here.carer_id else carers
    needed = queries.animal_of(patient, today(patient.hospital.zone)).facilities
    chosen = str(form["carer"].value() or "")
    return [
        {
            "suitability": each,
            "for": reasons_for(each, needed),
            "against": reasons_against(each),
            "is_chosen": str(each.offer.carer_id) == chosen,
        }
        for each in queries.suitability(others, patient, today(patient.hospital.zone))
    ]


@for_patient(*STAFF)
def bring_back(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Into the ward, or to another place of it."""
    here = patient.open_placement()
    form = BringBackForm(request.POST or None, initial={"seen_placement": here.pk if here else 0})
    if done(form, actions.bring_back, patient, by=request.user, at=now()):
        messages.success(request, _("%(patient)s is in the hospital now.") % {"patient": patient})
        return redirect("chart:patient", patient.case_number)
    _move_on(form)
    context = {"form": form, "patient": patient, "here": here}
    return show(
        request, "placements/bring_back.html", context, part="placements/_bring_back_form.html", status=status_of(form)
    )


@for_patient(Role.CARER)
def accept(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The carer takes the animal over: what it is, what to beware of, one button."""
    form = AcceptForm(request.POST if request.method == "POST" else None)
    if done(form, actions.accept, patient, by=request.user, at=now()):
        messages.success(request, _("Thank you. %(animal)s is in your hands now.") % {"animal": patient.called})
        return redirect("logs:mine")
    context = {"form": form, "patient": patient, "here": patient.open_placement()}
    return show(request, "placements/accept.html", context, status=status_of(form))


@for_patient(Role.CARER)
def decline(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The carer cannot take the animal that was offered to them."""
    form = DeclineForm(request.POST or None)
    if done(form, actions.decline, patient, by=request.user, at=now()):
        words = _("The hospital knows that you cannot take %(animal)s. Thank you for saying so.")
        messages.success(request, words % {"animal": patient.called})
        return redirect("logs:mine")
    return show(request, "placements/decline.html", {"form": form, "patient": patient}, status=status_of(form))


@require_GET
@for_patient(*STAFF)
def chain(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Where it has been, in whose hands, since when."""
    context = {"patient": patient, "placements": queries.chain(patient)}
    return show(request, "placements/chain.html", context, part="placements/_chain.html")

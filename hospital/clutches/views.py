"""Pages about the eggs of a patient."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from django.contrib import messages
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.clutches import actions, forms, wording
from hospital.clutches.egg_svg import loss_chart
from hospital.clutches.models import Clutch, Egg, EggWeight
from hospital.clutches.queries import Standing, clutches_of, incubators_in_use, siblings_of, with_all
from hospital.clutches.warmth_svg import humidity_chart, warmth_chart
from hospital.pages import both_versions, done, show, status_of
from hospital.people.models import STAFF, Role

TREATING = for_patient(Role.VET, Role.NURSE)


def _clutch(patient: Patient, clutch_id: int) -> Clutch:
    return get_object_or_404(with_all(patient.clutches.all()), pk=clutch_id)


def _may_treat(request: HttpRequest, patient: Patient) -> bool:
    return request.user.memberships.filter(hospital=patient.hospital_id, role__in=(Role.VET, Role.NURSE)).exists()


@require_GET
@for_patient(*STAFF)
def clutches(request: HttpRequest, patient: Patient) -> HttpResponse:
    """A patient's clutches, its dam and its siblings."""
    standings = [Standing(each, now()) for each in clutches_of(patient)]
    context = {
        "patient": patient,
        "rows": [_row(each) for each in standings],
        "siblings": siblings_of(patient),
        "may_treat": _may_treat(request, patient) and patient.is_in_care,
    }
    return show(request, "clutches/clutches.html", context)


def _row(standing: Standing) -> dict[str, Any]:
    return {
        "standing": standing,
        "line": wording.clutch_line(standing.clutch),
        "counts": wording.counts_line(standing),
        "window": wording.window_line(standing) if standing.is_incubating else "",
    }


@require_GET
@for_patient(*STAFF)
def clutch(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    """One clutch: when it may hatch and why, its warmth, each egg, and what was seen."""
    standing = Standing(_clutch(patient, clutch_id), now())
    context = {
        "patient": patient,
        **_row(standing),
        "clutch": standing.clutch,
        "chart": warmth_chart(standing.pieces, standing.now, standing.forecast) if standing.is_incubating else None,
        "humidity": humidity_chart(standing.humidities, standing.now, standing.incubator) if standing.is_incubating else None,
        "built_on": wording.built_on(standing),
        "alerts": _alerts(standing),
        "eggs": [(egg, wording.state_line(egg), wording.loss_words(standing, egg), standing.loss(egg)) for egg in standing.eggs],
        "turning": wording.turning(patient),
        "law": wording.law(patient.species),
        "caution": _germs(patient),
        "may_treat": _may_treat(request, patient),
    }
    return show(request, "clutches/clutch.html", context)


def _alerts(standing: Standing) -> list[str]:
    said = []
    if standing.is_out_of_range:
        words = _("The newest reading lies outside the alarm range of the incubator: %(reading)s.")
        said.append(words % {"reading": wording.reading_line(standing.newest, standing.clutch.patient.hospital.zone)})
    if standing.is_humidity_out_of_range:
        words = _("The newest humidity lies outside the alarm range of the incubator: %(reading)s.")
        said.append(words % {"reading": wording.reading_line(standing.newest_humid, standing.clutch.patient.hospital.zone)})
    if standing.is_silent:
        words = _("No reading for more than %(n)d hours. Look at the incubator.")
        said.append(words % {"n": standing.incubator.silent_hours})
    return said


# --- writing ------------------------------------------------------------------------------------------------------


def _page(
    request: HttpRequest, patient: Patient, form: BaseForm, action: Callable[..., Any], *, heading: str, save: str, said: str,
    clutch: Clutch | None = None, **more: Any,
) -> HttpResponse:  # fmt: skip
    """A page with one form about a clutch; both versions after a collision."""
    if done(form, action):
        messages.success(request, said)
        made = clutch or form.result
        return redirect("clutches:clutch", patient.case_number, made.pk)
    versions = both_versions(form) if hasattr(form, "collision") and isinstance(form.collision.theirs, Clutch | Egg | EggWeight) else None
    context = {"patient": patient, "clutch": clutch, "form": form, "heading": heading, "save": save, "versions": versions} | more
    context["line"] = wording.clutch_line(clutch) if clutch else ""
    return show(request, "clutches/write.html", context, part="clutches/_form.html", status=status_of(form))


@TREATING
def begin(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Open a clutch."""
    action = partial(actions.begin_clutch, patient, by=request.user)
    said = _("The clutch is open. Write down the laying when eggs come.")
    words = dict(heading=_("Begin a clutch"), save=_("Begin this clutch"), said=said)
    return _page(request, patient, forms.BeginForm(request.POST or None), action, law=wording.law(patient.species), **words)


@TREATING
def edit(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    found = _clutch(patient, clutch_id)
    form = forms.EditClutchForm(request.POST or None, initial=forms.as_stored(found, forms.EditClutchForm))
    action = partial(actions.edit_clutch, found, by=request.user)
    words = dict(heading=_("Change the clutch"), save=_("Save changes"), said=_("Changed."))
    return _page(request, patient, form, action, clutch=found, **words)


@TREATING
def induce(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    """Tie an order of medicine to the clutch; it is written where every medicine is ordered."""
    found = _clutch(patient, clutch_id)
    form = forms.InduceForm(request.POST or None, clutch=found)
    words = dict(heading=_("Induction"), save=_("Tie this order"), said=_("The order belongs to this clutch now."))
    more = {"caution": "drug", "orders": True, "is_ready": bool(found.imaged_on and found.is_way_clear)}
    return _page(request, patient, form, partial(actions.tie_induction, found, by=request.user), clutch=found, **words, **more)


@TREATING
def lay(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    found = _clutch(patient, clutch_id)
    fresh = {"seen_version": found.version, "is_top_marked": found.is_top_marked}
    form = forms.LayForm(request.POST or None, initial=fresh, incubators=incubators_in_use(patient))
    words = dict(heading=_("Eggs laid"), save=_("Save the eggs"), said=_("Saved. Each egg has its number."))
    action = partial(actions.record_laying, found, by=request.user)
    return _page(request, patient, form, action, clutch=found, hint=wording.turning(patient), caution=_germs(patient), **words)


@TREATING
def move(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    found = _clutch(patient, clutch_id)
    form = forms.MoveForm(request.POST or None, incubators=incubators_in_use(patient))
    words = dict(heading=_("Move the eggs"), save=_("Save the move"), said=_("Moved."))
    action = partial(actions.move_clutch, found, by=request.user)
    return _page(request, patient, form, action, clutch=found, hint=wording.turning(patient), caution="heat", **words)


@TREATING
def candle(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    found = _clutch(patient, clutch_id)
    form = forms.CandleForm(request.POST or None, eggs=[egg for egg in found.eggs.all() if not egg.end])
    words = dict(heading=_("Candle the eggs"), save=_("Save the candling"), said=_("Saved."))
    action = partial(actions.candle, found, by=request.user)
    return _page(request, patient, form, action, clutch=found, hint=wording.turning(patient), caution=_germs(patient), **words)


@TREATING
def lose(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    found = _clutch(patient, clutch_id)
    form = forms.LoseForm(request.POST or None, clutch=found)
    words = dict(heading=_("Eggs lost"), save=_("Save the loss"), said=_("Saved. A loss can be taken back at the egg."))
    action = partial(actions.lose_eggs, found, by=request.user)
    return _page(request, patient, form, action, clutch=found, caution=_germs(patient), **words)


@TREATING
def hatch(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    """Hatched eggs become cases of their own."""
    found = _clutch(patient, clutch_id)
    form = forms.HatchForm(request.POST or None, clutch=found)
    words = dict(heading=_("Hatched"), save=_("Admit the hatchlings"), said=_("Each hatchling has a case of its own now."))
    action = partial(actions.hatch, found, by=request.user)
    return _page(request, patient, form, action, clutch=found, law=wording.law(patient.species), caution=_germs(patient), **words)


@TREATING
def weigh_eggs(request: HttpRequest, patient: Patient, clutch_id: int) -> HttpResponse:
    found = _clutch(patient, clutch_id)
    form = forms.WeighEggsForm(request.POST or None, eggs=[egg for egg in found.eggs.all() if not egg.end])
    words = dict(heading=_("Weigh the eggs"), save=_("Save the weights"), said=_("Saved."))
    action = partial(actions.weigh_eggs, found, by=request.user)
    return _page(request, patient, form, action, clutch=found, hint=wording.turning(patient), caution=_germs(patient), **words)


@require_GET
@for_patient(*STAFF)
def egg(request: HttpRequest, patient: Patient, clutch_id: int, number: int) -> HttpResponse:
    """One egg: its weights against the lines between which it should lie."""
    standing = Standing(_clutch(patient, clutch_id), now())
    found = next((each for each in standing.eggs if each.number == number), None)
    if found is None:
        raise Http404
    loss = standing.loss(found)
    context = {
        "patient": patient,
        "clutch": standing.clutch,
        "egg": found,
        "line": wording.clutch_line(standing.clutch),
        "state": wording.state_line(found),
        "lines": wording.loss_lines(standing, found),
        "is_outside": bool(loss and loss.is_outside),
        "chart": loss_chart(found.weights.all(), standing.incubation_days, standing.loss_band),
        "may_treat": _may_treat(request, patient),
    }
    return show(request, "clutches/egg.html", context)


@TREATING
def correct_weight(request: HttpRequest, patient: Patient, clutch_id: int, number: int, weight_id: int) -> HttpResponse:
    found = _clutch(patient, clutch_id)
    weight = get_object_or_404(EggWeight.objects.select_related("egg"), pk=weight_id, egg__clutch=found, egg__number=number)
    form = forms.CorrectWeightForm(request.POST or None, initial=forms.as_stored(weight, forms.CorrectWeightForm))
    words = dict(heading=_("Correct a weight of egg %(number)d") % {"number": number}, save=_("Save weight"), said=_("Corrected."))
    return _page(request, patient, form, partial(actions.correct_egg_weight, weight), clutch=found, **words)


@TREATING
def take_loss_back(request: HttpRequest, patient: Patient, clutch_id: int, number: int) -> HttpResponse:
    found = _clutch(patient, clutch_id)
    egg = get_object_or_404(found.eggs, number=number, end=Egg.End.LOST)
    form = forms.BackForm(request.POST or None, initial={"seen_version": egg.version})
    words = dict(heading=_("Take the loss of egg %(number)d back?") % {"number": number}, save=_("Take it back"), said=_("Taken back."))
    return _page(request, patient, form, partial(actions.take_loss_back, egg), clutch=found, **words)


def _germs(patient: Patient) -> str:
    """Reptiles and their eggs carry salmonella (common practice, no source)."""
    return "salmonella" if "reptile" in patient.species.group.lineage() else "zoonosis"

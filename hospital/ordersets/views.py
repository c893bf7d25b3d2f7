"""Pages of the order sets: the hospital's list, one set with its lines, and signing one for an animal."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.edits import EditCollision
from hospital.ordersets import actions
from hospital.ordersets.forms import SetForm, SignForm
from hospital.ordersets.lines import LineForm, Offered, about
from hospital.ordersets.models import OrderSet, SetLine, What
from hospital.ordersets.queries import sets_of, signed_for
from hospital.pages import both_versions, done, pressed, put_at_fields, seen_version, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import Role

READERS = for_roles(Role.VET, Role.NURSE)
KEEPERS = for_roles(Role.VET)


@require_GET
@READERS
def sets(request: HttpRequest) -> HttpResponse:
    """The sets that this hospital keeps."""
    rows = [about(each) for each in sets_of(request.hospital)]
    return show(request, "ordersets/sets.html", {"rows": rows, "can_keep": Role.VET in request.roles})


@KEEPERS
def add(request: HttpRequest) -> HttpResponse:
    """Begin a set."""
    form = SetForm(request.POST or None)
    if done(form, actions.make_set, request.hospital, by=request.user):
        return redirect("ordersets:set", form.result.pk)
    return _small(request, form, _("New order set"), _("Make this set"))


def _small(request: HttpRequest, form: BaseForm, heading: str, save: str, order_set: OrderSet | None = None) -> HttpResponse:
    versions = both_versions(form) if hasattr(form, "collision") else None
    context = {"form": form, "heading": heading, "save": save, "set": order_set, "versions": versions}
    return show(request, "ordersets/small.html", context, part="ordersets/_small_form.html", status=status_of(form))


def _found(request: HttpRequest, set_id: int) -> OrderSet:
    return get_object_or_404(sets_of(request.hospital), pk=set_id)


@require_GET
@READERS
def one(request: HttpRequest, set_id: int) -> HttpResponse:
    """One set with its lines."""
    context = about(_found(request, set_id)) | {"can_keep": Role.VET in request.roles, "kinds": What.choices}
    return show(request, "ordersets/set.html", context)


@KEEPERS
def change(request: HttpRequest, set_id: int) -> HttpResponse:
    """Correct a set's name and when it is offered."""
    found = _found(request, set_id)
    form = SetForm(request.POST or None, instance=found)
    if done(form, actions.change_set, OrderSet.objects.get(pk=found.pk)):
        return redirect("ordersets:set", found.pk)
    return _small(request, form, _("Change the set"), _("Save changes"), found)


@require_POST
@KEEPERS
def put_away(request: HttpRequest, set_id: int) -> HttpResponse:
    """Take a set out of use."""
    found = _found(request, set_id)
    if pressed(request, actions.put_away, found, seen_version=seen_version(request)):
        messages.success(request, _("Put away: %(name)s. What was signed from it stays.") % {"name": found.name})
    return redirect("ordersets:sets")


@KEEPERS
def line_add(request: HttpRequest, set_id: int, what: str) -> HttpResponse:
    """Add a line to a set."""
    if what not in What.values:
        raise Http404
    return _line(request, _found(request, set_id), what, None)


@KEEPERS
def line_change(request: HttpRequest, set_id: int, line_id: int) -> HttpResponse:
    """Change what a line orders."""
    found = _found(request, set_id)
    line = get_object_or_404(found.lines, pk=line_id)
    return _line(request, found, line.what, line)


def _line(request: HttpRequest, found: OrderSet, what: str, line: SetLine | None) -> HttpResponse:
    form = LineForm(request.POST or None, what=what, initial=line.content if line else None)
    seen = seen_version(request) or found.version
    if done(form, actions.put_line, found, what=what, line=line, seen_version=seen):
        return redirect("ordersets:set", found.pk)
    context = {"form": form, "set": OrderSet.objects.get(pk=found.pk), "heading": What(what).label, "is_medicine": what == What.MEDICINE}
    return show(request, "ordersets/line.html", context, part="ordersets/_line_form.html", status=status_of(form))


@require_POST
@KEEPERS
def line_out(request: HttpRequest, set_id: int, line_id: int) -> HttpResponse:
    """Take a line out of a set."""
    found = _found(request, set_id)
    line = get_object_or_404(found.lines, pk=line_id)
    pressed(request, actions.take_line_out, line, seen_version=seen_version(request))
    return redirect("ordersets:set", found.pk)


@require_GET
@for_patient(Role.VET)
def choose(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The sets that can be signed for this animal, and those that were."""
    rows = [about(each) for each in sets_of(patient.hospital)]
    context = {"patient": patient, "rows": rows, "signed": signed_for(patient)}
    return show(request, "ordersets/choose.html", context)


@for_patient(Role.VET)
def sign(request: HttpRequest, patient: Patient, set_id: int) -> HttpResponse:
    """Every line worked out for this animal with its limits; one signature writes those that are ticked."""
    found = get_object_or_404(sets_of(patient.hospital), pk=set_id)
    typed = request.POST or None
    form = SignForm(typed, initial={"seen_version": found.version})
    offered = _offered(request, patient, found, typed)
    is_right = all(each.is_right for each in offered if each.is_wanted)
    if form.is_bound and form.is_valid() and is_right and _signed(request, patient, found, form, offered):
        return redirect("chart:patient", patient.case_number)
    status = status_of(form)
    if hasattr(form, "collision"):  # the set as it is now, worked out anew; nothing of the former one is taken over
        form, offered = SignForm(initial={"seen_version": found.version}), _offered(request, patient, found, None)
    _ask_once_for_the_weight(form, offered)
    wrong = [each.form for each in offered if each.is_wanted and each.form.errors]
    context = {
        "patient": patient, "set": found, "form": form, "offered": offered, "forms": ([form] if form.errors else []) + wrong,
        "doubt": next((each.form.doubt for each in offered if getattr(each.form, "doubt", "")), ""),
    }  # fmt: skip
    return show(request, "ordersets/sign.html", context, part="ordersets/_sign_form.html", status=status)


def _offered(request: HttpRequest, patient: Patient, found: OrderSet, typed: QueryDict | None) -> list[Offered]:
    return [Offered(line, patient, request.user, typed) for line in found.lines.all()]


def _ask_once_for_the_weight(form: SignForm, offered: list[Offered]) -> None:
    """All lines doubt the same weight: the page has one box for it."""
    doubts = [each.form.errors.pop("is_weight_checked") for each in offered if "is_weight_checked" in each.form.errors]
    if doubts and form.is_bound:
        form.add_error("is_weight_checked", doubts[0][0])


def _signed(request: HttpRequest, patient: Patient, found: OrderSet, form: SignForm, offered: list[Offered]) -> bool:
    try:
        said = {name: form.cleaned_data[name] for name in ("key", "seen_version")}
        signed = actions.sign_set(patient, found, offered, by=request.user, **said)
    except actions.LineRefused as refused:
        put_at_fields(refused.offered.form, refused.refusal)
    except ValidationError as refusal:
        form.add_error(None, refusal)
    except EditCollision as collision:
        form.collision = collision
        messages.error(request, _("The set was changed meanwhile. Look at it as it is now, then sign."))
    else:
        n = len(signed.written)
        n = len(signed.written)
        told = ngettext("Signed: %(n)d line of “%(name)s” is written.", "Signed: %(n)d lines of “%(name)s” are written.", n)
        messages.success(request, told % {"n": n, "name": found.name})
        return True
    return False

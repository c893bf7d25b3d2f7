"""Pages of the formulary: everybody of the staff reads, vets adopt."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from hospital.admissions.models import TaxonGroup
from hospital.clock import now
from hospital.medications import formulary_actions as actions
from hospital.medications.dosing import class_words
from hospital.medications.formulary import stops_of
from hospital.medications.formulary_forms import EMERGENCY, FIGURES, NewRowForm, RowForm, start
from hospital.medications.models import FormularyAdoption
from hospital.medications.queries import Shelved, group_counts, history, shelf, shelved, waiting_orders
from hospital.medications.sums import SUMS
from hospital.medications.wording import parts
from hospital.pages import done, pressed, seen_version, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import CLINICAL, Role
from hospital.rules.formulary import Entry

READERS = for_roles(Role.VET, Role.NURSE, Role.COORDINATOR)
ADOPTERS = for_roles(Role.VET)


@READERS
def groups(request: HttpRequest) -> HttpResponse:
    """All groups of animals, with how much of each is in force here."""
    context = {
        "counts": group_counts(request.hospital), "can_adopt": Role.VET in request.roles,
        "waiting": waiting_orders([request.hospital.pk]).count(), "sees_sets": bool(set(request.roles) & set(CLINICAL)),
    }  # fmt: skip
    return show(request, "formulary/groups.html", context)


@READERS
def waiting(request: HttpRequest) -> HttpResponse:
    """Orders that wait for a second vet."""
    orders = [{"order": order, "parts": parts(order)} for order in waiting_orders([request.hospital.pk])]
    return show(request, "formulary/waiting.html", {"orders": orders, "can_sign": Role.VET in request.roles})


@READERS
def sums(request: HttpRequest) -> HttpResponse:
    """Infusions, dilutions and strengths: each sum asks by GET and saves nothing."""
    asked = request.GET.get("sum")
    forms = [
        {"name": name, "form": form(request.GET if name == asked else None, auto_id=f"id_{name}_%s")}
        for name, form in SUMS.items()
    ]
    wrong = any(each["form"].is_bound and not each["form"].is_valid() for each in forms)
    return show(request, "formulary/sums.html", {"sums": forms}, status=422 if wrong else 200)


@READERS
def group(request: HttpRequest, slug: str) -> HttpResponse:
    """Everything for one group of animals, and what of it is in force here."""
    found = get_object_or_404(TaxonGroup, pk=slug)
    rows = shelf(request.hospital, slug)
    wider = TaxonGroup.objects.in_bulk(found.lineage()[1:])
    context = {
        "group": found, "rows": [_line(each) for each in rows], "wider": [wider[each] for each in found.lineage()[1:]],
        "can_adopt": Role.VET in request.roles, "waiting": sum(each.adoption is None for each in rows),
    }  # fmt: skip
    return show(request, "formulary/group.html", context)


def _line(each: Shelved) -> dict:
    return {"each": each, "entry": each.entry, "stops": stops_of(each.entry.drug, each.entry.group)}


@READERS
def row(request: HttpRequest, slug: str) -> HttpResponse:
    """One row in full: proposal, what is in force, earlier versions; and for a vet, figures of the hospital's own."""
    found = _found(request, slug)
    if Role.VET not in request.roles:
        return show(request, "formulary/row.html", _context(request, found))
    form = RowForm(request.POST or None, initial={**start(found.entry), "seen_version": _version(found)})
    if done(form, actions.adopt, found, hospital=request.hospital, by=request.user, at=now()):
        messages.success(request, _("In force from now on, with these figures. Orders that were made stay as they are."))
        return redirect("formulary:row", slug)
    return show(request, "formulary/row.html", _context(request, found, form), status=status_of(form))


def _context(request: HttpRequest, found: Shelved, form: RowForm | None = None) -> dict:
    return {
        **_line(found), "form": form, "can_adopt": Role.VET in request.roles, "seen_version": _version(found),
        "medicine_class": class_words(found.entry.medicine_class), "group": TaxonGroup.objects.get(pk=found.entry.group),
        "versions": [_version_line(each) for each in history(request.hospital, found.slug)],
        "rows": _both(form) if hasattr(form, "collision") else None,
    }  # fmt: skip


def _version_line(adoption: FormularyAdoption) -> dict:
    return {"adoption": adoption, "entry": Entry.from_json(adoption.content)}


def _both(form: RowForm) -> list[dict]:
    """Each figure as it was typed and as somebody else put it in force; saving again puts the typed ones over it."""
    theirs = form.collision.theirs
    form.data = form.data.copy()
    form.data["seen_version"] = str(theirs.version)
    typed, other = form.cleaned_data["figures"], Entry.from_json(theirs.content)
    pairs = [(form.fields[name].label, typed[name], getattr(other, name)) for name in FIGURES]
    pairs += [
        (form.fields[f"emergency_{name}"].label, getattr(typed["emergency"], name, None), getattr(other.emergency, name, None))
        for name in EMERGENCY
    ]
    return [{"label": label, "yours": _shown(yours), "theirs": _shown(those), "differs": yours != those} for label, yours, those in pairs]


def _shown(figure: object) -> str:
    if isinstance(figure, bool):
        return _("yes") if figure else _("no")
    if isinstance(figure, tuple):
        return ", ".join(map(str, figure))
    return "" if figure is None else str(figure)


@ADOPTERS
def add(request: HttpRequest) -> HttpResponse:
    """A row of the hospital's own, for what the reference list does not have."""
    form = NewRowForm(request.POST or None, initial={"group": request.GET.get("group")})
    if done(form, actions.add_row, hospital=request.hospital, by=request.user, at=now()):
        messages.success(request, _("In force from now on: %(drug)s.") % {"drug": form.cleaned_data["drug"]})
        return redirect("formulary:row", form.result.slug)
    return show(request, "formulary/add.html", {"form": form}, part="formulary/_figures.html", status=status_of(form))


@ADOPTERS
def adopt(request: HttpRequest, slug: str) -> HttpResponse:
    """Put a row in force as the list has it."""
    found = _found(request, slug)
    to = {"hospital": request.hospital, "by": request.user, "at": now(), "seen_version": seen_version(request)}
    if request.method == "POST" and pressed(request, actions.adopt, found, **to):
        messages.success(request, _("In force from now on: %(drug)s.") % {"drug": found.entry.drug})
    return redirect("formulary:row", slug)


@ADOPTERS
def withdraw(request: HttpRequest, slug: str) -> HttpResponse:
    """Take a row out of force."""
    found = _found(request, slug)
    to = {"hospital": request.hospital, "at": now(), "seen_version": seen_version(request)}
    if request.method == "POST" and pressed(request, actions.withdraw, found.slug, **to):
        messages.success(request, _("No longer in force: %(drug)s.") % {"drug": found.entry.drug})
    return redirect("formulary:group", found.entry.group)


@ADOPTERS
def adopt_group(request: HttpRequest, slug: str) -> HttpResponse:
    """Put everything of one group in force that is not yet."""
    found = get_object_or_404(TaxonGroup, pk=slug)
    to = {"hospital": request.hospital, "by": request.user, "at": now()}
    if request.method == "POST" and (adopted := pressed(request, actions.adopt_group, found, **to)):
        messages.success(request, actions.sentence_for(adopted))
    return redirect("formulary:group", slug)


def _found(request: HttpRequest, slug: str) -> Shelved:
    found = shelved(request.hospital, slug)
    if found is None:
        raise Http404
    return found


def _version(found: Shelved) -> int:
    return found.adoption.version if found.adoption else 0

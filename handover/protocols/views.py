"""Pages of the protocol library: everybody of the staff reads, vets adopt."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from handover.labels.rules import row_figures, row_title
from handover.protocols import actions
from handover.protocols.contents import value_of
from handover.protocols.forms import FORMS, has_figures
from handover.protocols.models import Kind
from handover.protocols.queries import Shelved, group_counts, history, shelf, shelved
from hospital.admissions.models import TaxonGroup
from hospital.clock import now
from hospital.pages import done, pressed, seen_version, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import Role

READERS = for_roles(Role.VET, Role.NURSE, Role.COORDINATOR)
ADOPTERS = for_roles(Role.VET)


@READERS
def library(request: HttpRequest) -> HttpResponse:
    """All groups of animals, with how much of each is in force here."""
    return show(request, "protocols/library.html", {"counts": group_counts(request.hospital)})


@READERS
def group(request: HttpRequest, slug: str) -> HttpResponse:
    """Everything for one group of animals, and what of it is in force here."""
    found = get_object_or_404(TaxonGroup, pk=slug)
    shelves = _by_kind(shelf(request.hospital, slug))
    wider = TaxonGroup.objects.in_bulk(found.lineage()[1:])
    context = {
        "group": found, "shelves": shelves, "wider": [wider[each] for each in found.lineage()[1:]],
        "can_adopt": Role.VET in request.roles,
        "waiting": sum(1 for kind in shelves for each in kind["rows"] if _waits(each["shelved"])),
    }  # fmt: skip
    return show(request, "protocols/group.html", context)


def _by_kind(rows: list[Shelved]) -> list[dict]:
    lines = [(each.subject.kind, _line(each)) for each in rows]
    kinds = ((kind, [line for of, line in lines if of == kind]) for kind in Kind)
    return [{"kind": kind, "rows": found} for kind, found in kinds if found]


def _line(each: Shelved) -> dict:
    return {"shelved": each, "title": row_title(each.value), "figures": row_figures(each.value)}


def _waits(each: Shelved) -> bool:
    return each.adoption is None and not each.row.is_alternative


@READERS
def row(request: HttpRequest, kind: str, slug: str) -> HttpResponse:
    """One row in full: proposal, what is in force, earlier versions; and for a vet, figures of the hospital's own."""
    found = _found(request, kind, slug)
    can_adopt = Role.VET in request.roles
    if not (can_adopt and has_figures(found.value)):
        return show(request, "protocols/row.html", _context(request, found))
    tried = {name: request.GET[name] for name in FORMS[kind].figures if name in request.GET}  # a figure tried out on a plan
    start = {**FORMS[kind].start(found.value), **tried, "seen_version": _version(found)}
    form = FORMS[kind](request.POST or None, value=found.value, initial=start)
    if done(form, actions.adopt, found.subject, hospital=request.hospital, by=request.user, at=now()):
        messages.success(request, _("In force from now on, with these figures. Plans follow when they are made again."))
        return redirect("protocols:row", kind, slug)
    return show(request, "protocols/row.html", _context(request, found, form), status=status_of(form))


def _context(request: HttpRequest, found: Shelved, form=None) -> dict:
    return {
        **_line(found), "form": form, "can_adopt": Role.VET in request.roles, "seen_version": _version(found),
        "proposed": row_figures(value_of(found.row.kind, found.row.content)) if found.row else "",
        "versions": [_version_line(each) for each in history(request.hospital, found.subject.kind, found.subject.slug)],
        "rows": _both(form, found) if hasattr(form, "collision") else None,
    }  # fmt: skip


def _version_line(adoption) -> dict:
    return {"adoption": adoption, "figures": row_figures(value_of(adoption.kind, adoption.content))}


def _both(form, found: Shelved) -> list[dict]:
    """Each figure as it was typed and as somebody else put it in force; saving again puts the typed ones over it."""
    theirs = form.collision.theirs
    form.data = form.data.copy()
    form.data["seen_version"] = str(theirs.version)
    typed, value = form.cleaned_data["figures"], value_of(theirs.kind, theirs.content)
    pairs = ((form.fields[name].label, typed[name], _as_json(getattr(value, name))) for name in form.figures)
    return [{"label": label, "yours": _shown(yours), "theirs": _shown(other), "differs": yours != other} for label, yours, other in pairs]


def _as_json(figure):
    return list(figure) if isinstance(figure, tuple) else figure


def _shown(figure) -> str:
    if isinstance(figure, list):
        return ", ".join(map(str, figure))
    return "" if figure is None else str(figure)


@ADOPTERS
def adopt(request: HttpRequest, kind: str, slug: str) -> HttpResponse:
    """Put a row in force as the library has it."""
    found = _found(request, kind, slug)
    to = {"hospital": request.hospital, "by": request.user, "at": now(), "seen_version": seen_version(request)}
    if request.method == "POST" and pressed(request, actions.adopt, found.subject, **to):
        messages.success(request, _("In force from now on: %(what)s.") % {"what": row_title(found.value)})
    return redirect("protocols:row", kind, slug)


@ADOPTERS
def withdraw(request: HttpRequest, kind: str, slug: str) -> HttpResponse:
    """Take a row out of force."""
    found = _found(request, kind, slug)
    to = {"hospital": request.hospital, "at": now(), "seen_version": seen_version(request)}
    if request.method == "POST" and pressed(request, actions.withdraw, found.subject, **to):
        messages.success(request, _("No longer in force: %(what)s.") % {"what": row_title(found.value)})
    return redirect("protocols:group", found.subject.group_id)


@ADOPTERS
def adopt_group(request: HttpRequest, slug: str) -> HttpResponse:
    """Put everything of one group in force that is not yet."""
    found = get_object_or_404(TaxonGroup, pk=slug)
    to = {"hospital": request.hospital, "by": request.user, "at": now()}
    if request.method == "POST" and (adopted := pressed(request, actions.adopt_group, found, **to)):
        messages.success(request, actions.sentence_for(adopted))
    return redirect("protocols:group", slug)


def _found(request: HttpRequest, kind: str, slug: str) -> Shelved:
    found = shelved(request.hospital, kind, slug) if kind in Kind.values else None
    if found is None:
        raise Http404
    return found


def _version(found: Shelved) -> int:
    return found.adoption.version if found.adoption else 0

"""Pages of the handover pack: make it, read it, print it, and where the code on its cover leads."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from handover.packs.actions import doubt_about_dates, make_pack, stamp_of
from handover.packs.codes import code_on, open_codes
from handover.packs.contents import Contents
from handover.packs.differences import KINDS
from handover.packs.forms import PackForm
from handover.packs.gather import nothing_to_print
from handover.packs.models import Pack
from handover.packs.pages import context_of
from handover.packs.queries import has_moved_on, is_plan_older, is_superseded, pack_with_key, packs_for
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.pages import done, show, status_of
from hospital.people.access import for_anyone
from hospital.people.models import EVERYONE, STAFF, Person
from hospital.rules.codes import grouped

READERS = for_patient(*EVERYONE)
MAKERS = for_patient(*STAFF)


@require_GET
@READERS
def pack(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The latest pack, what changed with it, older ones; staff can make the next."""
    return _show_pack(request, patient, _form(request, patient))


@require_POST
@MAKERS
def make(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Make a pack from the plan in force."""
    form = _form(request, patient, request.POST)
    seen = packs_for(patient, request.user).first()
    if done(form, make_pack, patient, by=request.user):
        is_new = seen is None or seen.pk != form.result.pk
        words = _("Pack %(version)d is ready. Print it and throw away the older ones.")
        same = _("Nothing has changed since pack %(version)d. It is still good.")
        messages.success(request, (words if is_new else same) % {"version": form.result.version})
        return redirect("packs:pack", patient.case_number)
    return _show_pack(request, patient, form)


def _form(request: HttpRequest, patient: Patient, sent: QueryDict | None = None) -> PackForm | None:
    """The form as the carer who has the animal likes to read; none for carers, who make no packs."""
    if not _is_staff(request.user, patient):
        return None
    placement = patient.open_placement()
    carer = placement.carer.person if placement and placement.carer else None
    return PackForm(sent, doubt="" if nothing_to_print(patient) else doubt_about_dates(patient), carer=carer)


def _show_pack(request: HttpRequest, patient: Patient, form: PackForm | None) -> HttpResponse:
    packs = list(packs_for(patient, request.user))
    latest, is_staff = (packs[0] if packs else None), _is_staff(request.user, patient)
    contents = Contents.from_json(latest.contents) if latest else None
    context = {
        "patient": patient,
        "base": "base.html" if is_staff else "base_carer.html",
        "is_staff": is_staff,
        "latest": latest,
        "contents": contents,
        "changes": [(each, KINDS[each.kind]) for each in contents.changes] if contents else [],
        "older": packs[1:],
        "form": form,
        "trouble": nothing_to_print(patient) if is_staff else "",
        "is_old": bool(latest and _is_old(latest)),
        "open_codes": [(each.pack.version, grouped(code_on(each.pack))) for each in open_codes(patient)] if is_staff else [],
    }
    return show(request, "packs/pack.html", context, part="packs/_pack_form.html", status=status_of(form) if form else 200)


def _is_staff(person: Person, patient: Patient) -> bool:
    return person.memberships.filter(hospital=patient.hospital_id, role__in=STAFF).exists()


def _is_old(pack: Pack) -> bool:
    """Whether what is printed there may no longer hold."""
    return is_superseded(pack) or is_plan_older(pack) or has_moved_on(pack)


@require_GET
@READERS
def file(request: HttpRequest, patient: Patient, version: int) -> HttpResponse:
    """The PDF."""
    found = get_object_or_404(packs_for(patient, request.user), version=version)
    try:
        with found.file.open("rb") as opened:
            content = opened.read()  # a few hundred kilobytes
    except FileNotFoundError:
        raise Http404 from None
    name = f"pack-{patient.case_number}-{version}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"', "X-Content-Type-Options": "nosniff"}
    return HttpResponse(content, content_type="application/pdf", headers=headers)


@require_GET
@READERS
def page(request: HttpRequest, patient: Patient, version: int) -> HttpResponse:
    """The same contents as a page: for screens, screen readers and the browser's own printing."""
    found = get_object_or_404(packs_for(patient, request.user), version=version)
    contents = Contents.from_json(found.contents)
    with translation.override(found.language):
        context = context_of(contents, stamp_of(found)) | {
            "photo_url": _photo_url(patient, contents),
            "back_url": reverse("packs:pack", args=[patient.case_number]),
            "file_url": reverse("packs:file", args=[patient.case_number, version]),
            "is_old": _is_old(found),
            "is_screen": True,
        }
        return show(request, "packs/page.html", context)


def _photo_url(patient: Patient, contents: Contents) -> str:
    key = contents.animal.photo
    return reverse("admissions:photo-small", args=[patient.case_number, key]) if _is_kept(patient, key) else ""


def _is_kept(patient: Patient, key: str) -> bool:
    return bool(key) and patient.photos.filter(key=key).exists()


# --- where the code leads -----------------------------------------------------------------------------------------


@require_GET
@for_anyone
def code(request: HttpRequest, key: uuid.UUID) -> HttpResponse:
    """From paper to today's page, with a loud word when the paper is out of date. It opens nothing that the person may
    not see: whoever had the animal learns that it has moved on, everybody else nothing."""
    found = pack_with_key(key)
    if found is None:
        raise Http404
    if Patient.objects.visible_to(request.user).filter(pk=found.patient_id).exists():
        for sentence in warnings_of(found):
            messages.error(request, sentence)
        return redirect("logs:day", found.patient.case_number)
    if not (found.placement and found.placement.carer and found.placement.carer.person_id == request.user.pk):
        raise Http404
    context: dict[str, Any] = {"case_number": found.patient.case_number, "hospital": found.patient.hospital}
    return show(request, "packs/moved_on.html", context)


def warnings_of(pack: Pack) -> list[str]:
    """What stands against going by this paper, as sentences."""
    version = {"version": pack.version}
    warnings = []
    if is_superseded(pack):
        warnings.append(_("Throw this paper away: pack %(version)d is out of date. A newer pack was made.") % version)
    elif is_plan_older(pack):
        warnings.append(_("Pack %(version)d is out of date: the plan has changed. Go by this page and ask for a new pack.") % version)
    if has_moved_on(pack):
        warnings.append(_("Pack %(version)d was made for another place: the animal has moved since.") % version)
    if pack.patient.closed_on:
        warnings.append(_("This case is closed."))
    return warnings

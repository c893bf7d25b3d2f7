"""Images: the list, the viewer, two side by side. For the hospital's staff; a carer sees none."""

from __future__ import annotations

import gzip
import uuid

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital import pictures
from hospital.admissions.access import for_patient
from hospital.admissions.forms import WithdrawForm
from hospital.admissions.models import Patient
from hospital.images import actions
from hospital.images.forms import CompareForm, DrawForm, ImageForm
from hospital.images.models import Image, Measurement
from hospital.images.queries import images_of, marker_in_force, measured_on_both, readings_of, withdrawn_of
from hospital.pages import done, pressed, show, status_of
from hospital.people.models import CLINICAL, STAFF


@require_GET
@for_patient(*STAFF)
def all_of(request: HttpRequest, patient: Patient) -> HttpResponse:
    images = list(images_of(patient))
    newest_two = {"second": images[0].key, "first": images[1].key} if len(images) > 1 else None
    context = {
        "patient": patient,
        "images": images,
        "withdrawn": withdrawn_of(patient),
        "compare": newest_two and CompareForm(patient=patient, initial=newest_two),
        "may_add": bool(request.roles & CLINICAL) and patient.is_in_care,
    }
    return show(request, "images/all.html", context)


@for_patient(*CLINICAL)
def add(request: HttpRequest, patient: Patient) -> HttpResponse:
    form = ImageForm(request.POST or None, request.FILES or None)
    if done(form, actions.add_image, patient, by=request.user):
        messages.success(request, _("The image was saved. Names and places that the file carried were not kept."))
        return redirect("images:image", patient.case_number, form.result.key)
    return show(request, "images/add.html", {"form": form, "patient": patient}, part="images/_add_form.html", status=status_of(form))


@require_GET
@for_patient(*STAFF)
def image(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """The viewer with what was measured."""
    return show(request, "images/image.html", _viewed(request, patient, _of(patient, key)))


@require_POST
@for_patient(*CLINICAL)
def draw(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """Keep what was drawn; the script gets the list of measurements, and goes on where it was."""
    image, form = _of(patient, key), DrawForm(request.POST)
    if done(form, actions.draw, image, by=request.user):
        if not request.htmx:
            return redirect("images:image", patient.case_number, key)
        return show(request, "images/image.html", _viewed(request, patient, image), part="images/_drawn.html")
    return show(
        request, "images/image.html", _viewed(request, patient, image, form), part="images/_drawn.html", status=status_of(form)
    )


@require_POST
@for_patient(*CLINICAL)
def withdraw_drawn(request: HttpRequest, patient: Patient, key: uuid.UUID, measurement_id: int) -> HttpResponse:
    drawn = get_object_or_404(Measurement, pk=measurement_id, image=_of(patient, key))
    if pressed(request, actions.withdraw_measurement, drawn, by=request.user):
        messages.success(request, _("Withdrawn. It stays on record."))
    return redirect("images:image", patient.case_number, key)


@for_patient(*CLINICAL)
def withdraw(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    image = _of(patient, key)
    form = WithdrawForm(request.POST or None, patients=Patient.objects.visible_to(request.user).at(patient.hospital))
    if done(form, actions.withdraw_image, image, by=request.user):
        if moved := form.result.moved_to:
            messages.success(request, _("Withdrawn here, and recorded under %(animal)s.") % {"animal": moved.patient})
            return redirect("images:image", moved.patient.case_number, moved.key)
        messages.success(request, _("The image was withdrawn. It stays on record."))
        return redirect("images:all", patient.case_number)
    context = {"form": form, "patient": patient, "image": image}
    return show(request, "images/withdraw.html", context, part="images/_withdraw_form.html", status=status_of(form))


@require_GET
@for_patient(*STAFF)
def compare(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Two images side by side, moved together, and what was measured on both."""
    form = CompareForm(request.GET or None, patient=patient)
    pair = [form.cleaned_data["first"], form.cleaned_data["second"]] if form.is_valid() else []
    sides = [{"image": each, "readings": readings_of(each)} for each in pair]
    status = 200 if pair else status_of(form)
    context = {"form": form, "patient": patient, "sides": sides, "both": measured_on_both(*pair) if pair else []}
    return show(request, "images/compare.html", context, status=status)


def _of(patient: Patient, key: uuid.UUID) -> Image:
    others = ("moved_to__patient", "moved_from__patient")
    return get_object_or_404(patient.images.select_related("patient__hospital", "added_by", "withdrawn_by", *others), key=key)


def _viewed(request: HttpRequest, patient: Patient, image: Image, form: DrawForm | None = None) -> dict:
    return {
        "patient": patient,
        "image": image,
        "readings": readings_of(image),
        "marker": marker_in_force(image),
        "form": form or DrawForm(initial={"kind": "length"}),
        "may_draw": bool(request.roles & CLINICAL) and patient.is_in_care and not image.is_withdrawn,
    }


# --- files --------------------------------------------------------------------------------------------------------


@require_GET
@for_patient(*STAFF)
def picture(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """The image at its own window, as a JPEG."""
    return _as_jpeg(_of(patient, key), longest_px=pictures.LONGEST_SIDE_PX)


@require_GET
@for_patient(*STAFF)
def small(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    return _as_jpeg(_of(patient, key), longest_px=pictures.SMALL_SIDE_PX)


@require_GET
@for_patient(*STAFF)
def levels(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """All grey levels, 16 bits each, low byte first: a browser's own reader of pictures knows 8 bits only."""
    image = _of(patient, key)
    if not image.is_grey:
        raise Http404
    with _opened(image) as file:
        packed = gzip.compress(pictures.grey_levels(file), compresslevel=1)
    response = _guarded(HttpResponse(packed, content_type="application/octet-stream"))
    response["Content-Encoding"] = "gzip"
    return response


def _as_jpeg(image: Image, *, longest_px: int) -> HttpResponse:
    with _opened(image) as file:
        if image.is_grey:
            jpeg = pictures.windowed(file, image.window_low, image.window_high, longest_px=longest_px)
        else:
            jpeg = pictures.small(file) if longest_px == pictures.SMALL_SIDE_PX else file.read()
    return _guarded(HttpResponse(jpeg, content_type="image/jpeg"))


def _opened(image: Image):
    try:
        return image.file.open("rb")
    except FileNotFoundError:
        raise Http404 from None


def _guarded(response: HttpResponse) -> HttpResponse:
    """The browser must neither guess what it is nor run anything."""
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["X-Content-Type-Options"] = "nosniff"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    return response

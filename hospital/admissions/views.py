"""Pages about patients: taking them in, finding them, correcting what is known."""

from __future__ import annotations

import uuid
from datetime import date

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.timezone import localtime
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from hospital.admissions import actions, queries
from hospital.admissions.access import for_patient
from hospital.admissions.forms import (
    AdmitForm,
    AnimalForm,
    EditSpeciesForm,
    FinderForm,
    FindForm,
    MarkForm,
    PatientForm,
    PhotoForm,
    SpeciesForm,
    WeighForm,
    as_typed,
    fresh,
)
from hospital.admissions.models import Cause, Patient, Photo, Species
from hospital.admissions.weighing import call_as_typed, called_as_typed, say_call, weighings_of
from hospital.audit.queries import in_words
from hospital.clock import now, today
from hospital.pages import both_versions, done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import EVERYONE, STAFF, Carer, Role
from hospital.pictures import small

A_PAGE = 50
SPECIES_EDITORS = {Role.VET, Role.COORDINATOR}
CORRECTED = (
    "name",
    "species",
    "admitted_at",
    "cause",
    "circumstances",
    "found_on",
    "found_place",
    "found_latitude",
    "found_longitude",
    "found_uncertainty_m",
    "sex",
    "life_stage",
    "is_gravid",
    "triage",
    "triage_note",
    "is_biosecurity_risk",
    "is_zoonosis_risk",
)


def record_of(patient: Patient) -> str:
    """The address of the patient's record."""
    return reverse("chart:patient", args=[patient.case_number])


# --- taking in ----------------------------------------------------------------------------------------------------


@for_roles(*STAFF)
def admit(request: HttpRequest) -> HttpResponse:
    """The quick form. Its button that only searches species checks nothing and keeps everything typed."""
    like = _like(request)
    if "find_species" in request.POST:
        form = AdmitForm(initial=as_typed(request.POST), hospital=request.hospital, like=like)
        form.files = request.FILES  # nothing is checked, but the box of a photograph says that it was emptied
    else:
        form = AdmitForm(
            request.POST or None,
            request.FILES or None,
            hospital=request.hospital,
            like=like,
            initial={"species": request.GET.get("species"), **fresh(like)},
        )
    if done(form, actions.admit, request.hospital, by=request.user, at=now()):
        return redirect("admissions:admitted", form.result.case_number)
    context = {"form": form, "like": like}
    return show(request, "admissions/admit.html", context, part="admissions/_admit_form.html", status=status_of(form))


def _like(request: HttpRequest) -> Patient | None:
    """The animal that came from the same place, named in the address."""
    patients = Patient.objects.visible_to(request.user).at(request.hospital).select_related("species", "finder")
    return patients.filter(case_number=request.GET.get("like", "").upper()).first()


@require_GET
@for_roles(*STAFF)
def species(request: HttpRequest) -> HttpResponse:
    """The species that the words find, to choose from."""
    form = AnimalForm(initial=request.GET.dict())
    return show(request, "admissions/_species_choices.html", {"form": form})


@require_GET
@for_roles(*STAFF)
def cautions(request: HttpRequest) -> HttpResponse:
    """What the chosen cause warns of."""
    cause = Cause.objects.filter(slug=request.GET.get("cause", "")).first()
    return show(request, "admissions/_cause_caution.html", {"cause": cause})


@for_patient(*STAFF)
def admitted(request: HttpRequest, patient: Patient) -> HttpResponse:
    """What was written down, the case number, what to beware of, and what comes next."""
    return show(request, "admissions/admitted.html", {"patient": patient, "record_url": record_of(patient)})


@for_roles(*STAFF)
def species_add(request: HttpRequest) -> HttpResponse:
    form = SpeciesForm(request.POST or None)
    if done(form, actions.add_species):
        messages.success(request, _("%(name)s can be chosen now.") % {"name": form.result.common_name})
        query = urlencode({"species": form.result.pk})
        return redirect(f"{reverse('admissions:admit')}?{query}")
    return show(request, "admissions/species_add.html", {"form": form}, status=status_of(form))


@require_GET
@for_roles(*STAFF)
def species_added(request: HttpRequest) -> HttpResponse:
    """The species that hospitals of this installation added to the shipped list."""
    may_edit = bool(request.roles & SPECIES_EDITORS)
    context = {"species": Species.objects.filter(is_shipped=False).select_related("group"), "may_edit": may_edit}
    return show(request, "admissions/species_added.html", context)


@for_roles(*SPECIES_EDITORS)
def species_edit(request: HttpRequest, species_id: int) -> HttpResponse:
    found = get_object_or_404(Species, pk=species_id, is_shipped=False)
    stored = {name: getattr(found, name) for name in SpeciesForm.base_fields} | {"seen_version": found.version}
    form = EditSpeciesForm(request.POST or None, initial=stored)
    if done(form, actions.edit_species, found):
        messages.success(request, _("%(name)s was changed. Look at the plans of such animals: its group decides which protocols apply.") % {
            "name": form.result.common_name
        })  # fmt: skip
        return redirect("admissions:species-added")
    versions = both_versions(form) if hasattr(form, "collision") else None
    return show(request, "admissions/species_edit.html", {"form": form, "species": found, "versions": versions}, status=status_of(form))


# --- finding ------------------------------------------------------------------------------------------------------


def _patients(request: HttpRequest) -> QuerySet[Patient]:
    return Patient.objects.visible_to(request.user).at(request.hospital)


@require_GET
@for_roles(*STAFF)
def in_care(request: HttpRequest) -> HttpResponse:
    form = FindForm(request.GET, carers=list(Carer.objects.at(request.hospital).select_related("person")))
    form.is_valid()
    patients = queries.living_at(_patients(request).in_care(), form.cleaned_data.get("where", ""))
    patients = queries.matching(patients, form.cleaned_data.get("words", ""))
    patients = queries.with_what_a_list_shows(queries.ordered(patients, form.cleaned_data.get("order", "")))
    page = Paginator(patients, A_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "page": page, "is_filtered": any(form.cleaned_data.values())}
    return show(request, "admissions/in_care.html", context, part="admissions/_patients.html")


@require_GET
@for_roles(*STAFF)
def closed(request: HttpRequest) -> HttpResponse:
    form = FindForm(request.GET, carers=[])
    del form.fields["where"], form.fields["order"]
    form.is_valid()
    patients = queries.matching(_patients(request).exclude(closed_on=None), form.cleaned_data.get("words", ""))
    patients = queries.with_what_a_list_shows(patients.order_by("-closed_on", "-pk"))
    page = Paginator(patients, A_PAGE).get_page(request.GET.get("page"))
    context = {"form": form, "page": page, "is_filtered": any(form.cleaned_data.values())}
    return show(request, "admissions/closed.html", context, part="admissions/_closed_patients.html")


# --- correcting ---------------------------------------------------------------------------------------------------


@for_patient(*STAFF)
def edit(request: HttpRequest, patient: Patient) -> HttpResponse:
    if "find_species" in request.POST:
        form = PatientForm(initial=as_typed(request.POST))
    else:
        known = {name: getattr(patient, name) for name in CORRECTED} | {"seen_version": patient.version}
        form = PatientForm(request.POST or None, initial=known)
    if done(form, actions.correct_patient, patient, now=now()):
        messages.success(request, _("The details of %(patient)s were saved.") % {"patient": form.result})
        return redirect(record_of(patient))
    context = {"form": form, "patient": patient, "record_url": record_of(patient)}
    if hasattr(form, "collision"):
        context["rows"] = both_versions(form)
    return show(request, "admissions/edit.html", context, part="admissions/_edit_form.html", status=status_of(form))


@for_patient(*STAFF)
def finder(request: HttpRequest, patient: Patient) -> HttpResponse:
    who = patient.finder
    known = {name: getattr(who, name) for name in ("name", "phone", "email", "wants_news")} if who else {}
    form = FinderForm(request.POST or None, initial=known | {"seen_version": who.version if who else 0})
    if done(form, actions.correct_finder, patient):
        messages.success(request, _("The finder of %(patient)s was saved.") % {"patient": patient})
        return redirect(record_of(patient))
    others = who.patients.exclude(pk=patient.pk).select_related("species") if who else []
    context = {"form": form, "patient": patient, "others": others, "record_url": record_of(patient)}
    if hasattr(form, "collision"):
        context["rows"] = both_versions(form)
    return show(request, "admissions/finder.html", context, part="admissions/_finder_form.html", status=status_of(form))


# --- adding -------------------------------------------------------------------------------------------------------


@for_patient(*STAFF)
def weigh(request: HttpRequest, patient: Patient) -> HttpResponse:
    form, earlier = WeighForm(request.POST or None), weighings_of(patient)
    form.fields["weight_g"].widget.attrs |= called_as_typed(patient, "weighed_at")
    if done(form, actions.record_weight, patient, by=request.user, now=now()):
        grams = {"grams": f"{form.result.weight_g.normalize():f}", "patient": patient}
        messages.success(request, _("%(grams)s g was saved for %(patient)s.") % grams)
        say_call(request, patient, earlier, form.result.weight_g, localtime(form.result.weighed_at).date())
        return redirect(record_of(patient))
    context = {"form": form, "patient": patient, "last": patient.latest_weight(), "record_url": record_of(patient)}
    context["call"] = call_as_typed(patient, earlier, request.POST.get("weight_g", ""), today())
    context["asks_if_sure"] = form.has_error("weight_g", "unlikely") or form["is_sure"].value()
    return show(request, "admissions/weigh.html", context, part="admissions/_weigh_form.html", status=status_of(form))


@for_patient(*STAFF)
def mark_add(request: HttpRequest, patient: Patient) -> HttpResponse:
    form = MarkForm(request.POST or None)
    if done(form, actions.note_mark, patient):
        messages.success(request, _("The mark %(mark)s was saved.") % {"mark": form.result.value})
        return redirect(record_of(patient))
    context = {"form": form, "patient": patient, "record_url": record_of(patient)}
    return show(request, "admissions/mark_add.html", context, part="admissions/_mark_form.html", status=status_of(form))


@require_GET
@for_patient(*STAFF)
def weight_call(request: HttpRequest, patient: Patient) -> HttpResponse:
    """What the weight that is being typed says, for the line below its field."""
    day = request.GET.get("examined_on") or request.GET.get("weighed_at") or ""
    try:
        on = date.fromisoformat(day[:10])
    except ValueError:
        on = today()
    call = call_as_typed(patient, weighings_of(patient), request.GET.get("weight_g", ""), on)
    return show(request, "admissions/_weight_call.html", {"call": call})


@require_POST
@for_patient(*STAFF)
def mark_remove(request: HttpRequest, patient: Patient, mark_id: int) -> HttpResponse:
    """Take away a mark that was noted by mistake; the history keeps it."""
    mark = get_object_or_404(patient.identifications, pk=mark_id)
    actions.remove_mark(mark)
    messages.success(request, _("The mark %(mark)s was taken away.") % {"mark": mark.value})
    return redirect("admissions:mark-add", patient.case_number)


# --- photographs --------------------------------------------------------------------------------------------------


@require_GET
@for_patient(*STAFF)
def photos(request: HttpRequest, patient: Patient) -> HttpResponse:
    page = Paginator(queries.photos_of(patient), 24).get_page(request.GET.get("page"))
    return show(request, "admissions/photos.html", {"patient": patient, "page": page, "record_url": record_of(patient)})


@for_patient(*STAFF)
def photo_add(request: HttpRequest, patient: Patient) -> HttpResponse:
    form = PhotoForm(request.POST or None, request.FILES or None)
    if done(form, actions.add_photo, patient, by=request.user, at=now()):
        messages.success(
            request, _("The photograph was saved, without the place and time that the camera wrote into it.")
        )
        return redirect("admissions:photos", patient.case_number)
    context = {"form": form, "patient": patient}
    return show(
        request, "admissions/photo_add.html", context, part="admissions/_photo_form.html", status=status_of(form)
    )


@require_POST
@for_patient(*STAFF)
def photo_remove(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    actions.remove_photo(get_object_or_404(patient.photos, key=key))
    messages.success(request, _("The photograph was removed."))
    return redirect("admissions:photos", patient.case_number)


@require_GET
@for_patient(*EVERYONE)
def photo(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """A photograph, for those who may see the patient."""
    return _as_picture(get_object_or_404(patient.photos, key=key), is_small=False)


@require_GET
@for_patient(*EVERYONE)
def photo_small(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    return _as_picture(get_object_or_404(patient.photos, key=key), is_small=True)


def _as_picture(kept: Photo, *, is_small: bool) -> HttpResponse:
    """The file, told to the browser to be a picture and nothing else: it must neither guess nor run anything."""
    try:
        file = kept.file.open("rb")
    except FileNotFoundError:
        raise Http404 from None
    with file:  # a kept photograph is small: two thousand pixels of JPEG
        response = HttpResponse(small(file) if is_small else file.read(), content_type="image/jpeg")
    response["Content-Disposition"] = f'inline; filename="{kept.key}.jpg"'
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["X-Content-Type-Options"] = "nosniff"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    return response


# --- history ------------------------------------------------------------------------------------------------------


@require_GET
@for_patient(*STAFF)
def history(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Who changed what, when."""
    page = Paginator(queries.history(patient), A_PAGE).get_page(request.GET.get("page"))
    context = {"patient": patient, "page": page, "lines": in_words(page.object_list), "record_url": record_of(patient)}
    return show(request, "admissions/history.html", context)

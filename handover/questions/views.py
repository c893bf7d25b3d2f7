"""Questions about an animal: the carer asks, the hospital answers, on one page that each side sees as its own."""

from __future__ import annotations

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from handover.questions import actions, queries
from handover.questions.forms import MessageForm
from handover.questions.models import Message, Question
from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.pages import as_picture, done, show, status_of
from hospital.people.access import for_roles
from hospital.people.models import EVERYONE, STAFF, Role


@require_GET
@for_patient(*EVERYONE)
def questions(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Everything that was asked about an animal; for a carer their own questions, and the box for a new one."""
    return _show(request, patient)


def _show(request: HttpRequest, patient: Patient, form: MessageForm | None = None, about: Question | None = None) -> HttpResponse:
    """The page; with a form that was refused, at its place and with its mistakes."""
    is_staff = request.user.memberships.filter(hospital=patient.hospital_id, role__in=STAFF).exists()
    rows = [
        {"question": each, "form": form if each == about else MessageForm(answering=True, auto_id=f"q{each.pk}_%s")}
        for each in queries.questions_of(patient, request.user)
    ]
    here = patient.open_placement()
    may_ask = bool(here and here.carer and here.carer.person_id == request.user.pk)
    context = {
        "patient": patient,
        "rows": rows,
        "is_staff": is_staff,
        "base": "base.html" if is_staff else "base_carer.html",
        "ask_form": (form if form and about is None else MessageForm()) if may_ask else None,
        "form": form,
    }
    return show(request, "questions/questions.html", context, status=status_of(form) if form else 200)


@require_POST
@for_patient(Role.CARER)
def ask(request: HttpRequest, patient: Patient) -> HttpResponse:
    """A carer's question; its state as JSON for a phone that kept it while there was no signal."""
    form = MessageForm(request.POST, request.FILES)
    is_done = done(form, actions.ask, patient, by=request.user)
    if request.accepts("application/json") and not request.accepts("text/html"):
        key = form.data.get("key", "")
        if is_done:
            return JsonResponse({"status": "stored", "key": key})
        errors = [str(error) for errors in form.errors.values() for error in errors]
        return JsonResponse({"status": "refused", "key": key, "errors": errors}, status=422)
    if is_done:
        messages.success(request, _("Sent. The answer appears here, and a letter tells you of it."))
        return redirect("questions:questions", patient.case_number)
    return _show(request, patient, form)


@require_POST
@for_patient(*EVERYONE)
def say(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """The hospital answers, or the carer asks further."""
    question = _question(request, patient, key)
    form = MessageForm(request.POST, request.FILES, answering=True, auto_id=f"q{question.pk}_%s")
    if done(form, actions.say, question, by=request.user):
        messages.success(request, _("Sent."))
        return redirect("questions:questions", patient.case_number)
    return _show(request, patient, form, question)


def _question(request: HttpRequest, patient: Patient, key: uuid.UUID) -> Question:
    return get_object_or_404(Question.objects.visible_to(request.user).filter(patient=patient), key=key)


@require_POST
@for_patient(*STAFF)
def close(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """Settled: it waits for nobody any more."""
    actions.close(_question(request, patient, key), by=request.user)
    messages.success(request, _("Closed. A new message opens it again."))
    return redirect("questions:questions", patient.case_number)


@require_POST
@for_patient(Role.CARER)
def read(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """The carer has read the answer."""
    question = get_object_or_404(Question, patient=patient, asked_by=request.user, key=key)
    actions.say_read(question)
    return redirect("questions:questions", patient.case_number)


@require_GET
@for_patient(*EVERYONE)
def photo(request: HttpRequest, patient: Patient, key: uuid.UUID) -> HttpResponse:
    """The photograph of a message."""
    seen = Question.objects.visible_to(request.user).filter(patient=patient)
    return as_picture(get_object_or_404(Message, question__in=seen, key=key).photo, name=f"{key}.jpg")


@require_GET
@for_patient(*STAFF)
def card(request: HttpRequest, patient: Patient) -> HttpResponse:
    """For the patient's page: what waits, and the way to all of it."""
    if not request.htmx:
        return redirect("questions:questions", patient.case_number)
    found = queries.questions_of(patient, request.user)
    context = {"patient": patient, "waiting": [each for each in found if each.waits_since], "count": len(found)}
    return render(request, "questions/_card.html", context)


@require_GET
@for_roles(*STAFF)
def waiting(request: HttpRequest) -> HttpResponse:
    """Every question to which the hospital owes an answer."""
    return show(request, "questions/waiting.html", {"questions": queries.waiting_questions(request.hospital, request.user)})

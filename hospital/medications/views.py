"""Pages for medicines: order, stop, give."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.medications import actions
from hospital.medications.forms import DoseForm, OrderForm, StopForm, TakeBackForm, like, prefilled
from hospital.medications.formulary import proposal_by
from hospital.medications.queries import orders_of
from hospital.medications.wording import line, parts
from hospital.pages import done, show, status_of
from hospital.people.models import Role


@for_patient(Role.VET)
def order(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Order a course. The dose is worked out while one types, and with the button “Work out”."""
    if "proposal" in request.POST:
        return _with_proposal(request, patient)
    if "work_out" in request.POST:
        return _worked_out(request, patient)
    form = OrderForm(request.POST or None, patient=patient, by=request.user, initial=_fresh(request, patient))
    if done(form, actions.order_medication, patient, by=request.user):
        messages.success(request, _("Ordered: %(line)s") % {"line": line(form.result)})
        return redirect("chart:patient", patient.case_number)
    return _show_order(request, patient, form, status=status_of(form))


def _fresh(request: HttpRequest, patient: Patient) -> dict:
    """A first dose now, and the figures of an earlier order when one is ordered again."""
    again = request.GET.get("again", "")
    earlier = patient.medication_orders.filter(pk=again).first() if again.isdecimal() else None
    return {"first_dose_at": now(), **(like(earlier) if earlier else {})}


def _with_proposal(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The page with a published proposal's figures put in, and the rest as typed."""
    typed = request.POST.dict()
    proposal = proposal_by(typed["proposal"], patient.species.group.lineage())
    form = OrderForm(
        patient=patient, by=request.user, initial=typed | (prefilled(proposal) if proposal else {})
    )
    return _show_order(request, patient, form)


def _worked_out(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Nothing is saved. While one types, only the sums are answered and no field is blamed yet."""
    form = OrderForm(request.POST, patient=patient, by=request.user)
    form.is_valid()
    if request.htmx:
        form.errors.clear()
    return _show_order(request, patient, form, part="medications/_dose.html")


def _show_order(
    request: HttpRequest,
    patient: Patient,
    form: OrderForm,
    *,
    part: str = "medications/_order_form.html",
    status: int = 200,
) -> HttpResponse:
    context = {"patient": patient, "form": form}
    return show(request, "medications/order.html", context, part=part, status=status)


@for_patient(Role.VET)
def stop(request: HttpRequest, patient: Patient, order_id: int) -> HttpResponse:
    """Stop a course before its last dose."""
    order = get_object_or_404(patient.medication_orders, pk=order_id)
    form = StopForm(request.POST or None)
    if done(form, actions.stop_medication, order):
        messages.success(request, _("Stopped: %(drug)s.") % {"drug": order.drug})
        return redirect("chart:patient", patient.case_number)
    context = {"patient": patient, "form": form, "order": order, "parts": parts(order)}
    return show(
        request, "medications/stop.html", context, part="medications/_stop_form.html", status=status_of(form)
    )


@for_patient(Role.VET, Role.NURSE)
def give(request: HttpRequest, patient: Patient, order_id: int) -> HttpResponse:
    """Write down one dose: given, not taken or missed."""
    order = get_object_or_404(orders_of(patient), pk=order_id)
    form = DoseForm(request.POST or None)
    if done(form, actions.give_dose, order, by=request.user):
        messages.success(request, _("Written down: %(drug)s.") % {"drug": order.drug})
        return redirect("chart:patient", patient.case_number)
    context = {"patient": patient, "form": form, "order": order, "parts": parts(order)}
    return show(
        request, "medications/give.html", context, part="medications/_give_form.html", status=status_of(form)
    )


@for_patient(Role.VET, Role.NURSE)
def take_dose_back(request: HttpRequest, patient: Patient, dose_id: int) -> HttpResponse:
    """Remove a dose that was written down by mistake, after asking."""
    dose = get_object_or_404(patient.doses_given.select_related("order", "given_by"), pk=dose_id)
    form = TakeBackForm(request.POST or None)
    if done(form, actions.take_dose_back, dose):
        messages.success(request, _("Taken back."))
        return redirect("chart:patient", patient.case_number)
    context = {"patient": patient, "form": form, "dose": dose, "parts": parts(dose.order)}
    return show(
        request,
        "medications/take_back.html",
        context,
        part="medications/_take_back_form.html",
        status=status_of(form),
    )

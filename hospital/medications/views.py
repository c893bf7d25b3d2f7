"""Pages for medicines: order, countersign, stop, give."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.template.loader import render_to_string
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.medications import actions
from hospital.medications.emergency import emergency_sheet
from hospital.medications.forms import (
    CountersignForm,
    DeclineForm,
    DoseForm,
    KeptDoseForm,
    OrderForm,
    StopForm,
    TakeBackForm,
    like,
    prefilled,
)
from hospital.medications.models import MedicationOrder
from hospital.medications.queries import next_dose_at, orders_of, other_vets, recent_weights, shelved, unsigned_orders_of
from hospital.medications.wording import dose_in_words, line, parts
from hospital.pages import done, show, status_of
from hospital.people.models import CLINICAL, Role
from hospital.press import print_pdf
from hospital.register.queries import pages_of_drug, same_strength


@require_GET
@for_patient(*CLINICAL)
def emergency(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The emergency sheet for the animal's weight now."""
    return show(request, "medications/emergency.html", {"patient": patient, "sheet": emergency_sheet(patient)})


@require_GET
@for_patient(*CLINICAL)
def emergency_print(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The emergency sheet on one page of paper."""
    context = {"patient": patient, "sheet": emergency_sheet(patient), "hospital": patient.hospital, "printed_at": now()}
    return _pdf("medications/emergency_print.html", context, "emergency.css", f"emergency-{patient.case_number}")


@for_patient(Role.VET)
def order(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Order a course. The dose is worked out while one types, and with the button “Work out”."""
    if "proposal" in request.POST:
        return _with_proposal(request, patient)
    if "dilute" in request.POST:
        return _diluted(request, patient)
    if "work_out" in request.POST:
        return _worked_out(request, patient)
    form = OrderForm(request.POST or None, patient=patient, by=request.user, initial=_fresh(request, patient))
    if done(form, actions.order_medication, patient, by=request.user):
        if form.result.is_waiting:
            messages.warning(request, _("A second vet must sign this order before it stands. Nothing is given until then."))
            return redirect("medications:countersign", patient.case_number, form.result.pk)
        messages.success(request, _("Ordered: %(line)s") % {"line": line(form.result)})
        return redirect("chart:patient", patient.case_number)
    return _show_order(request, patient, form, status=status_of(form))


def _fresh(request: HttpRequest, patient: Patient) -> dict:
    """A first dose now, and the figures of an earlier order when one is ordered again."""
    again = request.GET.get("again", "")
    earlier = patient.medication_orders.filter(pk=again).first() if again.isdecimal() else None
    return {"first_dose_at": now(), **(like(earlier) if earlier else {})}


def _with_proposal(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The page with the figures of a row put in, and the rest as typed."""
    typed = request.POST.dict()
    found = shelved(patient.hospital, typed["proposal"])
    fits = found and found.entry.group in patient.species.group.lineage()
    form = OrderForm(patient=patient, by=request.user, initial=typed | (prefilled(found.entry) if fits else {}))
    return _show_order(request, patient, form)


def _diluted(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The page with the proposed dilution put in and worked out; nothing is saved."""
    typed = request.POST.copy()
    typed["dilution_parts"] = typed["dilute"]
    form = OrderForm(typed, patient=patient, by=request.user)
    form.is_valid()
    form.errors.clear()
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
def countersign(request: HttpRequest, patient: Patient, order_id: int) -> HttpResponse:
    """An order that waits for a second vet: why, the sum, and the two answers."""
    order = get_object_or_404(unsigned_orders_of(patient), pk=order_id)
    form = CountersignForm(request.POST or None, initial=_seen(patient))
    if done(form, actions.countersign, order, by=request.user):
        messages.success(request, _("Signed. The order stands: %(line)s") % {"line": line(form.result)})
        return redirect("chart:patient", patient.case_number)
    return _show_countersign(request, patient, order, form, DeclineForm(), status_of(form))


@for_patient(Role.VET)
def decline(request: HttpRequest, patient: Patient, order_id: int) -> HttpResponse:
    """A no to an order that waits; whoever ordered it takes it back here."""
    order = get_object_or_404(unsigned_orders_of(patient), pk=order_id)
    form = DeclineForm(request.POST or None)
    if done(form, actions.decline, order, by=request.user):
        messages.success(request, _("It will not be given: %(drug)s.") % {"drug": order.drug})
        return redirect("chart:patient", patient.case_number)
    return _show_countersign(request, patient, order, CountersignForm(initial=_seen(patient)), form, status_of(form))


def _seen(patient: Patient) -> dict:
    newest = next(iter(recent_weights(patient)), None)
    return {"seen_weight_g": newest.weight_g if newest else None}


def _show_countersign(request, patient, order, form, decline_form, status: int) -> HttpResponse:
    is_own = order.ordered_by_id == request.user.pk
    context = {
        "patient": patient, "order": order, "parts": parts(order), "form": form, "decline_form": decline_form, "is_own": is_own,
        "newest": next(iter(recent_weights(patient)), None), "signers": other_vets(patient, order.ordered_by) if is_own else [],
    }  # fmt: skip
    return show(
        request, "medications/countersign.html", context, part="medications/_countersign.html", status=status
    )


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


@require_GET
@for_patient(*CLINICAL)
def label(request: HttpRequest, patient: Patient, order_id: int) -> HttpResponse:
    """A slip for the syringe: whose it is, what is in it, when it is due. Nothing is written down by printing it."""
    order = get_object_or_404(orders_of(patient), pk=order_id)
    context = {
        "patient": patient, "order": order, "parts": parts(order), "due_at": next_dose_at(order, patient.hospital.zone),
        "hospital": patient.hospital, "printed_at": now(), "dose": dose_in_words(order),
    }  # fmt: skip
    return _pdf("medications/label.html", context, "label.css", f"label-{patient.case_number}-{order.pk}")


def _pdf(template: str, context: dict, sheet: str, name: str) -> HttpResponse:
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return HttpResponse(print_pdf(render_to_string(template, context), sheet), content_type="application/pdf", headers=headers)


@for_patient(Role.VET, Role.NURSE)
def give(request: HttpRequest, patient: Patient, order_id: int) -> HttpResponse:
    """Write down one dose: given, not taken or missed."""
    order = get_object_or_404(orders_of(patient), pk=order_id)
    form = _dose_form(request, order)
    if done(form, actions.give_dose, order, by=request.user):
        messages.success(request, _("Written down: %(drug)s.") % {"drug": order.drug})
        return redirect("chart:patient", patient.case_number)
    context = {"patient": patient, "form": form, "order": order, "parts": parts(order)}
    return show(
        request, "medications/give.html", context, part="medications/_give_form.html", status=status_of(form)
    )


def _dose_form(request: HttpRequest, order: MedicationOrder) -> DoseForm:
    """Of a drug that is kept in the register of controlled drugs more is asked."""
    kept = pages_of_drug(order.patient.hospital, order.drug)
    pages = same_strength(kept, order.strength_per_ml, order.strength_unit)
    return KeptDoseForm(request.POST or None, pages=pages, by=request.user) if pages else DoseForm(request.POST or None)


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

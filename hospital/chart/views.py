"""The patient's page: what a vet reads in ten seconds."""

from __future__ import annotations

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.views.decorators.http import require_GET

from hospital.admissions.access import for_patient
from hospital.admissions.models import Patient
from hospital.admissions.weighing import chart_of
from hospital.admissions.weights_svg import WeightChart
from hospital.chart import now as standing
from hospital.chart.queries import Record, record_of
from hospital.chart.timeline import timeline
from hospital.clock import now
from hospital.clutches.queries import siblings_of
from hospital.clutches.wording import clutch_line
from hospital.commands.listing import commands_for
from hospital.examinations.wording import alarm_line, drawings_of, mark_rows
from hospital.imports.models import ImportedCase
from hospital.labs.wording import result_lines, sample_title, waiting_line
from hospital.outcomes.queries import distance_m
from hospital.pages import show
from hospital.people.models import CLINICAL, STAFF
from hospital.press import print_pdf
from hospital.rules.weights import Weighing

FIRST_MOMENTS = 40
FIRST_PHOTOS = 6
FIRST_IMAGES = 6


@require_GET
@for_patient(*STAFF)
def patient(request: HttpRequest, patient: Patient) -> HttpResponse:
    """Alerts, what is on and in the animal, what comes next, its weight, and everything that happened."""
    record = record_of(patient)
    moments = timeline(record)
    shown = moments if "all" in request.GET else moments[:FIRST_MOMENTS]
    courses = standing.courses_now(record, now())
    context = {
        "patient": patient,
        "record": record,
        "commands": commands_for(request.roles),
        "days_in_care": standing.days_in_care(record),
        "in_short": standing.in_short(record, courses),
        "courses": courses,
        "washing_out": standing.washing_out(record, now()),
        "waiting_orders": [order for order in record.unsigned_orders if order.is_waiting],
        "alerts": _alerts(record, courses),
        "closures": standing.closures_now(record),
        "bandages": standing.bandages_now(record),
        "implants": standing.implants_now(record),
        "weight_chart": _weight_chart(record),
        "alarm_line": alarm_line(patient),
        "waiting_samples": [waiting_line(each) for each in record.samples if not each.resulted_on],
        "last_results": _last_results(record),
        "is_clinical": bool(set(request.roles) & set(CLINICAL)),
        "drawings": drawings_of(record.last_drawn) if record.last_drawn else [],
        "clutches": [(each, clutch_line(each)) for each in record.clutches],
        "siblings": siblings_of(patient),
        "photos": record.photos[: -FIRST_PHOTOS - 1 : -1],
        "images": record.images[: -FIRST_IMAGES - 1 : -1],
        "moments": shown,
        "left_off": len(moments) - len(shown),
        "distance_m": _released_m(record),
        "imported": ImportedCase.objects.filter(patient=patient).select_related("of__written_by").first(),
    }
    return show(request, "chart/patient.html", context)


@require_GET
@for_patient(*STAFF)
def printed(request: HttpRequest, patient: Patient) -> HttpResponse:
    """The clinical history of a case as a PDF, from the beginning, with the drawings of its wounds."""
    record = record_of(patient)
    courses = standing.courses_now(record, now())
    context = {
        "patient": patient,
        "record": record,
        "days_in_care": standing.days_in_care(record),
        "alerts": _alerts(record, courses),
        "things": [*standing.closures_now(record), *standing.bandages_now(record), *standing.implants_now(record)],
        "courses": courses,
        "weight_chart": _weight_chart(record),
        "drawn": [(each, drawings_of(each), mark_rows(each)) for each in record.examinations if each.marks.all()],
        "moments": timeline(record)[::-1],
        "printed_at": now(),
        "printed_by": request.user,
    }
    pdf = print_pdf(render_to_string("chart/print.html", context), "record_print.css")
    headers = {"Content-Disposition": f'inline; filename="history-{patient.case_number}.pdf"'}
    return HttpResponse(pdf, content_type="application/pdf", headers=headers)


def _last_results(record: Record) -> list[tuple[str, date, list[str]]]:
    """The newest result of each kind of sample, what is outside its range first."""
    newest = {each.kind: each for each in reversed(record.samples) if each.resulted_on}
    return [(sample_title(each), each.resulted_on, result_lines(each)) for each in newest.values()]


def _alerts(record: Record, courses: list) -> list[str]:
    return [] if record.patient.closed_on else standing.alerts(record, courses)


def _weight_chart(record: Record) -> WeightChart | None:
    weighings = [Weighing(row.weighed_at.astimezone(record.zone).date(), row.weight_g) for row in record.weights]
    return chart_of(record.patient, weighings, record.today)


def _released_m(record: Record) -> int | None:
    """How far from where it was found it was released."""
    if record.outcome is None:
        return None
    return distance_m(record.patient, record.outcome.latitude, record.outcome.longitude)

"""Examinations in words, and their drawings as values for a page."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from hospital.admissions.models import Patient
from hospital.examinations.models import Examination, WoundMark
from hospital.examinations.vocabulary import VIEWS, VIEWS_OF, nearest_place, scale_named, systems_of
from hospital.press import STATIC
from hospital.rules.weights import alarm_for
from hospital.rules.wording import number


def alarm_line(patient: Patient) -> str:
    """From which fall in weight a vet is called for this kind of animal, and whose rule that is."""
    alarm = alarm_for(patient.species.group.lineage())
    said = {
        "today": _fall(alarm.today_percent, alarm.today_days),
        "now": _fall(alarm.now_percent, alarm.now_days),
        "source": source_words(alarm.source, alarm.how_known),
    }
    return _("A vet hears the same day of a fall of %(today)s, at once of %(now)s. Source: %(source)s.") % said


def source_words(source: str, how_known: str) -> str:
    """A source, and whether it was only remembered."""
    return _("%s, from memory") % source if how_known == "memory" else source


def _fall(percent: Decimal, days: int | None) -> str:
    if days is None:
        return _("%s%% since admission or since the last weighing") % number(percent)
    if days == 1:
        return _("%s%% within a day") % number(percent)
    return _("%(percent)s%% within %(days)d days") % {"percent": number(percent), "days": days}


# --- what was found ---------------------------------------------------------------------------------------------------


def findings_lines(seen: Examination, body_plan: str) -> list[str]:
    """An examination line by line, only what was said; what was not looked at is not named as normal."""
    systems = systems_of(body_plan)
    odd = [f"{label}: {seen.systems[slug]}" for slug, label in systems.items() if seen.systems.get(slug)]
    normal = [str(label).lower() for slug, label in systems.items() if seen.systems.get(slug) == ""]
    lines = [
        " · ".join(str(each) for each in (seen.get_mentation_display(), seen.get_hydration_display()) if each),
        _measures(seen),
        _condition(seen),
        *odd,
        _("Normal: %s") % ", ".join(normal) if normal else "",
        seen.get_wound_display() if seen.wound != seen.Wound.NONE else "",
        seen.findings,
        _("Outlook: %s") % seen.get_prognosis_display().lower() if seen.prognosis else "",
        _decision(seen),
    ]
    return [line for line in lines if line]


def _measures(seen: Examination) -> str:
    said = [
        f"{number(seen.temperature_c)} °C" if seen.temperature_c is not None else "",
        _("heart %d a minute") % seen.heart_rate_per_min if seen.heart_rate_per_min is not None else "",
        _("breaths %d a minute") % seen.breaths_per_min if seen.breaths_per_min is not None else "",
    ]
    return ", ".join(each for each in said if each)


def _condition(seen: Examination) -> str:
    """The score with the name of its scale beside it: scales differ."""
    scale = scale_named(seen.condition_scale)
    score = _("%(score)d on the scale %(scale)s") % {"score": seen.condition_score, "scale": scale.name} if scale else ""
    words = " · ".join(each for each in (score, seen.body_condition) if each)
    return _("Body condition: %s") % words if words else ""


def _decision(seen: Examination) -> str:
    if not seen.decision:
        return ""
    words = _("Decision: %s") % seen.get_decision_display().lower()
    return f"{words}. {seen.decision_reason}" if seen.decision_reason else words


# --- the drawing ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Drawing:
    """One side of the animal with the marks on it."""

    view: str
    label: str
    file: str
    marks: tuple[WoundMark, ...]

    @property
    def printed_file(self) -> str:
        """Where a document that is set as a PDF finds the outline."""
        return (STATIC / self.file).as_uri()


def drawings_of(seen: Examination) -> list[Drawing]:
    """Both sides of the drawing of an examination."""
    plan, marks = seen.patient.species.group.body_plan, list(seen.marks.all())
    return [
        Drawing(view, str(VIEWS[view]), f"hospital/outlines/{plan}-{view}.svg", tuple(each for each in marks if each.view == view))
        for view in VIEWS_OF.get(plan, ())
    ]


def mark_rows(seen: Examination) -> list[tuple[WoundMark, str]]:
    """The marks of an examination, each with its line."""
    return [(made, mark_line(made, seen.patient.species.group.body_plan)) for made in seen.marks.all()]


def mark_line(made: WoundMark, body_plan: str) -> str:
    """ "2: Bite, left fore limb: 12 mm, clean edges"."""
    place = str(nearest_place(body_plan, made.view, made.x, made.y)).lower()
    words = _("%(number)d: %(kind)s, %(place)s") % {"number": made.number, "kind": made.get_kind_display(), "place": place}
    return f"{words}: {made.words}" if made.words else words

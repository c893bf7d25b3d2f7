"""Every kind of letter in words, made at the moment it goes from what is true then; None when there is nothing to tell any more.

Letters name the animal and what to do, never who found it or where.
"""

from __future__ import annotations

from datetime import date, timedelta

from django.conf import settings
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from handover.logs.models import LogEntry, LogSeen
from handover.logs.queries import day_of
from handover.logs.wording import answer_card, findings_in_words
from handover.packs.models import Pack
from handover.packs.queries import has_moved_on, is_superseded
from handover.plans.news import DAY, news_of
from handover.questions.models import Message
from hospital.admissions.models import Patient, Placement
from hospital.clock import today
from hospital.mail.models import Letter
from hospital.mail.queries import choice_of
from hospital.mail.sending import Words, Writer
from hospital.medications.queries import last_dose_at


def link(name: str, *args: object) -> str:
    return settings.SITE_URL + reverse(name, args=args)


def _placement(letter: Letter) -> Placement | None:
    """The placement that a letter is about, as long as the animal is still there."""
    rows = Placement.objects.open().filter(pk=letter.facts["placement"], carer__person=letter.to, patient__closed_on=None)
    return rows.select_related("patient__hospital", "patient__species__group", "carer").first()


# --- what changed -------------------------------------------------------------------------------------------------


def plan_words(letter: Letter) -> Words | None:
    """A sentence for each date that is not what the carer knows. Once read on the page, there is nothing to tell."""
    placement = _placement(letter)
    news = news_of([placement]).get(placement.pk) if placement else None
    if placement is None or news is None or news.plan.pk != letter.facts["plan"]:
        return None
    animal = placement.patient.called
    lines = [" ".join(filter(None, (each.sentence, each.why))) for each in news.lines]
    known = _("Read it and say so: %(address)s") % {"address": link("logs:day", placement.patient.case_number)}
    return Words(
        _("%(animal)s: dates have changed") % {"animal": animal},
        "\n".join([*lines, "", _("Dates on older paper no longer hold."), known]),
    )


def pack_words(letter: Letter) -> Words | None:
    """A newer pack was made. One that has been replaced, or that was made for another place, is not told of."""
    pack = Pack.objects.select_related("patient__species", "patient__hospital").filter(pk=letter.facts["pack"]).first()
    if pack is None or is_superseded(pack) or has_moved_on(pack):
        return None
    words = {"animal": pack.patient.called, "version": pack.version}
    return Words(
        _("%(animal)s: new pack, version %(version)d") % words,
        "\n".join(
            [
                _("The hospital has made pack version %(version)d. Put older paper away.") % words,
                _("Open it: %(address)s") % {"address": link("packs:page", pack.patient.case_number, pack.version)},
            ]
        ),
    )


# --- worrying reports ---------------------------------------------------------------------------------------------


def passed_words(letter: Letter) -> Words | None:
    """A worrying report for whoever is on duty; nothing once somebody has seen it."""
    entry = LogEntry.objects.select_related("patient__species", "author").prefetch_related("passed_on__to").get(pk=letter.facts["entry"])
    if hasattr(entry, "seen"):
        return None
    card, patient = answer_card(entry), entry.patient
    words = {"animal": f"{patient.case_number} {patient.called}", "told": card.headline, "who": entry.who}
    before = [f"{step.to} {date_format(localtime(step.at), 'H:i')}" for step in entry.passed_on.all() if step.to_id != letter.to_id]
    lines = [
        _("%(who)s was told: %(told)s.") % words,
        findings_in_words(entry),
        *card.reasons,
        entry.worries,
        _("Told as well: %(names)s") % {"names": ", ".join(before)} if before else "",
        _("Nobody has said that it is seen. Say so here, and ring the carer: %(address)s") % {"address": link("logs:worrying")},
    ]
    return Words(_("Worrying report: %(animal)s") % words, "\n".join(filter(None, lines)))


def seen_words(letter: Letter) -> Words | None:
    """Who has seen a worrying report, for the carer who wrote it."""
    seen = LogSeen.objects.select_related("entry__patient__species", "seen_by").filter(pk=letter.facts["seen"]).first()
    if seen is None:
        return None
    words = {
        "animal": seen.entry.patient.called, "who": seen.seen_by, "at": date_format(localtime(seen.seen_at), "H:i"),
        "written": date_format(localtime(seen.entry.made_at), "l j F, H:i"),
    }  # fmt: skip
    return Words(
        _("%(animal)s: your report is seen") % words,
        _("%(who)s has seen your report of %(written)s, at %(at)s.") % words + "\n" + _("It gets worse? Phone at once, day or night."),
    )


# --- questions ----------------------------------------------------------------------------------------------------


def _message(letter: Letter) -> Message:
    related = ("by", "question__patient__species", "question__patient__hospital")
    return Message.objects.select_related(*related).get(pk=letter.facts["message"])


def question_words(letter: Letter) -> Words | None:
    """What a carer asks, for who must see that it is answered; nothing once it is."""
    message = _message(letter)
    patient = message.question.patient
    if message.question.waits_since is None:
        return None
    words = {"animal": patient.called, "case": patient.case_number, "who": message.by}
    return Words(
        _("%(who)s asks about %(case)s %(animal)s") % words,
        "\n\n".join([message.words, _("Answer: %(address)s") % {"address": link("questions:questions", patient.case_number)}]),
    )


def answer_words(letter: Letter) -> Words | None:
    """The hospital's answer; nothing once the carer has said that it is read."""
    message = _message(letter)
    patient = message.question.patient
    if message.question.unread_since is None:
        return None
    here = Patient.objects.visible_to(letter.to).filter(pk=patient.pk).exists()
    more = _("Read it and say so: %(address)s") % {"address": link("questions:questions", patient.case_number)} if here else ""
    words = {"animal": patient.called, "who": message.by}
    return Words(_("%(animal)s: %(who)s has answered") % words, "\n\n".join(filter(None, [message.words, more])))


# --- reminders ----------------------------------------------------------------------------------------------------


def _reminded(letter: Letter) -> tuple[Placement, date] | None:
    """Where the animal is and which day it is there, for a reminder of today to somebody who wants them."""
    placement = _placement(letter)
    if placement is None or not choice_of(letter.to).wants_reminders:
        return None
    day = today(placement.patient.hospital.zone)
    return (placement, day) if letter.facts["on"] == day.isoformat() else None


def visit_words(letter: Letter) -> Words | None:
    """What is promised for tomorrow at the clinic, by the plan as it is now."""
    if (found := _reminded(letter)) is None:
        return None
    placement, day = found
    tomorrow = day + timedelta(1)
    visits = [each for each in day_of(placement.patient, day).visits if each.on == tomorrow]
    if not visits:
        return None
    what = [f"- {each.label}" + (f". {_('Bring: %(what)s') % {'what': each.bring}}" if each.bring else "") for each in visits]
    words = {"animal": placement.patient.called, "day": date_format(tomorrow, DAY)}
    return Words(
        _("%(animal)s: at the hospital tomorrow") % words,
        "\n".join([_("Tomorrow, %(day)s, at the hospital:") % words, *what, "", _cannot_come(placement.patient)]),
    )


def _cannot_come(patient: Patient) -> str:
    return _("You cannot come? Phone %(phone)s.") % {"phone": patient.hospital.phone}


def log_words(letter: Letter) -> Words | None:
    """No report has come today. On the first day somebody has enough to do."""
    if (found := _reminded(letter)) is None:
        return None
    placement, day = found
    patient = placement.patient
    if patient.logs.filter(on=day).exists() or date.fromisoformat(letter.facts["since"]) >= day:
        return None
    words = {"animal": patient.called, "address": link("logs:day", patient.case_number)}
    return Words(
        _("%(animal)s: no report yet today") % words,
        _("How is it? Two taps are enough: %(address)s") % words + "\n" + _("Is something wrong? Phone now, do not write."),
    )


def course_words(letter: Letter) -> Words | None:
    """The last day of a course of medicine, unless a vet has stopped it or made it longer."""
    if (found := _reminded(letter)) is None:
        return None
    placement, day = found
    patient = placement.patient
    orders = patient.medication_orders.filter(stopped_on=None).prefetch_related("doses_given")
    ending = [order.drug for order in orders if last_dose_at(order, patient.hospital.zone).date() == day]
    if not ending:
        return None
    words = {"animal": patient.called, "drugs": ", ".join(ending), "phone": patient.hospital.phone}
    return Words(
        _("%(animal)s: last day of %(drugs)s") % words,
        "\n".join(
            [
                _("Today is the last day of %(drugs)s. Give what today’s page says, then no more.") % words,
                _("It still seems unwell, or doses are left over? Phone %(phone)s before you go on or stop.") % words,
                link("logs:day", patient.case_number),
            ]
        ),
    )


WRITERS: dict[str, Writer] = {
    "plan": plan_words,
    "pack": pack_words,
    "passed": passed_words,
    "seen": seen_words,
    "question": question_words,
    "answer": answer_words,
    "visit": visit_words,
    "log": log_words,
    "course": course_words,
}

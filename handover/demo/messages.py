"""Questions, the duty list and the post of the demonstration: fixtures/demo/messages.toml, told after the cases."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.core.mail import get_connection
from django.utils import timezone

from handover.demo.stories import Cast
from handover.duty.actions import add_turn
from handover.letters.words import WRITERS
from handover.questions.actions import ask, say
from hospital.admissions.models import Patient
from hospital.audit.acting import acting
from hospital.clock import pretending
from hospital.mail.models import Letter
from hospital.mail.sending import send_due

NAMES = uuid.UUID("8f0d3c0e-6f0e-4f6a-9a53-5f1f4f7b7c11")


def tell_messages(told: Mapping[str, Any], cast: Cast, patients: Mapping[str, Patient]) -> None:
    for row in told["turn"]:
        starts, ends = (time.fromisoformat(hour) for hour in row["hours"])
        add_turn(cast.hospitals[row["hospital"]], person=cast.people[row["person"]], starts=starts, ends=ends, weekdays=[])
    for row in told["question"]:
        here = patients[row["story"]].open_placement()
        if here and here.carer and here.carer.person == cast.people[row["by"]]:
            _tell_question(row, cast, patients[row["story"]])
    _send_the_past(cast.now)


def _tell_question(row: Mapping[str, Any], cast: Cast, patient: Patient) -> None:
    def at(hours: int, person: str):
        return pretending(cast.now - timedelta(hours=hours)), acting(cast.people[person].pk, "demonstration")

    moment, actor = at(row["hours_ago"], row["by"])
    with moment, actor:
        question = ask(patient, by=cast.people[row["by"]], key=uuid.uuid5(NAMES, row["words"]), words=row["words"])
    if "answer" in row:
        moment, actor = at(row["answer_hours_ago"], row["answered_by"])
        with moment, actor:
            say(question, by=cast.people[row["answered_by"]], key=uuid.uuid5(NAMES, row["answer"]), words=row["answer"])


def _send_the_past(until: datetime) -> None:
    """What was due before the demonstration was made went at its time, to nobody: no mail leaves."""
    nobody = get_connection("django.core.mail.backends.dummy.EmailBackend")
    waiting = Letter.objects.filter(state=Letter.State.WAITING, next_try_at__lte=until).order_by("next_try_at")
    while letter := waiting.select_related("hospital").first():
        with pretending(letter.next_try_at), timezone.override(ZoneInfo(letter.hospital.zone)):
            send_due(WRITERS, connection=nobody)

"""Ask for a job, run it, and give up on one that stopped."""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import uuid
from functools import partial

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.module_loading import import_string
from django.utils.translation import gettext as _

from hospital.audit.acting import acting
from hospital.clock import now
from hospital.jobs.models import Job
from hospital.jobs.progress import Teller, forget
from hospital.jobs.queries import has_stopped
from hospital.people.models import Person
from hospital.sites.models import Hospital

log = logging.getLogger(__name__)
State = Job.State


@transaction.atomic
def ask(kind: str, hospital: Hospital, *, subject: uuid.UUID, by: Person, begins: bool = True) -> Job:
    """Ask for a piece of work. Asked twice, it is done once.

    A process of its own begins it as soon as this is committed, unless whoever asks will `run` it.
    """
    if going := Job.objects.select_for_update().filter(subject=subject, state__in=(State.WAITING, State.RUNNING)).first():
        if not has_stopped(going, now()):
            return going
        _end(going, State.FAILED, _("It stopped before it was done. What it was writing was not kept."))
    job = Job(kind=kind, hospital=hospital, subject=subject, asked_by=by, asked_at=now())
    job.full_clean()
    job.save()
    if begins:
        transaction.on_commit(partial(_begin, job.key))
    return job


def _begin(key: uuid.UUID) -> None:
    """A process that outlives the page, and the web server's worker that showed it."""
    command = [sys.executable, "-m", "django", "work", str(key)]
    environment = os.environ | {"DJANGO_SETTINGS_MODULE": "hospital.settings"}
    subprocess.Popen(command, cwd=settings.BASE_DIR, env=environment, start_new_session=True, stdin=subprocess.DEVNULL)


def run(key: uuid.UUID) -> Job:
    """Do the work of a job that waits, as the person who asked for it. Two that try to are one that does."""
    waiting = Job.objects.filter(key=key, state=State.WAITING)
    if not waiting.update(state=State.RUNNING, started_at=now()):
        return Job.objects.get(key=key)
    job = Job.objects.select_related("hospital", "asked_by").get(key=key)
    tell = Teller(key)
    tell(0, 0)
    with acting(job.asked_by_id, f"job {job.kind}"):
        try:
            import_string(settings.JOBS[job.kind])(job, tell)
        except ValidationError as refusal:
            _end(job, State.FAILED, " ".join(refusal.messages))
        except Exception:
            log.exception("job %s", key)
            _end(job, State.FAILED, _("Something went wrong on our side, and nothing of it was kept. The log of the server says more."))
        else:
            _end(job, State.DONE, "")
    forget(key)
    return job


def _end(job: Job, state: str, note: str) -> None:
    job.state, job.note, job.finished_at = state, note[:500], now()
    job.save()

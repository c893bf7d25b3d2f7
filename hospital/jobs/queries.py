"""How a job stands."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta

from hospital.jobs.models import Job
from hospital.jobs.progress import progress_of

UNCLAIMED = timedelta(minutes=2)  # no process came for it


def latest(subject: uuid.UUID) -> Job | None:
    """The newest job about a subject."""
    return Job.objects.filter(subject=subject).order_by("-id").first()


def has_stopped(job: Job, now: datetime) -> bool:
    """Whether a job that should be going is not: its process died, or never began."""
    if job.state == Job.State.WAITING:
        return now - job.asked_at > UNCLAIMED
    return job.state == Job.State.RUNNING and now - (job.started_at or now) > UNCLAIMED and progress_of(job.key).is_quiet


def is_going(job: Job | None, now: datetime) -> bool:
    return bool(job) and job.state in (Job.State.WAITING, Job.State.RUNNING) and not has_stopped(job, now)

"""Do the jobs that wait: one by its key, or all of them."""

from __future__ import annotations

import uuid

from django.core.management.base import BaseCommand

from hospital.jobs.actions import run
from hospital.jobs.models import Job


class Command(BaseCommand):
    help = "Do one job by its key, or all that wait (after a restart). Pages start this by themselves."

    def add_arguments(self, parser) -> None:
        parser.add_argument("key", nargs="?", type=uuid.UUID)

    def handle(self, *, key: uuid.UUID | None, **options) -> None:
        waiting = Job.objects.filter(state=Job.State.WAITING).order_by("asked_at")
        for each in [key] if key else list(waiting.values_list("key", flat=True)):
            job = run(each)
            self.stdout.write(f"{job.kind} {job.key}: {job.get_state_display()} {job.note}".rstrip())

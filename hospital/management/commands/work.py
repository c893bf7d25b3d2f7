"""Do the jobs that wait: one by its key, or all of them; and let go of files whose time is over."""

from __future__ import annotations

import uuid
from datetime import timedelta

from django.conf import settings
from django.core.management.base import BaseCommand

from hospital.clock import now
from hospital.exports.actions import forget_files as forget_exports
from hospital.imports.actions import forget_files as forget_uploads
from hospital.jobs.actions import run
from hospital.jobs.models import Job


class Command(BaseCommand):
    help = "Do one job by its key (pages start this), or all that wait, and remove files whose time is over: run it every night."

    def add_arguments(self, parser) -> None:
        parser.add_argument("key", nargs="?", type=uuid.UUID)

    def handle(self, *, key: uuid.UUID | None, **options) -> None:
        waiting = Job.objects.filter(state=Job.State.WAITING).order_by("asked_at")
        for each in [key] if key else list(waiting.values_list("key", flat=True)):
            job = run(each)
            self.stdout.write(f"{job.kind} {job.key}: {job.get_state_display()} {job.note}".rstrip())
        if not key:
            gone = forget_uploads(now() - timedelta(days=settings.UPLOADS_KEPT_DAYS)) + forget_exports(now())
            self.stdout.write(f"{gone} files removed.")

"""A photograph that comes in parts after its report's words. What is cut off goes on where it stopped."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files import locks
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from handover.logs.models import LogEntry, LogPhoto
from hospital.clock import now
from hospital.pictures import safe_jpeg

FORGET_AFTER_S = 30 * 24 * 3600


def receive_photo_part(entry: LogEntry, part: bytes, *, start: int, of: int) -> tuple[int, bool]:
    """Add the bytes from `start` of a photograph of `of` bytes: how many are here now, and whether it is whole and kept.

    A part that does not begin where the last one ended changes nothing; the answer says where to go on. Refuses, and
    forgets, what is too large or no photograph.
    """
    if entry.picture:
        return of, True
    if not 0 <= start <= of or not 0 < of <= settings.PHOTO_MAX_BYTES:
        raise ValidationError(_("This photograph cannot be taken in. Send a smaller one with another report."))
    file = settings.MEDIA_ROOT / "parts" / str(entry.key)
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    _forget_old(file.parent)
    with open(file, "ab+") as kept:
        locks.lock(kept, locks.LOCK_EX)
        have = kept.seek(0, 2)
        if start == have and part:
            have += kept.write(part[: of - have])
            kept.flush()
        if have < of:
            return have, False
        try:
            kept.seek(0)
            photo = safe_jpeg(kept)
        finally:
            file.unlink(missing_ok=True)
    _keep(entry, photo)
    return of, True


@transaction.atomic
def _keep(entry: LogEntry, photo: bytes) -> None:
    LogEntry.objects.select_for_update(of=("self",)).get(pk=entry.pk)
    if not LogPhoto.objects.filter(entry=entry).exists():
        LogPhoto.objects.create(entry=entry, photo=ContentFile(photo, name=f"{entry.key}.jpg"), received_at=now())


def _forget_old(folder: Path) -> None:
    """Parts that nobody went on with: a phone sends its own again from the start."""
    before = now().timestamp() - FORGET_AFTER_S
    for part in folder.iterdir():
        if part.stat().st_mtime < before:
            part.unlink(missing_ok=True)

"""Two people editing one record never silently overwrite each other; a mistake is marked, not deleted."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _


class Versioned(models.Model):
    """A row that counts its edits, so that a form can say which edit it started from."""

    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True


class Withdrawable(models.Model):
    """A row that is never deleted: a mistake is marked, by whom and when, and with the reason where one is asked."""

    withdrawn_at = models.DateTimeField(null=True, blank=True, editable=False)
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", null=True, blank=True, editable=False)
    withdrawn_why = models.CharField(max_length=160, blank=True, editable=False)

    class Meta:
        abstract = True

    @property
    def is_withdrawn(self) -> bool:
        return self.withdrawn_at is not None

    def withdraw(self, *, by: models.Model, at: datetime, why: str = "") -> None:
        """Mark it; the caller saves. Refuses what was withdrawn already."""
        if self.is_withdrawn:
            raise ValidationError(gettext("This was withdrawn already."))
        self.withdrawn_at, self.withdrawn_by, self.withdrawn_why = at, by, why


class EditCollision(Exception):
    """Somebody saved this record after the form was opened. `theirs` is the record as it is now."""

    sentence = _(
        "Somebody else saved this record while you were editing. Nothing of yours is lost: compare and save again."
    )

    def __init__(self, theirs: Versioned):
        super().__init__(str(self.sentence))
        self.theirs = theirs


def refuse_unseen(current: models.Model | None, seen_version: int) -> None:
    """Refuse to go on from another version than the person saw (0: none): EditCollision, or ValidationError if it is gone."""
    if current and current.version != seen_version:
        raise EditCollision(current)
    if seen_version and not current:
        raise ValidationError(gettext("Somebody withdrew this while you were reading. Look again, then decide."))


@transaction.atomic
def save_edit(row: Versioned, *, seen_version: int) -> Versioned:
    """Save `row` if nobody else has since `seen_version`, else raise EditCollision and change nothing.

    The check and the write are one: the version moves in a conditional UPDATE, which only one of two writers can win.
    """
    row.full_clean()
    unchanged = type(row)._base_manager.filter(pk=row.pk, version=seen_version)
    if not unchanged.update(version=seen_version + 1):
        raise EditCollision(type(row)._base_manager.get(pk=row.pk))
    row.version = seen_version + 1
    row.save()
    return row

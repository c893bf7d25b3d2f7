"""The animal's code on a pack: for reporting about this one animal, by whoever holds the paper, while it is with this carer.

It is worked out from the pack's key with the installation's secret, so that it can be printed again and is kept nowhere; what
is kept is a keyed hash to find it by. Eleven characters of 31, some 54 bits, and one that checks them. It ends with the
placement, with the case, and when staff stop it.
"""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from handover.packs.models import AnimalCode, Pack
from hospital.admissions.models import Patient
from hospital.clock import now
from hospital.people.models import Person
from hospital.rules.codes import checked, drawn, tidied

LENGTH = 11


def code_on(pack: Pack) -> str:
    """The code that is printed on the pack; empty for one that was made for the ward."""
    if not (pack.placement and pack.placement.carer_id):
        return ""
    return checked(drawn(salted_hmac("packs.code", str(pack.key), algorithm="sha256").digest(), LENGTH))


def keep_code(pack: Pack) -> None:
    """From now on the code on this pack opens the animal's page of the day."""
    if code := code_on(pack):
        AnimalCode.objects.create(pack=pack, digest=_digest(code), made_at=now())


def _digest(code: str) -> str:
    return salted_hmac("packs.code.kept", code, algorithm="sha256").hexdigest()


def code_typed(typed: str) -> AnimalCode | None:
    """The code of a pack, whether it is still good or not."""
    with_all = "pack__patient__hospital", "pack__patient__species__group", "pack__placement__carer__person"
    return AnimalCode.objects.select_related(*with_all).filter(digest=_digest(tidied(typed))).first()


def is_good(code: AnimalCode) -> bool:
    """Whether the paper's holder may still report: nobody stopped it, and the animal is where it was."""
    return code.ended_at is None and code.pack.placement.ended_at is None and code.pack.patient.is_in_care


def open_codes(patient: Patient) -> list[AnimalCode]:
    """The codes that are good now, of all packs that this carer was given."""
    rows = AnimalCode.objects.filter(pack__patient=patient, pack__placement__ended_at=None, ended_at=None)
    return list(rows.select_related("pack").order_by("pack__version")) if patient.is_in_care else []


@transaction.atomic
def stop_codes(patient: Patient, *, by: Person) -> int:
    """The codes on every paper about this animal open nothing any more, from this moment on; how many they were."""
    stopped = AnimalCode.objects.filter(pk__in=[each.pk for each in open_codes(patient)], ended_at=None)
    count = stopped.update(ended_at=now(), ended_by=by)
    if not count:
        raise ValidationError(_("No code of this animal is good any more."))
    return count

"""Making a pack. Packs are only added: what was printed stays readable as it was."""

from __future__ import annotations

import hashlib
import uuid
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from handover.packs.codes import code_on, keep_code
from handover.packs.contents import Contents
from handover.packs.gather import contents_of, nothing_to_print
from handover.packs.models import AnimalCode, Pack
from handover.packs.pages import Stamp, context_of
from handover.packs.pdf import PAPERS, PHOTO_URL, Printed, print_pdf
from handover.packs.queries import latest_pack, pack_before
from handover.plans.queries import changes_since, live_plan, plan_in_force
from handover.schedule.changes import Kind
from hospital.admissions.days import locked
from hospital.admissions.models import Patient
from hospital.clock import now, today
from hospital.mail.actions import write
from hospital.people.models import PRINT_SIZES, Person
from hospital.rules.codes import grouped


def make_pack(
    patient: Patient, *, by: Person, paper: str, print_size: str = "usual", language: str = settings.LANGUAGE_CODE,
    dates_differ: bool = False,
) -> Pack:  # fmt: skip
    """Print the plan in force for whoever has the animal: a new version, unless the latest says just the same.

    Refuses a closed case, one without a published plan, a paper, print or language that we lack, and dates that today's
    facts would move unless somebody says so (`dates_differ`). The pages are set before anything is locked, because that
    takes seconds; if the case has moved meanwhile, nothing is kept and it is to be made again.
    """
    patient = Patient.objects.select_related("hospital", "species__group").get(pk=patient.pk)
    _refuse_unknown(paper, print_size, language)
    if trouble := nothing_to_print(patient):
        raise ValidationError(trouble)
    if not dates_differ and (doubt := doubt_about_dates(patient)):
        raise ValidationError({"dates_differ": doubt})
    with translation.override(language):
        pack = _draft(patient, by=by, paper=paper, print_size=print_size)
        if pack.pk:
            return pack
        printed = print_pdf(document(pack), paper=paper, print_size=print_size, photo=_photo(pack))
    return _keep(pack, printed)


def _refuse_unknown(paper: str, print_size: str, language: str) -> None:
    if paper not in PAPERS:
        raise ValidationError({"paper": _("Choose A4 or Letter.")})
    if print_size not in PRINT_SIZES:
        raise ValidationError({"print_size": _("Choose usual or large print.")})
    if language not in dict(settings.LANGUAGES):
        raise ValidationError({"language": _("Choose one of the languages.")})


def doubt_about_dates(patient: Patient) -> str:
    """Why the agreed dates may not hold, in a sentence; empty while today's facts give the same ones."""
    plan = plan_in_force(patient)
    if plan is None:
        return ""
    live = live_plan(patient, today(patient.hospital.zone))
    if live.planned is None:
        return _("By today’s facts the dates collide. Settle that first, or print the agreed dates knowing it.")
    if any(change.kind != Kind.DONE for change in changes_since(plan, live)):
        return _("By today’s facts some dates differ from the agreed plan. Look at the plan first, or print the agreed dates knowing it.")
    return ""


def _draft(patient: Patient, *, by: Person, paper: str, print_size: str) -> Pack:
    """The next pack, not saved yet; or the latest, when it would say the same to the same carer in the same way."""
    plan, placement, latest = plan_in_force(patient), patient.open_placement(), latest_pack(patient)
    here = placement.pk if placement else None
    contents = contents_of(patient, plan, today=today(patient.hospital.zone), before=pack_before(patient, here))
    is_alike = latest and (latest.paper, latest.print_size, latest.placement_id) == (paper, print_size, here)
    if is_alike and _kept(latest).says_the_same(contents) and not _has_stopped_code(latest):
        return latest
    return Pack(
        patient=patient,
        plan=plan,
        placement=placement,
        version=latest.version + 1 if latest else 1,
        made_at=now(),
        made_by=by,
        paper=paper,
        print_size=print_size,
        language=contents.language,
        contents=contents.to_json(),
    )


def _has_stopped_code(pack: Pack) -> bool:
    """A paper whose code was stopped is to be replaced, though it says the same."""
    return AnimalCode.objects.filter(pack=pack).exclude(ended_at=None).exists()


def _kept(pack: Pack) -> Contents:
    return Contents.from_json(pack.contents)


@transaction.atomic
def _keep(pack: Pack, printed: Printed) -> Pack:
    """Save the pack with its file. A file whose row was not saved after all is taken away again."""
    patient = locked(pack.patient)
    latest = latest_pack(patient)
    if (latest.version if latest else 0) != pack.version - 1 or plan_in_force(patient) != pack.plan:
        raise ValidationError(_("Something changed while the pack was being made. Look at it, and make it again."))
    pack.sha256, pack.pages = hashlib.sha256(printed.file).hexdigest(), printed.pages
    pack.file.save(f"{uuid.uuid4()}.pdf", ContentFile(printed.file), save=False)
    try:
        pack.full_clean()
        pack.save()
        keep_code(pack)
        if pack.placement and pack.placement.carer:
            write("pack", pack.pk, hospital=patient.hospital, to=pack.placement.carer.person, facts={"pack": pack.pk})
    except Exception:
        pack.file.storage.delete(pack.file.name)
        raise
    return pack


def document(pack: Pack) -> str:
    """The HTML that the file is set from."""
    contents = _kept(pack)
    photo_url = PHOTO_URL if _photo(pack) else ""
    with timezone.override(ZoneInfo(pack.patient.hospital.zone)):
        return render_to_string("packs/document.html", {**context_of(contents, stamp_of(pack)), "photo_url": photo_url})


def stamp_of(pack: Pack) -> Stamp:
    code = code_on(pack)
    leads_to = reverse("codes:log", args=[code]) if code else reverse("packs:code", args=[pack.key])
    typed = {"typed": grouped(code), "typed_at": f"{settings.SITE_URL}{reverse('codes:type')}"} if code else {}
    return Stamp(pack.version, pack.made_at, str(pack.made_by), f"{settings.SITE_URL}{leads_to}", print_size=pack.print_size, **typed)


def _photo(pack: Pack) -> bytes:
    """The photograph that the contents name; nothing if its file is gone."""
    key = _kept(pack).animal.photo
    photo = pack.patient.photos.filter(key=key).first() if key else None
    if photo is None or not photo.file.storage.exists(photo.file.name):
        return b""
    with photo.file.open("rb") as file:
        return file.read()

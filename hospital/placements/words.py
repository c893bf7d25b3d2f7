"""Reasons for and against a carer, in words."""

from __future__ import annotations

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from hospital.admissions.models import Patient
from hospital.people.models import FACILITIES
from hospital.placements.matching import Change
from hospital.placements.suitability import Against, Suitability

AGAINST = {
    Against.NO_AUTHORITY: gettext_lazy("No authority to hold this kind of animal is written down."),
    Against.AUTHORITY_ENDED: gettext_lazy("The authority ended on %(ended)s."),
    Against.TOO_MANY: gettext_lazy("The hospital’s limit is reached: at most %(most)d of the group %(group)s at one carer."),
    Against.DAYS_USED_UP: gettext_lazy("The hospital’s limit is reached: at most %(days)d days with carers for the group %(group)s."),
    Against.NO_ROOM: gettext_lazy("No room: %(there)d of %(room)d places are taken."),
    Against.AWAY: gettext_lazy("Away until %(until)s."),
    Against.NOT_APART: gettext_lazy("One of the animals must be kept apart, and there is no separate quarantine room."),
    Against.HUNTED: gettext_lazy("Hunter and prey: %(meets)s is there. Keep them out of sight, sound and smell of each other."),
    Against.NO_FACILITY: gettext_lazy("Lacks what it is usually kept in: %(lacking)s."),
    Against.AWAY_AT_VISIT: gettext_lazy("Away on a promised day at the clinic: %(missed)s."),
    Against.AWAY_SOON: gettext_lazy("Goes away on %(from)s."),
    Against.AUTHORITY_ENDS_SOON: gettext_lazy("The authority ends soon, on %(ended)s."),
    Against.FAR: gettext_lazy("Far away: %(km)s km."),
    Against.DISTANCE_UNKNOWN: gettext_lazy("The distance is not known."),
}


def reasons_against(suitability: Suitability) -> list[str]:
    """Sentences, the heaviest first."""
    offer, limit = suitability.offer, suitability.limit
    facts = {
        "ended": _day(offer.authority_ends_on), "there": offer.animals_there, "room": offer.room_for,
        "until": _day(suitability.away_until), "from": _day(suitability.away_from),
        "most": (limit and limit.most_animals) or 0, "days": (limit and limit.most_days) or 0, "group": limit.name if limit else "",
        "meets": ", ".join(suitability.meets), "missed": ", ".join(_day(day) for day in suitability.missed),
        "lacking": facilities_in_words(suitability.lacking), "km": kilometres(offer.distance_km),
    }
    return [str(AGAINST[reason]) % facts for reason in suitability.against]


def reasons_for(suitability: Suitability, needed: frozenset[str]) -> list[str]:
    """Sentences for what the carer has that this animal needs."""
    offer, sentences = suitability.offer, []
    if Against.NO_AUTHORITY not in suitability.against and Against.AUTHORITY_ENDED not in suitability.against:
        sentences.append(_("May hold this kind of animal."))
    if left := suitability.room_left:
        sentences.append(ngettext("Room for %(left)d more.", "Room for %(left)d more.", left) % {"left": left})
    if has := needed - suitability.lacking:
        sentences.append(_("Has: %(has)s.") % {"has": facilities_in_words(has)})
    if (count := offer.cared_for) > 0:
        words = ngettext("Has cared for %(count)d of this group.", "Has cared for %(count)d of this group.", count)
        sentences.append(words % {"count": count})
    if offer.distance_km is not None and Against.FAR not in suitability.against:
        sentences.append(_("%(km)s km away.") % {"km": kilometres(offer.distance_km)})
    return sentences


def change_in_words(change: Change) -> str:
    """What another carer for one animal would cost: "Otherwise: Reed to Ann Marsh, Moss to Bert Dune; 12 km more in all. …"."""
    to = ", ".join(_moved(patient, suits) for patient, suits in change.to)
    km = {"to": to, "km": kilometres(abs(change.more_km))}
    words = _("Otherwise: %(to)s; %(km)s km more in all.") if change.more_km >= 0 else _("Otherwise: %(to)s; %(km)s km less in all.")
    against = [sentence for _patient, suits in change.to if suits for sentence in reasons_against(suits)]
    return " ".join([words % km, *dict.fromkeys(against)])


def _moved(patient: Patient, suits: Suitability | None) -> str:
    animal = patient.name or patient.called
    if suits is None:
        return _("%(animal)s stays in the hospital") % {"animal": animal}
    return _("%(animal)s to %(carer)s") % {"animal": animal, "carer": suits.offer.name}


def facilities_in_words(slugs: frozenset[str] | list[str]) -> str:
    return ", ".join(str(label).lower() for slug, label in FACILITIES.items() if slug in slugs)


def kilometres(distance_km: float | None) -> str:
    """Whole kilometres; below ten with one decimal. A distance as the crow flies is no better than that."""
    if distance_km is None:
        return ""
    return f"{distance_km:.1f}" if distance_km < 10 else f"{distance_km:.0f}"


def _day(day) -> str:
    return date_format(day, "D d-M-Y") if day else ""

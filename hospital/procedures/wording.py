"""What is on or in an animal, in a line."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from hospital.admissions.days import in_words
from hospital.procedures.models import LAYERS, Bandage, Closure, Implant, Milestone, Procedure
from hospital.procedures.vocabulary import event_name, name_of, vocabulary


def closure_line(closure: Closure) -> str:
    """ "Left flank: nylon monofilament, horizontal mattress, 6 sutures or staples"."""
    words = vocabulary()
    parts = [name_of(words.materials, closure.material)]
    if closure.pattern and closure.pattern != "none":
        parts.append(name_of(words.patterns, closure.pattern).lower())
    if closure.count:
        parts.append(
            ngettext("%(count)d in all", "%(count)d in all", closure.count) % {"count": closure.count}
        )
    return f"{closure.site}: {', '.join(parts)}{_off(closure)}"


def bandage_line(bandage: Bandage) -> str:
    """ "Left wing: figure-of-eight wing wrap (padding: cotton; outer layer: cohesive wrap)"."""
    told = "; ".join(f"{label}: {material}" for label, material in layers_of(bandage))
    layers = f" ({told})" if told else ""
    return f"{bandage_name(bandage)}{layers}{_off(bandage)}"


def bandage_name(bandage: Bandage) -> str:
    """ "Left wing: figure-of-eight wing wrap", where its layers stand in rows beside it."""
    kind = name_of(vocabulary().bandages, bandage.kind)
    return f"{bandage.site}: {kind[:1].lower()}{kind[1:]}"


def layers_of(bandage: Bandage) -> list[tuple[str, str]]:
    """Each layer that was written down and what it is made of, from the skin outwards."""
    written = [(bandage._meta.get_field(name).verbose_name, getattr(bandage, name)) for name in LAYERS]
    return [(str(label), material) for label, material in written if material]


def implant_line(implant: Implant) -> str:
    """ "Left ulna: intramedullary pin 1.6 mm, from the elbow, must come out before release"."""
    kind = name_of(vocabulary().implants, implant.kind)
    size = f" {implant.size}" if implant.size else ""
    fate = _("must come out before release") if implant.must_come_out else _("may stay in")
    position = f", {implant.position}" if implant.position else ""
    return f"{implant.site}: {kind[:1].lower()}{kind[1:]}{size}{position}, {fate}{_off(implant)}"


def _off(row: Closure | Bandage | Implant) -> str:
    """ ", out on Tue 05-Jan-2027", or nothing while it is on."""
    if row.removed_on is None:
        return ""
    words = _("off on %(day)s") if isinstance(row, Bandage) else _("out on %(day)s")
    return ", " + words % {"day": in_words(row.removed_on)}


def left_by(procedure: Procedure) -> list[str]:
    """What a procedure left on or in the animal: closures, bandages, implants."""
    return [
        *(closure_line(row) for row in procedure.closures.all()),
        *(bandage_line(row) for row in procedure.bandages.all()),
        *(implant_line(row) for row in procedure.implants.all()),
    ]


LINES = {Closure: closure_line, Bandage: bandage_line, Implant: implant_line}


def bandage_watch(bandage: Bandage) -> str:
    """What to look at every time, for this kind of bandage."""
    term = vocabulary().bandages.get(bandage.kind)
    return " ".join(filter(None, (term.watch, term.caution))) if term else ""


def milestone_line(milestone: Milestone) -> str:
    """ "First water, Tue 05-Jan-2027"."""
    return f"{event_name(milestone.event)}, {in_words(milestone.happened_on)}"

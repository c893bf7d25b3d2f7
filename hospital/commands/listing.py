"""What can be started with one animal: the buttons of its chart, and what the box of every page understands."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from hospital.people.models import CLINICAL, STAFF, Role


@dataclass(frozen=True, slots=True)
class Command:
    """Its words, the address that takes a case number, and who may. `also`: other words that people type for it."""

    words: Promise
    url_name: str
    roles: Collection[Role] = STAFF
    also: Promise | str = ""
    is_first: bool = False  # a button of its own on the chart
    is_for_closed: bool = False

    def is_meant_by(self, typed: str) -> bool:
        """Whether one typed word begins one of its words."""
        return len(typed) > 1 and any(word.startswith(typed.casefold()) for word in f"{self.words} {self.also}".casefold().split())


COMMANDS = (
    Command(_("Recheck"), "examinations:recheck", CLINICAL, _("seen again"), is_first=True),
    Command(_("Record a procedure"), "procedures:add", CLINICAL, _("operation surgery suture"), is_first=True),
    Command(_("Order a medicine"), "medications:order", {Role.VET}, _("drug dose prescribe"), is_first=True),
    Command(_("Weigh"), "admissions:weigh", also=_("weight grams"), is_first=True),
    Command(_("Plan"), "plans:plan", also=_("dates care schedule"), is_first=True),
    Command(_("Put a bandage on"), "procedures:bandage-on", CLINICAL, _("splint")),
    Command(_("Sign an order set"), "ordersets:choose", {Role.VET}, _("after operation orders")),
    Command(_("Emergency medicines"), "medications:emergency", CLINICAL, _("resuscitation crash sheet adrenaline")),
    Command(_("Put on the theatre list"), "theatre:plan", CLINICAL, _("anaesthesia anaesthetic operation")),
    Command(_("Examine"), "examinations:add", CLINICAL, _("examination findings")),
    Command(_("Record a sample"), "labs:add", CLINICAL, _("blood droppings swab laboratory test")),
    Command(_("Samples and results"), "labs:samples", also=_("laboratory blood"), is_for_closed=True),
    Command(_("Add a problem"), "examinations:problem-add", CLINICAL, _("diagnosis")),
    Command(_("Wounds on the drawing"), "examinations:drawings", also=_("outline map marks"), is_for_closed=True),
    Command(_("Print the clinical history"), "chart:print", also=_("pdf record summary"), is_for_closed=True),
    Command(_("Record a milestone"), "procedures:milestone", CLINICAL, _("event")),
    Command(_("Food and fluids"), "feeding:plans", also=_("feed diet drip")),
    Command(_("Write a feeding plan"), "feeding:feed", {Role.VET}, _("food diet meals energy")),
    Command(_("Write a fluid plan"), "feeding:give", {Role.VET}, _("drip infusion deficit")),
    Command(_("Begin a clutch"), "clutches:begin", CLINICAL, _("eggs gravid lay")),
    Command(_("Clutches"), "clutches:clutches", also=_("eggs hatch incubate candle"), is_for_closed=True),
    Command(_("Place with a carer"), "placements:place", also=_("foster home")),
    Command(_("Take in or move to another cage"), "placements:bring-back", also=_("ward hospital bring back")),
    Command(_("Where it has been"), "placements:chain", also=_("custody"), is_for_closed=True),
    Command(_("Add a mark"), "admissions:mark-add", also=_("chip ring band tag")),
    Command(_("Pack"), "packs:pack", also=_("handover print")),
    Command(_("Copy a paper log"), "logs:paper", also=_("report carer sheet type")),
    Command(_("Add a photograph"), "admissions:photo-add", also=_("photo picture")),
    Command(_("Add an image"), "images:add", CLINICAL, _("radiograph x-ray dicom ultrasound")),
    Command(_("Images"), "images:all", also=_("radiograph compare measure"), is_for_closed=True),
    Command(_("Compare two images"), "images:compare", also=_("side radiograph dates"), is_for_closed=True),
    Command(_("Carer’s reports"), "logs:past", also=_("log diary"), is_for_closed=True),
    Command(_("What if"), "plans:what-if", also=_("try suppose dates")),
    Command(_("Criteria for release"), "releases:criteria", also=_("fit assess")),
    Command(_("Outcome"), "outcomes:record", also=_("released died euthanased transfer close")),
    Command(_("Finder"), "admissions:finder", also=_("found by private")),
    Command(_("Change details"), "admissions:edit", also=_("correct species sex")),
    Command(_("History of changes"), "admissions:history", also=_("audit"), is_for_closed=True),
)


def commands_for(roles: Collection[Role], *, is_in_care: bool = True) -> list[Command]:
    """What people of these roles may start, in the order of the chart."""
    return [each for each in COMMANDS if set(each.roles) & set(roles) and (is_in_care or each.is_for_closed)]

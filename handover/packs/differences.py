"""What one pack says otherwise than the pack before it, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from handover.labels.care import minutes_in_words
from handover.packs.contents import Appointment, Contents, Difference, Feeding, Fluids, Medicine
from hospital.words import dated

KINDS = {
    "moved": gettext_lazy("Moved"),
    "added": gettext_lazy("New"),
    "dropped": gettext_lazy("No longer planned"),
    "done": gettext_lazy("Done"),
    "changed": gettext_lazy("Changed"),
}
DAY = "D j M Y"  # Tue 5 Jan 2027: month as a word, weekday before


def differences(before: Contents, after: Contents, reasons: Mapping[str, str]) -> tuple[Difference, ...]:
    """Everything that a carer who knows the earlier pack must unlearn; `reasons` are sentences by event.

    Where the earlier pack speaks another language, days, minutes and amounts are compared, and never its words.
    """
    return (
        *_appointments(before, after, reasons),
        *_water(before, after),
        *_medicines(before, after),
        *_food_and_fluids(before, after),
        *_phones(before, after),
    )


def _appointments(before: Contents, after: Contents, reasons: Mapping[str, str]) -> Iterator[Difference]:
    old = {each.event_id: each for each in before.appointments}
    new = {each.event_id: each for each in after.appointments}
    same = _renamed(old, new, after.done)
    for event_id, each in new.items():
        was = old.get(event_id)
        if (was is None or was.on != each.on) and event_id not in same:
            kind = "moved" if was else "added"
            yield Difference(_what(each), kind, _day(was.on if was else None), _day(each.on), reasons.get(event_id, ""))
    for event_id, each in old.items():
        if event_id not in new and event_id not in same:
            kind = "done" if event_id in after.done else "dropped"
            yield Difference(_what(each), kind, _day(each.on), "", reasons.get(event_id, "") if kind == "dropped" else "")


def _what(each: Appointment) -> str:
    """With what it is about: two wounds have sutures out on different days."""
    return f"{each.what} · {each.about}" if each.about else each.what


def _renamed(old: Mapping[str, Appointment], new: Mapping[str, Appointment], done: Iterable[str]) -> set[str]:
    """Ids of what stays on its day and only counts from another wound now: nothing to unlearn."""
    gone = [each for event_id, each in old.items() if event_id not in new and event_id not in done]
    same: set[str] = set()
    for event_id, each in new.items():
        twin = next((g for g in gone if (g.what, g.on) == (each.what, each.on) and g.event_id not in same), None)
        if event_id not in old and twin:
            same |= {event_id, twin.event_id}
    return same


def _water(before: Contents, after: Contents) -> Iterator[Difference]:
    """The first day of the new pack on which the water is not what the earlier pack had foreseen."""
    what = _("Time in water")
    if (before.water is None) != (after.water is None):
        kind, words = ("added", after.water) if after.water else ("dropped", before.water)
        ladder = _in_a_line(words.ladder if words else ())
        yield Difference(what, kind, "" if kind == "added" else ladder, ladder if kind == "added" else "", "")
    if before.water is None or after.water is None:
        return
    foreseen = {day.on: day for day in before.water.days}
    for day in after.water.days:
        was = foreseen.get(day.on)
        if was and was.minutes != day.minutes:
            on = _("Time in water from %(day)s") % {"day": _day(day.on)}
            yield Difference(on, "changed", minutes_in_words(was.minutes), day.words, day.why)
            return


def _in_a_line(ladder: tuple[int, ...]) -> str:
    return _("%(minutes)s minutes a day, step by step") % {"minutes": ", ".join(map(str, ladder))}


def _medicines(before: Contents, after: Contents) -> Iterator[Difference]:
    old = {each.order_id: each for each in before.medicines}
    new = {each.order_id: each for each in after.medicines}
    says = _figures if before.language != after.language else _line
    for key, each in new.items():
        if key not in old:
            yield Difference(each.drug, "added", "", each.line, "")
        elif says(old[key]) != says(each):
            was = old[key].line if says is _line else ", ".join((old[key].volume, *old[key].times))
            yield Difference(each.drug, "changed", was, each.line, "")
    for key, each in old.items():
        if key not in new:
            yield Difference(each.drug, "dropped", each.line, "", _("The course is over or was stopped."))


def _line(medicine: Medicine) -> object:
    return medicine.line


def _figures(medicine: Medicine) -> object:
    return medicine.drug, medicine.volume_ml, medicine.syringe_ml, medicine.times, medicine.count


def _food_and_fluids(before: Contents, after: Contents) -> Iterator[Difference]:
    for what, was, now, same in (
        (_("Food"), _food(before), _food(after), _is_same_plan(before.feeding, after.feeding)),
        (_("Fluids"), _fluids(before), _fluids(after), before.language != after.language and _is_same_plan(before.fluids, after.fluids)),
    ):
        if was != now and not same:
            yield Difference(what, "changed" if was and now else "added" if now else "dropped", was, now, "")


def _is_same_plan(before: Feeding | Fluids | None, after: Feeding | Fluids | None) -> bool:
    """Whether both speak of one signed plan, in whatever words. Packs of the first days did not keep which."""
    return bool(before and after and before.plan_id and before.plan_id == after.plan_id)


def _food(contents: Contents) -> str:
    return f"{contents.feeding.food}: {contents.feeding.meals}" if contents.feeding else ""


def _fluids(contents: Contents) -> str:
    if contents.fluids is None:
        return ""
    return "; ".join([contents.fluids.what, *(f"{step.when}: {step.what}" for step in contents.fluids.steps)])


def _phones(before: Contents, after: Contents) -> Iterator[Difference]:
    for what, was, now in (
        (_("Phone by day"), before.site.phone, after.site.phone),
        (_("Phone at night"), before.site.night_phone, after.site.night_phone),
    ):
        if was != now:
            yield Difference(what, "changed", was, now, "")


def _day(on: date | None) -> str:
    return dated(on, DAY)

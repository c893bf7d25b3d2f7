"""A clutch in words."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from hospital.admissions.days import in_words
from hospital.admissions.models import Patient, Species
from hospital.clutches.models import CandledEgg, Clutch, Egg, Reading
from hospital.clutches.queries import Standing, seen_last
from hospital.rules.egg_weights import AIM, NATURAL, LossBand
from hospital.rules.logfile import Fault
from hospital.rules.wording import number

FAULTS = {
    Fault.NO_MOMENT: gettext_lazy("no day and time that can be read; write 2027-01-25 14:30"),
    Fault.SLASHES: gettext_lazy("a day with slashes can be read two ways; write 2027-01-25"),
    Fault.SKIPPED_HOUR: gettext_lazy("this clock time did not exist: the clocks went forward"),
    Fault.DOUBLE_HOUR: gettext_lazy("this clock time came twice, as the clocks went back; give the offset, as in 01:30+01:00"),
    Fault.FUTURE: gettext_lazy("in the future"),
    Fault.NO_NUMBER: gettext_lazy("no temperature that can be read"),
    Fault.FAHRENHEIT: gettext_lazy("looks like °F; the log is kept in °C"),
    Fault.OUT_OF_RANGE: gettext_lazy("not between 5 and 45 °C"),
    Fault.NO_HUMIDITY: gettext_lazy("no humidity that can be read"),
    Fault.HUMIDITY_RANGE: gettext_lazy("humidity is not between 0 and 100%"),
    Fault.COLUMNS: gettext_lazy("other columns than expected; a comma inside a number needs another separator"),
    Fault.TWICE: gettext_lazy("the same moment stands in the file twice; the first counts"),
    Fault.TOO_MANY: gettext_lazy("too many rows: at most 20,000 at a time"),
}
# What to do with the side that lies on top. Common practice, no source.
TURNING = {
    "reptile": gettext_lazy("Mark the top of each egg and keep it up: a reptile’s egg is never turned after 12 to 24 hours."),
    "bird": gettext_lazy("Birds turn their eggs: turn them several times a day, and stop about three days before the hatch."),
}


def clutch_line(clutch: Clutch) -> str:
    """ "Clutch of Mon 04-Jan-2027, 12 eggs", "Clutch not laid yet"."""
    if clutch.laid_from is None:
        return _("Clutch not laid yet")
    on = clutch.laid_from.astimezone(ZoneInfo(clutch.patient.hospital.zone)).date()
    eggs = clutch.eggs.all()
    said = ngettext("%(n)d egg", "%(n)d eggs", len(eggs)) % {"n": len(eggs)}
    return _("Clutch of %(day)s, %(eggs)s") % {"day": in_words(on), "eggs": said}


def state_line(egg: Egg) -> str:
    """How an egg stands."""
    if egg.end == Egg.End.LOST:
        return ": ".join(filter(None, [_("Lost, %(why)s") % {"why": egg.get_loss_display()}, egg.loss_note]))
    if egg.end == Egg.End.HATCHED:
        return _("Hatched")
    seen = seen_last(egg)
    return _("Candled: %(seen)s") % {"seen": CandledEgg.Seen(seen).label} if seen else _("Not candled")


def counts_line(standing: Standing) -> str:
    """ "8 developing, 2 not candled, 1 lost"."""
    counts = standing.counts
    words = [
        *((each.value, each.label) for each in CandledEgg.Seen), ("", _("not candled")),
        (Egg.End.HATCHED.value, _("hatched")), (Egg.End.LOST.value, _("lost")),
    ]  # fmt: skip
    return ", ".join(f"{counts[value]} {label}" for value, label in words if counts[value])


def celsius(degrees) -> str:
    """ "28.2 °C"."""
    return f"{number(degrees)}\N{NO-BREAK SPACE}°C"


def reading_line(reading: Reading, zone: str) -> str:
    """ "28.2 °C, 80 % humidity on Mon 04-Jan-2027 10:00"."""
    at = reading.read_at.astimezone(ZoneInfo(zone))
    said = {"degrees": celsius(reading.temperature_c), "when": date_format(at, "D d-M-Y H:i")}
    if reading.humidity_percent is None:
        return _("%(degrees)s on %(when)s") % said
    said["percent"] = number(reading.humidity_percent)
    return _("%(degrees)s, %(percent)s%% humidity on %(when)s") % said


def _day(moment: datetime, standing: Standing) -> str:
    return in_words(moment.astimezone(standing.zone).date())


def window_line(standing: Standing) -> str:
    """When it may hatch, or that nobody has published it."""
    found = standing.forecast
    if found is None:
        return "" if standing.figures else _("No published figures here.")
    first = _day(found.earliest, standing)
    if found.latest is None:
        return _("From %(first)s on; no last day is known, because it is kept cooler than anything published.") % {"first": first}
    return _("%(first)s to %(last)s") % {"first": first, "last": _day(found.latest, standing)}


def built_on(standing: Standing) -> list[str]:
    """What the forecast stands on, in sentences: source, log, what is assumed."""
    figures, found = standing.figures, standing.forecast
    if figures is None:
        return list(_nothing_published(standing))
    said = [_("Figures: %(what)s. Source: %(source)s (%(how)s).") % {
        "what": _figures(figures), "source": figures.source, "how": figures.how_known
    }]  # fmt: skip
    if found is None:
        return [*said, _("Put the eggs into an incubator: these figures need a temperature.")] if standing.clutch.laid_from else said
    if found.done_percent:
        least, most = found.done_percent
        words = _("Development so far: %(most)d%%.") if least == most else _("Development so far: %(least)d to %(most)d%%.")
        said += [
            words % {"least": least, "most": most},
            _("From today on %(target)s is assumed, what the incubator is set to.") % {"target": celsius(standing.incubator.target_c)},
        ]
        if found.assumed_hours:
            words = _("For %(n)d hours so far there is no reading (a gap is more than 12 hours): what the incubator is set to is assumed.")
            said.append(words % {"n": found.assumed_hours})
        if found.outside_hours:
            words = _("For %(n)d hours so far it was cooler or warmer than any published temperature; that makes the window wider.")
            said.append(words % {"n": found.outside_hours})
    else:
        said.append(_("These are days from laying; the temperatures of the log do not move them."))
    return said


def _figures(figures) -> str:
    days = _("%(least)d to %(most)d days") % {"least": figures.days[0], "most": figures.days[1]}
    if not figures.at:
        return days
    cool, warm = figures.at[0][0], figures.at[-1][0]
    return _("%(days)s at %(cool)s to %(warm)s") % {"days": days, "cool": celsius(cool), "warm": celsius(warm)}


def _nothing_published(standing: Standing) -> Iterable[str]:
    species = standing.clutch.patient.species
    yield _("For %(species)s this system holds no published days to hatch, so there is no forecast.") % {"species": species}
    if standing.watch_from:
        words = _("The earliest of a related kind (%(name)s) is day %(day)d: watch the eggs from %(from)s. Source: %(source)s (%(how)s).")
        yield words % {
            "name": standing.others.names[0], "day": standing.others.days[0], "from": in_words(standing.watch_from),
            "source": standing.others.source, "how": standing.others.how_known,
        }  # fmt: skip
    elif standing.clutch.laid_from:
        yield _("No related kind is listed either: watch the eggs every day.")
    yield _("A vet who knows better writes the days and their source under “Change the clutch”.")


def _rounded(value: Fraction, places: int) -> str:
    return number(round(Decimal(value.numerator) / value.denominator, places))


def loss_words(standing: Standing, egg: Egg) -> str:
    """ "11.8 g, 3.2% lost in 6 days": short, for a table; empty before it was weighed."""
    weights = list(egg.weights.all())
    if not weights:
        return ""
    found, newest = standing.loss(egg), f"{number(weights[-1].weight_g)}\N{NO-BREAK SPACE}g"
    if found is None:
        return newest
    lost, gained = _("%(weight)s, %(percent)s%% lost in %(days)d days"), _("%(weight)s, %(percent)s%% gained in %(days)d days")
    words = lost if found.lost >= 0 else gained
    return words % {"weight": newest, "percent": _rounded(abs(found.lost), 1), "days": found.days}


def loss_lines(standing: Standing, egg: Egg) -> list[str]:
    """What the weights of an egg say and what is expected, in sentences with their sources."""
    found, band = standing.loss(egg), standing.loss_band
    if not egg.weights.all():
        return [_("Not weighed yet. Weigh it at the beginning and then every few days, at the same time of day.")]
    if found is None:
        return [_("Weighed once: a second weight on another day says how much it loses.")]
    said = [_("%(words)s: %(a_day)s g a day.") % {"words": loss_words(standing, egg), "a_day": _rounded(abs(found.g_per_day), 3)}]
    if found.by_hatch is not None and found.lost >= 0:
        words = _("If it goes on like this it will have lost %(percent)s%% after %(days)s days.")
        said.append(words % {"percent": _rounded(found.by_hatch, 1), "days": _rounded(standing.incubation_days, 1)})
    elif band and found.by_hatch is None:
        said.append(_("Nobody has said in how many days it hatches, so there is nothing to compare with: see “Change the clutch”."))
    if band is None:
        unknown = _("How much an egg of this kind should lose this system does not know; eggs of reptiles also take water up.")
        return [*said, unknown]
    if found.by_hatch is not None and found.is_outside:
        too_little = _("That is less than natural: often it is too humid. Check humidity and air, and have a vet look.")
        too_much = _("That is more than natural: often it is too dry, or the shell is cracked. Check both, and have a vet look.")
        said.append(too_much if found.by_hatch > NATURAL.most else too_little)
    return [*said, *(_from(each) for each in (AIM, NATURAL))]


def _from(band: LossBand) -> str:
    words = _("Aimed at: %(least)s to %(most)s%%. Source: %(source)s (%(how)s).")
    if band is NATURAL:
        words = _("Natural variation: %(least)s to %(most)s%%. Source: %(source)s (%(how)s).")
    return words % {"least": number(band.least), "most": number(band.most), "source": band.source, "how": band.how_known}


def turning(patient: Patient) -> str:
    """Whether eggs of this kind are turned; empty where nobody says it."""
    lineage = patient.species.group.lineage()
    return next((str(TURNING[group]) for group in lineage if group in TURNING), "")


def law(species: Species) -> str:
    """What the law may say about hatching this species."""
    if species.non_native_note:
        words = _("Restricted: %(note)s. Ask the authority before any egg hatches: keeping, moving and letting go may be forbidden.")
        return words % {"note": species.non_native_note}
    return _("Local law decides who may hatch and keep eggs of wild animals, and what becomes of a species that is not native here.")

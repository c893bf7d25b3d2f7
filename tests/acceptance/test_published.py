"""Every published figure of fixtures/published/ against our own answer. The id of a test is its citation."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from geographiclib.geodesic import Geodesic

from hospital.rules.doses import (
    AmountUnit,
    bottle_lasts_days,
    converted,
    diluted_per_ml,
    dose_for,
    doses_in_course,
    exact_ml,
    mg_per_ml_of_percent,
    tablets_per_dose,
    to_step,
)
from hospital.rules.dosetimes import dose_times, next_dose, washout_ends
from hospital.rules.egg_weights import NATURAL, guide_g, loss_of, lost_g_per_day, lost_percent, projected_percent
from hospital.rules.energy import by_power, kcal_of_kj, linear_resting_kcal, metabolism_for, ration, resting_kcal
from hospital.rules.fluids import deficit_ml, drops_per_minute, fluids, maintenance_ml_day, share_of_weight_ml
from hospital.rules.geo import Axis, dms, parse_coordinates, precision_uncertainty_m
from hospital.rules.infusions import (
    KM,
    Per,
    amount_in_bag,
    diluent_ml,
    given_per_kg_per_hour,
    infused_per_hour,
    ml_per_hour,
    per_hour,
    scaled,
    surface_m2,
)
from hospital.rules.weights import (
    JACKSON_ACCEPTABLE,
    Weighing,
    g_from_pounds,
    gain_g_per_kg_per_day,
    jackson_ratio,
    trend_g_per_day,
)

FOLDER = Path(__file__).parents[2] / "fixtures" / "published"
FILES = ("doses", "weights", "places", "courses", "energy", "fluids", "eggs")
D = Decimal
FIRST = date(2027, 3, 1)
Given = Mapping[str, object]


def checks() -> list[dict]:
    rows = []
    for name in FILES:
        rows += tomllib.loads((FOLDER / f"{name}.toml").read_text(), parse_float=Decimal)["check"]
    return rows


def oral_volume(weight_lb, lb_per_kg, mg_per_kg, strength_mg, per_ml):
    weight_g = g_from_pounds(D(weight_lb), pounds_per_kg=lb_per_kg)
    dose = dose_for(weight_g, D(mg_per_kg))
    volume = exact_ml(dose, D(strength_mg), D(per_ml))
    return {"weight_kg": weight_g / 1000, "dose_mg": dose, "volume_ml": volume}


def conversions(mg, micrograms, pounds, lb_per_kg):
    return {
        "g": [converted(D(amount), AmountUnit.MG, AmountUnit.G) for amount in mg],
        "mg": converted(D(micrograms), AmountUnit.MICROGRAM, AmountUnit.MG),
        "kg": g_from_pounds(D(pounds), pounds_per_kg=lb_per_kg) / 1000,
    }


def rounding(values, step, cut):
    return {"rounded": [to_step(value, step) for value in values], "cut": to_step(cut, D(1), ROUND_DOWN)}


def desired_over_have(want_have_per_ml):
    volumes = [exact_ml(*map(D, case)) for case in want_have_per_ml]
    return {"volumes_ml": volumes, "printed_ml": [to_step(volume, D("0.1")) for volume in volumes]}


def units_per_pound(weight_lb, units_per_lb, units_per_ml, times_a_day):
    volume = exact_ml(D(weight_lb) * units_per_lb, D(units_per_ml))
    return {"volume_ml": volume, "ml_a_day": volume * doses_in_course(1, 24 // times_a_day)}


def units_per_kg(weight_lb, lb_per_kg, units_per_kg, units_per_ml):
    units = dose_for(g_from_pounds(D(weight_lb), pounds_per_kg=lb_per_kg), D(units_per_kg))
    return {"units": units, "volume_ml": exact_ml(units, D(units_per_ml))}


def percent_solution(weights_lb, lb_per_kg, mg_per_kg, percent):
    mg_per_ml = mg_per_ml_of_percent(D(percent))
    weights_g = [g_from_pounds(D(pounds), pounds_per_kg=lb_per_kg) for pounds in weights_lb]
    volumes = [exact_ml(dose_for(weight_g, D(mg_per_kg)), mg_per_ml) for weight_g in weights_g]
    return {"mg_per_ml": mg_per_ml, "volumes_ml": volumes}


def tablets_for_a_course(dose_mg, tablet_mg, every_hours, days):
    return {"tablets": tablets_per_dose(D(dose_mg), D(tablet_mg)) * doses_in_course(days, every_hours)}


def days_of_a_bottle(bottle_ml, dose_mg, strength_mg, per_ml, every_hours):
    volume = exact_ml(D(dose_mg), D(strength_mg), D(per_ml))
    return {"days": bottle_lasts_days(D(bottle_ml), volume, every_hours)}


def dilution(stock_percent, stock_ml, water_ml):
    stock = mg_per_ml_of_percent(D(stock_percent))
    return {"final_percent": diluted_per_ml(stock, D(stock_ml), D(water_ml)) / 10}


def infusion_rate(micrograms_per_kg, per, weight_lb, lb_per_kg, drug_mg, bag_ml):
    weight_g = g_from_pounds(D(weight_lb), pounds_per_kg=lb_per_kg)
    mg_per_kg_per_hour = converted(per_hour(D(micrograms_per_kg), Per(per)), AmountUnit.MICROGRAM, AmountUnit.MG)
    return {"ml_per_hour": ml_per_hour(weight_g, mg_per_kg_per_hour, D(drug_mg) / bag_ml)}


def by_surface(weight_lb, lb_per_kg, height_cm, mg_per_m2, strength_mg):
    weight_g = g_from_pounds(D(weight_lb), pounds_per_kg=lb_per_kg)
    surface = surface_m2(D(height_cm), weight_g)
    dose = surface * mg_per_m2
    return {"weight_kg": weight_g / 1000, "surface_m2": surface, "dose_mg": dose, "volume_ml": exact_ml(dose, D(strength_mg))}


def between_species(animals, to):
    return {"ratios": [scaled(D(1), D(KM[animal]), D(KM[to])) for animal in animals]}


def drug_in_a_bag(weight_kg, mg_per_kg, per, strength_mg, pump_ml_per_hour, bag_ml):
    in_bag = amount_in_bag(D(weight_kg) * 1000, per_hour(D(mg_per_kg), Per(per)), D(bag_ml), D(pump_ml_per_hour))
    volume = exact_ml(in_bag, D(strength_mg))
    return {"exact_ml": volume, "printed_ml": volume}


def syringe_of_three(weight_kg, syringe_ml, hours, mg_per_kg_per_hour, strengths_mg):
    pump = D(syringe_ml) / hours
    amounts = [amount_in_bag(D(weight_kg) * 1000, D(rate), D(syringe_ml), pump) for rate in mg_per_kg_per_hour]
    volumes = [exact_ml(each, D(strength)) for each, strength in zip(amounts, strengths_mg, strict=True)]
    return {
        "ml_per_kg_per_hour": pump / weight_kg, "amounts_mg": amounts, "volumes_ml": volumes, "pump_ml_per_hour": pump,
        "diluent_ml": diluent_ml(D(syringe_ml), volumes),
    }  # fmt: skip


def from_a_bag(ml_per_kg_per_hour, drugs_ml, strengths_mg, bags_ml):
    rows = zip(drugs_ml, strengths_mg, bags_ml, strict=True)
    rates = [given_per_kg_per_hour(D(drug), D(strength), D(bag), D(ml_per_kg_per_hour)) for drug, strength, bag in rows]
    per_minute = [converted(rate, AmountUnit.MG, AmountUnit.MICROGRAM) / 60 for rate in rates]
    return {"mg_per_kg_per_hour": rates, "micrograms_per_kg_per_minute": per_minute[:4], "the_last": per_minute[4]}


def drip(weight_kg, mg_per_kg_per_hour, drug_mg, bag_ml):
    weight_g, strength = D(weight_kg) * 1000, D(drug_mg) / bag_ml
    return {
        "mg_per_ml": strength,
        "mg_per_hour": infused_per_hour(weight_g, mg_per_kg_per_hour),
        "ml_per_hour": ml_per_hour(weight_g, mg_per_kg_per_hour, strength),
    }


def ratio(weight_g, length_mm):
    found = jackson_ratio(D(weight_g), D(length_mm))
    low, high = JACKSON_ACCEPTABLE
    return {"ratio": found, "is_acceptable": low <= found <= high}


def daily_gain(from_g, to_g, days):
    weighings = [Weighing(FIRST, D(from_g)), Weighing(FIRST + timedelta(days), D(to_g))]
    return {
        "g_per_day": trend_g_per_day(weighings),
        "g_per_kg_per_day": gain_g_per_kg_per_day(D(from_g), D(to_g), days),
    }


def trend(days, weights_g):
    weighings = [Weighing(FIRST + timedelta(on), weight) for on, weight in zip(days, weights_g, strict=True)]
    return {"g_per_day": trend_g_per_day(weighings)}


def pound(pounds):
    return {"g": [g_from_pounds(D(weight)) for weight in pounds]}


def typed_then_distance(places):
    one, other = (tuple(map(float, parse_coordinates(typed))) for typed in places)
    return {"metres": D(Geodesic.WGS84.Inverse(*one, *other)["s12"])}


def carry(start, step_seconds):
    latitude, longitude = parse_coordinates(start)
    step = D(step_seconds) / 3600
    found = {
        "north": dms(latitude + step, Axis.LATITUDE),
        "east": dms(longitude + step, Axis.LONGITUDE),
        "west": dms(longitude - step, Axis.LONGITUDE),
    }
    return {side: _with_colons(text, degrees=2 if side == "north" else 3) for side, text in found.items()}


def _with_colons(text: str, degrees: int) -> str:
    """Our way of writing a coordinate, with the marks of the source."""
    whole, minutes, seconds = re.findall(r"\d+", text)
    return f"{whole:>0{degrees}}:{minutes}:{seconds}{text[-1]}"


def precision(latitudes, precisions_deg):
    return {
        "metres": [
            [precision_uncertainty_m(D(latitude), D(degrees)) for degrees in precisions_deg] for latitude in latitudes
        ]
    }


def _course(first_at, zone, every_hours, count) -> tuple[datetime, ...]:
    return dose_times(datetime.fromisoformat(first_at).replace(tzinfo=ZoneInfo(zone)), every_hours, count)


def daily_over_a_change(**given):
    course = _course(**given)
    return {
        "last": course[-1].isoformat(),
        "summer": sum(at.dst() > timedelta(0) for at in course),
        "winter": sum(at.dst() == timedelta(0) for at in course),
        "hours": sorted({at.hour for at in course}),
        "first_utc": f"{course[0].astimezone(UTC):%H:%M}",
        "last_utc": f"{course[-1].astimezone(UTC):%H:%M}",
    }


def dates(**given):
    return {"dates": [at.date().isoformat() for at in _course(**given)]}


def moments(**given):
    return {"moments": [at.isoformat() for at in _course(**given)]}


def next_and_elapsed(first_at, zone, every_hours):
    start = datetime.fromisoformat(first_at).replace(tzinfo=ZoneInfo(zone))
    following = next_dose(start, every_hours)
    elapsed = following.astimezone(UTC) - start.astimezone(UTC)
    return {"next": following.isoformat(), "elapsed_hours": elapsed // timedelta(hours=1)}


def washout(half_life_hours, half_lives):
    last_dose_at = datetime(2027, 3, 1, 8, tzinfo=UTC)
    span = washout_ends(last_dose_at, D(half_life_hours), half_lives) - last_dose_at
    return {"days": D(span // timedelta(seconds=1)) / 86400}


def need_at_rest(weights_kg, constant, factor):
    grams = [D(weight) * 1000 for weight in weights_kg]
    found = [ration(weight_g, D(constant), D(factor), D(1), 1) for weight_g in grams]
    return {
        "to_the_power": [by_power(D(weight), D(1)) for weight in weights_kg],
        "at_rest": [each.resting_kcal for each in found],
        "need": [each.need_kcal for each in found],
    }


def passerine_row(grams):
    """Growth stands on the daily need; the table's upper end is three times it."""
    listed = metabolism_for(("passerine", "bird", "animal"))
    needs = [ration(D(weight_g), listed.kcal_constant, listed.usual_factor, D(1), 1) for weight_g in grams]
    return {
        "at_rest": [each.resting_kcal for each in needs],
        "need": [each.need_kcal for each in needs],
        "growth_low": [each.need_kcal * D("1.5") for each in needs],
        "growth_high": [each.need_kcal * 3 for each in needs],
    }


def dog_and_cat(weights_kg):
    constant = metabolism_for(("fox", "medium-mammal", "mammal", "animal")).kcal_constant
    grams = [D(weight) * 1000 for weight in weights_kg]
    return {
        "power": [resting_kcal(weight_g, constant) for weight_g in grams],
        "linear": [linear_resting_kcal(weight_g) for weight_g in grams],
    }


def koala_in_kj(weight_kg, kj, times_basal):
    found = by_power(D(weight_kg), D(kj))
    return {"kj_a_day": found, "basal_kj_a_day": found / times_basal}


def in_the_field(grams, bird, mammal, reptile):
    kj = [by_power(D(grams), D(constant), D(exponent)) for constant, exponent in (bird, mammal, reptile)]
    return {"kj": kj, "mammal_to_reptile": kj[1] / kj[2], "bird_to_reptile": kj[0] / kj[2]}


def kilojoules(kj):
    return {"kcal": [kcal_of_kj(D(each)) for each in kj]}


def maintenance(weight_kg, ml_per_kg):
    found = fluids(D(weight_kg) * 1000, D(ml_per_kg))
    return {"ml_a_day": found.maintenance_ml_day, "ml_an_hour": found.phases[0].ml_per_hour}


def maintenance_and_deficit(weight_kg, ml_per_kg, percent, hours):
    found = fluids(D(weight_kg) * 1000, D(ml_per_kg), dehydration_percent=D(percent), deficit_hours=hours)
    first = found.phases[0]
    return {
        "maintenance_ml": found.maintenance_ml_day, "deficit_ml": found.deficit_ml, "first_day_ml": round(first.ml_per_day, 20),
        "ml_an_hour": first.ml_per_hour,
    }  # fmt: skip


def deficit(weight_kg, percent):
    found = deficit_ml(D(weight_kg) * 1000, D(percent))
    return {"ml": found, "litres": found / 1000}


def bird_in_grams(weight_g, percent, ml_per_kg, half_in, hours):
    asked = {"dehydration_percent": D(percent), "deficit_hours": hours, "half_in_hours": half_in}
    found = fluids(D(weight_g), D(ml_per_kg), **asked)
    first, second, after = found.phases
    return {
        "deficit_ml": found.deficit_ml,
        "maintenance_ml": found.maintenance_ml_day,
        "first_part_ml": (first.ml_per_hour - after.ml_per_hour) * half_in,
        "rest_ml": (second.ml_per_hour - after.ml_per_hour) * (hours - half_in),
    }


def drops(ml_an_hour, drops_per_ml):
    return {"drops_a_minute": [drops_per_minute(D(rate), n) for rate, n in zip(ml_an_hour, drops_per_ml, strict=True)]}


def from_pounds(weight_lb, lb_per_kg, ml_per_kg):
    weight_g = g_from_pounds(D(weight_lb), pounds_per_kg=lb_per_kg)
    return {"ml_an_hour": maintenance_ml_day(weight_g, D(ml_per_kg)) / 24}


def by_mouth_at_one_time(grams):
    return {"ml": [share_of_weight_ml(D(weight_g)) for weight_g in grams]}


def plain(value):
    return D(value.numerator) / value.denominator


def tray_of_eggs(tray_and_eggs, tray, percent, days):
    eggs = D(tray_and_eggs) - D(tray)
    target = guide_g(eggs, percent, days, days)
    daily = plain(lost_g_per_day(eggs, target, days))
    return {"eggs": eggs, "target": plain(target), "target_printed": plain(target), "daily": daily, "daily_printed": daily}


def projected_loss(first_g, now_g, days, incubation_days):
    first_g, now_g = D(first_g), D(now_g)
    percent = projected_percent(first_g, now_g, days, incubation_days)
    return {"lost": plain(lost_percent(first_g, now_g)), "percent": plain(percent)}


def guide_line(first_g, percent, days, incubation_days):
    return {"g": [plain(guide_g(D(first_g), percent, day, incubation_days)) for day in days]}


def water_an_hour(first_g, next_day_g):
    a_day = plain(lost_g_per_day(D(first_g), D(next_day_g), 1))
    return {"percent_a_day": plain(lost_percent(D(first_g), D(next_day_g))), "g_a_day": a_day, "g_an_hour": a_day / 24}


def natural_loss():
    return {"mean": (NATURAL.least + NATURAL.most) / 2, "twice_the_deviation": (NATURAL.most - NATURAL.least) / 2}


def natural_loss_by_mass(egg_g):
    """An egg that loses what the equations say is judged by us on its tenth day."""
    a_day, days = 0.015 * egg_g**0.742, 12.03 * egg_g**0.217
    weighed = [(FIRST, D(egg_g)), (FIRST + timedelta(days=10), D(f"{egg_g - 10 * a_day:.6f}"))]
    found = loss_of(weighed, Fraction(days), NATURAL)
    return {"percent": plain(found.by_hatch), "is_outside": found.is_outside}


COMPUTED: dict[str, Callable[..., Given]] = {
    each.__name__: each
    for each in (
        oral_volume,
        conversions,
        rounding,
        desired_over_have,
        units_per_pound,
        units_per_kg,
        percent_solution,
        tablets_for_a_course,
        days_of_a_bottle,
        dilution,
        infusion_rate,
        by_surface,
        between_species,
        drug_in_a_bag,
        syringe_of_three,
        from_a_bag,
        drip,
        daily_gain,
        trend,
        pound,
        typed_then_distance,
        carry,
        precision,
        daily_over_a_change,
        dates,
        moments,
        next_and_elapsed,
        washout,
        need_at_rest,
        passerine_row,
        dog_and_cat,
        koala_in_kj,
        in_the_field,
        kilojoules,
        maintenance,
        maintenance_and_deficit,
        deficit,
        bird_in_grams,
        drops,
        from_pounds,
        by_mouth_at_one_time,
        tray_of_eggs,
        projected_loss,
        guide_line,
        water_an_hour,
        natural_loss,
        natural_loss_by_mass,
    )
} | {"jackson_ratio": ratio}


def agrees(ours: object, says: object, tolerance: Decimal) -> bool:
    """Whether an answer agrees with a printed one; figures to the tolerance, lists item by item."""
    if isinstance(says, list):
        pairs = zip(ours, says, strict=True)
        return all(agrees(each, printed, tolerance) for each, printed in pairs)
    if isinstance(says, Decimal | int) and not isinstance(says, bool):
        return abs(D(ours) - says) <= tolerance
    return ours == says


@pytest.mark.parametrize("check", [pytest.param(each, id=f"{each['id']}: {each['source']}") for each in checks()])
def test_we_agree_with(check):
    ours = COMPUTED[check["computes"]](**check["given"])

    for name, printed in check["says"].items():
        tolerance = check.get("tolerance", 0)
        allowed = D(tolerance[name] if isinstance(tolerance, dict) else tolerance)
        assert agrees(ours[name], printed, allowed), f"{name}: {ours[name]} is not {printed}"


def test_every_check_says_where_it_is_from_and_how_we_know():
    rows = checks()

    assert all(row["source"] and row["how_known"] and row["says"] for row in rows)
    assert len({row["id"] for row in rows}) == len(rows)

"""Food and fluids: worked out, signed, replaced, stopped; who sees what."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, IntegrityError, transaction
from django.urls import reverse

from hospital.admissions.models import Weight
from hospital.audit.models import AuditEntry
from hospital.clock import now
from hospital.feeding import actions
from hospital.feeding.models import FeedingPlan
from hospital.feeding.queries import feeding_now, fluids_at_home, fluids_now
from tests import make

pytestmark = pytest.mark.django_db
D = Decimal


def url(name, patient, *args):
    return reverse(f"feeding:{name}", args=[patient.case_number, *args])


def weigh(patient, grams, days_ago=0):
    return Weight.objects.create(patient=patient, weighed_at=now() - timedelta(days=days_ago), weight_g=D(str(grams)))


@pytest.fixture
def swan(vet):
    """A bird of 4.6 kg: Bartges & Ritchie's worked example."""
    bird = make.species("Cygnus olor", "Mute swan", group=make.group("waterbird", ("bird", "animal")))
    patient = make.patient(vet, species=bird)
    weigh(patient, 4600)
    return patient


@pytest.fixture
def turtle(patient):
    weigh(patient, 400)
    return patient


def fed(**fields):
    """The feeding page as a browser sends it."""
    data = {
        "food": "pellets", "kcal_per_g": "2.5", "kcal_constant": "78", "factor": "1.5", "meals_per_day": "3", "every_days": "1",
        "note": "", "seen_version": "0", "seen_weight_g": "4600.0",
    }  # fmt: skip
    return data | fields


def given(**fields):
    """The fluid page as a browser sends it."""
    data = {
        "fluid": "Ringer's solution", "route": "under_skin", "ml_per_kg_day": "50", "dehydration_percent": "6", "deficit_hours": "24",
        "half_in_hours": "", "losses_ml_day": "0", "times_per_day": "2", "drops_per_ml": "", "starts_at": f"{now():%Y-%m-%dT%H:%M}",
        "note": "", "seen_version": "0", "seen_weight_g": "4600.0",
    }  # fmt: skip
    return data | fields


def signed_food(patient, by, **fields):
    asked = dict(
        seen_version=patient.feedingplans.count(), seen_weight_g=None, is_weight_checked=True, is_warning_read=True, kept_at_c=D(28),
        food="pellets", note="", kcal_constant=D(78), factor=D("1.5"), kcal_per_g=D("2.5"), meals_per_day=3, every_days=1,
    )  # fmt: skip
    return actions.sign_feeding(patient, by=by, **asked | fields)


def signed_fluids(patient, by, **fields):
    asked = dict(
        seen_version=patient.fluidplans.count(), seen_weight_g=None, is_weight_checked=True, is_warning_read=True,
        fluid="Ringer's solution", note="", starts_at=now(), carer_gives=False, route="under_skin", ml_per_kg_day=D(50),
        dehydration_percent=D(6), deficit_hours=24, half_in_hours=None, losses_ml_day=D(0), times_per_day=2, drops_per_ml=None,
    )  # fmt: skip
    return actions.sign_fluids(patient, by=by, **asked | fields)


# --- food ---------------------------------------------------------------------------------------------------------


def test_a_vet_signs_a_feeding_plan_and_it_is_in_force(client, swan, vet):
    client.force_login(vet)

    answer = client.post(url("feed", swan), fed())

    plan = feeding_now(swan)
    assert answer.status_code == 302
    assert (round(plan.resting_kcal, 2), round(plan.need_kcal, 2)) == (D("245.00"), D("367.50"))  # Bartges & Ritchie 1999
    assert plan.grams_per_meal == 49  # 367.5 / 2.5 / 3
    assert plan.source.startswith("Bartges & Ritchie")
    assert plan.how_known == "read"
    page = client.get(url("plans", swan)).content.decode()
    assert "pellets: 49\N{NO-BREAK SPACE}g at each meal, 3 meals a day" in page


def test_working_out_saves_nothing_and_says_that_it_is_a_proposal(client, swan, vet):
    client.force_login(vet)

    answer = client.post(url("feed", swan), fed(work_out="1"), headers={"HX-Request": "true"})

    assert "Proposal, not signed" in answer.content.decode()
    assert "367.5\N{NO-BREAK SPACE}kcal" in answer.content.decode()
    assert feeding_now(swan) is None


def test_a_food_of_the_list_puts_its_energy_in_and_keeps_what_was_typed(client, swan, vet):
    client.force_login(vet)

    listed = client.post(url("feed", swan), fed(use_food="mealworms", meals_per_day="7"))
    unknown = client.post(url("feed", swan), fed(use_food="whole mice"))

    assert 'value="2.06"' in listed.content.decode()
    assert 'value="7"' in listed.content.decode()
    assert listed.context["form"]["food"].value() == "mealworms"
    assert unknown.context["form"]["kcal_per_g"].value() == ""  # it stands on the packet


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("kcal_per_g", "", "Give the energy of the food"),
        ("factor", "0", "greater than or equal to 0.1"),
        ("food", "", "Say what it is fed."),
        ("meals_per_day", "many", "Give a whole number."),
    ],
)
def test_what_is_wrong_is_said_at_its_field_and_nothing_is_lost(client, swan, vet, field, typed, sentence):
    client.force_login(vet)

    answer = client.post(url("feed", swan), fed(note="in a bowl", **{field: typed}))

    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert "in a bowl" in answer.content.decode()
    assert feeding_now(swan) is None


@pytest.mark.parametrize(
    ("typed", "unit"), [("2.5", "kcal-1"), ("250", "kcal-100"), ("2500", "kcal-1000"), ("10.46", "kJ-1"), ("1046", "kJ-100")]
)
def test_the_packet_may_count_in_kilojoules_or_for_a_hundred_grams(client, swan, vet, typed, unit):
    client.force_login(vet)

    client.post(url("feed", swan), fed(kcal_per_g=typed, energy_in=unit))

    assert feeding_now(swan).kcal_per_g == D("2.5")  # 4.184 kJ are 1 kcal


def test_kilojoules_taken_for_kilocalories_are_more_than_fat_and_refused(client, swan, vet):
    client.force_login(vet)

    answer = client.post(url("feed", swan), fed(kcal_per_g="10.46", energy_in="kcal-1"))

    assert answer.status_code == 422
    assert "more energy than pure fat" in answer.content.decode()


def test_a_reptiles_need_asks_for_its_temperature(client, turtle, vet):
    client.force_login(vet)
    asked = fed(kcal_constant="32", seen_weight_g="400.0")

    refused = client.post(url("feed", turtle), asked)
    taken = client.post(url("feed", turtle), asked | {"kept_at_c": "28"})

    assert refused.status_code == 422
    assert "preferred temperature" in refused.content.decode()
    assert taken.status_code == 302
    assert round(feeding_now(turtle).resting_kcal, 1) == D("16.1")  # a public page on turtle nutrition: about 16 kcal a day


def test_another_constant_than_the_listed_one_must_be_meant(client, swan, vet):
    client.force_login(vet)

    refused = client.post(url("feed", swan), fed(kcal_constant="129"))
    taken = client.post(url("feed", swan), fed(kcal_constant="129", is_warning_read="on"))

    assert refused.status_code == 422
    assert "not the one that is listed" in refused.content.decode()
    assert taken.status_code == 302
    assert feeding_now(swan).how_known == "own figure"


def test_a_meal_above_a_twentieth_of_the_body_is_warned_of(client, swan, vet):
    client.force_login(vet)

    answer = client.post(url("feed", swan), fed(kcal_per_g="0.5", meals_per_day="1"))

    assert answer.status_code == 422
    assert "more than 5% of the body weight" in answer.content.decode()


def test_an_animal_without_a_weight_gets_no_plan(client, patient, vet):
    client.force_login(vet)

    for name, data in (("feed", fed(seen_weight_g="", kept_at_c="28")), ("give", given(seen_weight_g=""))):
        answer = client.post(url(name, patient), data)
        assert answer.status_code == 422
        assert "There is no weight yet" in answer.content.decode()


def test_an_old_weight_must_be_said_to_be_right(client, vet):
    bird = make.patient(vet, species=make.species("Larus canus", "Common gull", group=make.group("waterbird", ("bird", "animal"))))
    weigh(bird, 400, days_ago=6)
    client.force_login(vet)

    refused = client.post(url("feed", bird), fed(seen_weight_g="400.0"))
    taken = client.post(url("feed", bird), fed(seen_weight_g="400.0", is_weight_checked="on"))

    assert refused.status_code == 422
    assert "more than 3 days ago" in refused.content.decode()
    assert taken.status_code == 302


def test_a_slip_of_the_point_in_the_weight_stops_every_plan(swan, vet):
    weigh(swan, 46000)

    with pytest.raises(ValidationError, match="far from all earlier ones"):
        signed_food(swan, vet)


def test_a_weight_that_came_in_meanwhile_is_shown_first(client, swan, vet):
    client.force_login(vet)
    weigh(swan, 4900)

    refused = client.post(url("feed", swan), fed())
    again = client.post(url("feed", swan), fed(seen_weight_g=str(refused.context["form"]["seen_weight_g"].value())))

    assert refused.status_code == 422
    assert "weighed meanwhile" in refused.content.decode()
    assert again.status_code == 302
    assert feeding_now(swan).weight_g == 4900


# --- one in force, history kept -----------------------------------------------------------------------------------


def test_a_new_plan_ends_the_old_one_and_both_stay_readable(client, swan, vet):
    signed_food(swan, vet, food="pellets")
    signed_food(swan, vet, food="soaked wheat")
    client.force_login(vet)

    page = client.get(url("plans", swan)).content.decode()

    assert feeding_now(swan).food == "soaked wheat"
    assert [each.version for each in swan.feedingplans.all()] == [1, 2]
    assert page.index("soaked wheat") < page.index("Earlier feeding plans") < page.index("pellets:")


def test_a_plan_signed_meanwhile_is_shown_before_it_is_replaced(client, swan, vet):
    signed_food(swan, vet, food="soaked wheat")
    client.force_login(vet)

    refused = client.post(url("feed", swan), fed())
    again = client.post(url("feed", swan), fed(seen_version=str(refused.context["form"]["seen_version"].value())))

    assert refused.status_code == 422
    assert "signed another plan meanwhile: soaked wheat" in refused.content.decode()
    assert again.status_code == 302
    assert feeding_now(swan).food == "pellets"


def test_a_mistake_elsewhere_does_not_hide_that_another_plan_was_signed(client, swan, vet):
    signed_food(swan, vet)
    client.force_login(vet)

    answer = client.post(url("feed", swan), fed(food=""))

    assert str(answer.context["form"]["seen_version"].value()) == "0"  # not seen yet


def test_a_stopped_plan_is_in_force_no_more_and_stops_once(client, swan, vet):
    plan = signed_food(swan, vet)
    client.force_login(vet)

    without = client.post(url("stop", swan, "food"), {"reason": ""})
    answer = client.post(url("stop", swan, "food"), {"reason": "Eats by itself"})

    assert without.status_code == 422
    assert answer.status_code == 302
    assert feeding_now(swan) is None
    with pytest.raises(ValidationError, match="no longer in force"):
        actions.stop_plan(FeedingPlan.objects.get(pk=plan.pk), by=vet, reason="Again")
    assert "Eats by itself" in client.get(url("plans", swan)).content.decode()
    assert client.get(url("stop", swan, "food")).status_code == 302
    assert client.get(url("stop", swan, "air")).status_code == 404


def test_an_earlier_plan_cannot_be_stopped_in_place_of_the_one_in_force(swan, vet):
    first = signed_fluids(swan, vet)
    signed_fluids(swan, vet, fluid="Saline")

    with pytest.raises(ValidationError, match="no longer in force"):
        actions.stop_plan(first, by=vet, reason="Late")
    assert fluids_now(swan).fluid == "Saline"


@pytest.mark.parametrize("sign", [signed_food, signed_fluids])
def test_the_database_refuses_to_change_or_remove_a_plan(swan, vet, sign):
    plan = sign(swan, vet)
    rows = type(plan).objects.filter(pk=plan.pk)

    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        rows.update(note="changed")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        rows.delete()


def test_two_plans_never_share_a_number(swan, vet):
    plan = signed_food(swan, vet)
    plan.pk = None

    with pytest.raises(IntegrityError), transaction.atomic():
        plan.save(force_insert=True)


def test_every_plan_and_stop_is_in_the_history(swan, vet):
    signed_food(swan, vet)
    actions.stop_plan(signed_fluids(swan, vet), by=vet, reason="Drinks")

    written = AuditEntry.objects.filter(patient_id=swan.pk, action="insert").values_list("table", flat=True)

    assert {"hospital_feedingplan", "hospital_fluidplan", "hospital_planstop"} <= set(written)


def test_a_closed_case_gets_no_plan_and_shows_none_in_force(swan, vet):
    signed_food(swan, vet)
    swan.closed_on = now().date()
    swan.save()

    with pytest.raises(ValidationError, match="was closed"):
        signed_fluids(swan, vet)
    assert feeding_now(swan) is None


# --- fluids -------------------------------------------------------------------------------------------------------


def test_the_deficit_is_given_once_and_the_plan_goes_on_without_it(client, swan, vet):
    client.force_login(vet)

    answer = client.post(url("give", swan), given())

    plan = fluids_now(swan)
    assert answer.status_code == 302
    assert plan.deficit_ml == 276  # 6 % of 4,600 g
    # (4.6 kg × 50 + 276) / 2 and 4.6 kg × 50 / 2: kg × % × 10 + 50 × kg, Veterinary Nursing Journal 41(1) p. 55
    assert [phase.ml_each for phase, _begins, _ends in plan.in_phases()] == [253, 115]
    page = client.get(url("plans", swan)).content.decode()
    assert "253\N{NO-BREAK SPACE}mL each time, 2 times a day" in page


def test_a_drip_runs_by_the_hour_in_whole_drops(client, swan, vet):
    client.force_login(vet)

    answer = client.post(url("give", swan), given(route="vein", times_per_day="", drops_per_ml="20"))

    first = fluids_now(swan).in_phases()[0][0]
    assert answer.status_code == 302
    assert (round(first.ml_per_hour, 3), first.drops_per_minute) == (D("21.083"), 7)  # 506 mL a day × 20 / 60 / 24


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"deficit_hours": ""}, "within how many hours"),
        ({"half_in_hours": "24"}, "in fewer hours"),
        ({"route": "vein"}, "runs by the hour"),
        ({"times_per_day": ""}, "how many times a day"),
        ({"drops_per_ml": "20"}, "for a vein or a bone only"),
        ({"route": "vein", "times_per_day": "", "drops_per_ml": "10", "ml_per_kg_day": "1", "dehydration_percent": "0"}, "use a finer set"),
        ({"route": "body_cavity", "carer_gives": "on"}, "by mouth or under the skin only"),
        ({"dehydration_percent": "21"}, "less than or equal to 20"),
        ({"route": "mouth"}, "go into the lungs"),
        ({"dehydration_percent": "13"}, "looks like shock"),
        ({"ml_per_kg_day": "100"}, "outside what is listed"),
        ({"starts_at": "2001-01-01T10:00"}, "before admission"),
    ],
)
def test_fluids_that_cannot_be_meant_so_are_refused_with_a_sentence(client, swan, vet, fields, sentence):
    client.force_login(vet)

    answer = client.post(url("give", swan), given(**fields))

    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert fluids_now(swan) is None


def test_the_smallest_animals_amounts_are_never_rounded_by_more_than_a_tenth(vet):
    bird = make.patient(vet, species=make.species("Regulus regulus", "Goldcrest", group=make.group("passerine", ("bird", "animal"))))
    weigh(bird, 5)

    signed_fluids(bird, vet, dehydration_percent=D(0), times_per_day=2)  # 5 g × 50 mL per kg / 2 = 0.125 mL
    assert fluids_now(bird).in_phases()[0][0].ml_each == D("0.13")
    with pytest.raises(ValidationError, match="less than a syringe can show"):
        signed_fluids(bird, vet, dehydration_percent=D(0), times_per_day=20)  # 0.0125 mL
    with pytest.raises(ValidationError, match="less than a scale can show"):
        signed_food(bird, vet, kcal_constant=D(129), kcal_per_g=D(9), meals_per_day=24)  # 0.0168 g


def test_only_what_a_vet_leaves_to_the_carer_is_for_home(swan, vet):
    signed_fluids(swan, vet)
    assert fluids_at_home(swan) is None

    signed_fluids(swan, vet, carer_gives=True)
    assert fluids_at_home(swan) == fluids_now(swan)


def test_the_database_knows_no_drip_at_home(swan, vet):
    plan = signed_fluids(swan, vet, route="vein", times_per_day=None)
    plan.pk, plan.version, plan.carer_gives = None, 2, True

    with pytest.raises(IntegrityError), transaction.atomic():
        plan.save(force_insert=True)


def test_ordering_anew_does_not_repeat_the_deficit(client, swan, vet):
    signed_fluids(swan, vet)
    client.force_login(vet)

    form = client.get(url("give", swan)).context["form"]

    assert form["fluid"].value() == "Ringer's solution"
    assert form["dehydration_percent"].value() == 0


# --- who ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "args"), [("feed", ()), ("give", ()), ("stop", ("food",))])
def test_only_a_vet_signs_and_stops(client, swan, nurse, coordinator, carer, stranger, name, args):
    signed = {nurse: 403, coordinator: 403, carer.person: 404, stranger: 404}

    for person, status in signed.items():
        client.force_login(person)
        assert client.get(url(name, swan, *args)).status_code == status


def test_the_staff_reads_the_plans_and_nobody_else(client, swan, vet, nurse, carer, stranger):
    make.placement(swan, carer)

    for person, status in {vet: 200, nurse: 200, carer.person: 403, stranger: 404}.items():
        client.force_login(person)
        assert client.get(url("plans", swan)).status_code == status


def test_the_chart_links_tells_and_warns(client, swan, vet):
    signed_food(swan, vet)
    actions.stop_plan(signed_fluids(swan, vet), by=vet, reason="Drinks by itself")
    weigh(swan, 5200)
    client.force_login(vet)

    page = client.get(reverse("chart:patient", args=[swan.case_number])).content.decode()

    assert url("plans", swan) in page
    assert "Feeding plan 1" in page
    assert "Fluid plan 1" in page
    assert "Drinks by itself" in page
    assert "The feeding plan was worked out for" in page
    assert "The fluid plan was worked out for" not in page


# --- at home ------------------------------------------------------------------------------------------------------


def day_page(client, patient):
    return client.get(reverse("logs:day", args=[patient.case_number])).content.decode()


def test_a_carer_reads_what_how_much_how_often_and_the_caution(client, swan, vet, carer):
    make.placement(swan, carer, accepted_at=now())
    signed_food(swan, vet)
    client.force_login(carer.person)

    page = day_page(client, swan)

    assert "pellets" in page
    assert "49\N{NO-BREAK SPACE}g at each meal, 3 meals a day" in page
    assert "Never squirt food or water into a mouth" in page


def test_a_carer_reads_of_fluids_only_when_a_vet_left_them_to_the_carer(client, swan, vet, carer):
    make.placement(swan, carer, accepted_at=now())
    client.force_login(carer.person)
    signed_fluids(swan, vet)
    before = day_page(client, swan)

    signed_fluids(swan, vet, carer_gives=True)
    after = day_page(client, swan)

    assert "Ringer" not in before
    assert "253\N{NO-BREAK SPACE}mL each time, 2 times a day" in after
    assert "too much fills the lungs with water" in after
    assert "Sharps" in after


def test_a_deficit_that_was_given_is_not_read_again_at_home(client, swan, vet, carer):
    make.placement(swan, carer, accepted_at=now())
    signed_fluids(swan, vet, carer_gives=True, starts_at=now() - timedelta(hours=30))
    client.force_login(carer.person)

    page = day_page(client, swan)

    assert "115\N{NO-BREAK SPACE}mL each time" in page
    assert "253\N{NO-BREAK SPACE}mL each time" not in page


def test_a_stopped_plan_is_on_no_page_at_home(client, swan, vet, carer):
    make.placement(swan, carer, accepted_at=now())
    actions.stop_plan(signed_food(swan, vet), by=vet, reason="Eats by itself")
    client.force_login(carer.person)

    assert "at each meal" not in day_page(client, swan)

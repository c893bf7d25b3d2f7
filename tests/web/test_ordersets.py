"""Order sets: kept by vets, worked out for one animal, and written by one signature, all of it or nothing."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from hospital.admissions.models import TaxonGroup, Weight
from hospital.clock import now
from hospital.edits import EditCollision
from hospital.medications.formulary_actions import adopt_group
from hospital.ordersets import actions
from hospital.ordersets.lines import KINDS, LATER
from hospital.ordersets.models import OrderSet, SignedSet, What
from hospital.rules.wording import NBSP
from hospital.theatre import actions as theatre
from tests import make

pytestmark = pytest.mark.django_db

MELOXICAM = {
    "drug": "meloxicam", "dose_per_kg": "0.2", "dose_unit": "mg", "strength_per_ml": "5", "strength_unit": "mg", "dilution_parts": 1,
    "syringe_ml": "", "route": "muscle", "every_hours": 24, "doses": 5, "late_dose": "keep_times", "instruction": "", LATER: 2,
}  # fmt: skip
CEFTAZIDIME = MELOXICAM | {"drug": "ceftazidime", "dose_per_kg": "20", "strength_per_ml": "100", "every_hours": 72, LATER: 0}
WRAP = {"kind": "shell-dressing", "contact": "Hydrocolloid", "site": ""}
TOLD = {"advice": "Dry box tonight, food tomorrow."}


def url(name, *args):
    return reverse(f"ordersets:{name}", args=args)


def words(answer):
    return answer.content.decode().replace(NBSP, " ")


@pytest.fixture
def formulary(reference, hospital, vet):
    """The hospital's vet has adopted what the reference list has for a freshwater turtle."""
    adopt_group(TaxonGroup.objects.get(pk="turtle-freshwater"), hospital=hospital, by=vet, at=now())


@pytest.fixture
def weighed(patient, formulary):
    Weight.objects.create(patient=patient, weighed_at=now(), weight_g=Decimal(800))
    return patient


def kept(hospital, by, *lines, **fields):
    made = actions.make_set(hospital, by=by, **{"name": "After a shell repair", "kind": "", "note": ""} | fields)
    for seen, (what, content) in enumerate(lines, start=1):
        actions.put_line(made, what=what, content=content, seen_version=seen)
    return OrderSet.objects.get(pk=made.pk)


@pytest.fixture
def usual(hospital, vet):
    return kept(
        hospital, vet, (What.MEDICINE, MELOXICAM), (What.MEDICINE, CEFTAZIDIME), (What.BANDAGE, WRAP), (What.TOLD, TOLD)
    )


def sent(order_set, *, without=(), **said):
    """The page as a browser sends it: what is asked of each line, as it stands there."""
    data = {"key": "1d2a9c0e-6f0b-4d35-9a3e-0d6f0f8f2b11", "seen_version": order_set.version}
    for line in order_set.lines.all():
        at = f"line-{line.pk}-"
        first = f"{now() + timedelta(minutes=1):%Y-%m-%dT%H:%M}"
        data |= {f"{at}{name}": "" for name in KINDS[line.what].asked if not name.startswith(("is_", "stops"))}
        data |= {f"{at}first_dose_at": first, f"{at}seen_weight_g": "800.0", f"{at}site": "Shell, right"}
        data |= {f"{at}applied_on": f"{now():%Y-%m-%d}", f"{at}happened_on": f"{now():%Y-%m-%d}"}
        data |= {f"{at}advice": line.content.get("advice", "")}
        data |= {} if line.pk in without else {f"{at}wanted": "on"}
    return data | said


def sign(client, patient, order_set, **said):
    return client.post(url("sign", patient.case_number, order_set.pk), sent(order_set, **said))


# --- keeping ------------------------------------------------------------------------------------------------------


def test_a_vet_keeps_a_set_line_by_line_and_a_nurse_reads_it(client, vet, nurse, hospital):
    client.force_login(vet)
    client.post(url("add"), {"name": "After a wing", "kind": "fracture-fixation", "note": ""})
    made = OrderSet.objects.get()
    line = {name: value for name, value in MELOXICAM.items() if name != "syringe_ml"}
    client.post(url("line-add", made.pk, "medicine"), line | {"syringe_ml": "", "seen_version": 1})
    client.post(url("line-add", made.pk, "told"), TOLD | {"seen_version": 2})

    client.force_login(nurse)
    page = words(client.get(url("set", made.pk)))

    assert "meloxicam, 0.2 mg per kg by injection into the muscle, once a day, 5 doses" in page
    assert "Dry box tonight" in page
    assert made.lines.first().content["dose_per_kg"] == "0.2"
    assert client.post(url("line-add", made.pk, "told"), TOLD).status_code == 403


def test_a_line_that_is_wrong_is_said_at_its_field_and_keeps_what_was_typed(client, vet, usual):
    client.force_login(vet)

    answer = client.post(url("line-add", usual.pk, "medicine"), MELOXICAM | {"dose_per_kg": "", "instruction": "Into the left arm"})

    assert answer.status_code == 422
    assert "Give the dose per kg" in words(answer)
    assert "Into the left arm" in words(answer)
    assert usual.lines.count() == 4


def test_two_sets_in_use_never_share_a_name_and_one_put_away_frees_it(client, vet, usual, hospital):
    client.force_login(vet)
    form = {"name": usual.name, "kind": "", "note": ""}

    refused = client.post(url("add"), form)
    client.post(url("put-away", usual.pk), {"seen_version": usual.version})

    assert refused.status_code == 422
    assert "has a set of this name already" in words(refused)
    assert client.post(url("add"), form).status_code == 302
    assert client.get(url("set", usual.pk)).status_code == 404


def test_a_set_belongs_to_its_hospital(client, usual, stranger, weighed, carer, coordinator):
    for person, status in ((stranger, 404), (coordinator, 403), (carer.person, 403)):
        client.force_login(person)

        assert client.get(url("set", usual.pk)).status_code == status
        assert client.get(url("sign", weighed.case_number, usual.pk)).status_code in (403, 404)


# --- signing ------------------------------------------------------------------------------------------------------


def test_the_page_works_each_dose_out_with_its_limits_and_writes_nothing(client, weighed, vet, usual):
    client.force_login(vet)

    page = words(client.get(url("sign", weighed.case_number, usual.pk)))

    # 0.8 kg × 0.2 mg per kg = 0.16 mg ÷ 5 mg per mL = 0.032 mL; 0.8 kg × 20 mg per kg = 16 mg ÷ 100 mg per mL = 0.16 mL
    # (dose = weight × rate, volume = dose ÷ strength: the textbook sum; common practice, no source)
    assert "160 micrograms" in page
    assert "0.032 mL" in page
    assert "0.16 mL" in page
    assert "From 0.4 mg per kg: a second vet." in page
    assert "There is a problem" not in page
    assert not weighed.medication_orders.exists()


def test_one_signature_writes_every_line_through_its_usual_action(client, weighed, vet, usual):
    client.force_login(vet)

    answer = sign(client, weighed, usual)

    assert answer.status_code == 302
    first, second = weighed.medication_orders.order_by("drug")
    assert (first.drug, first.volume_ml, first.ordered_by) == ("ceftazidime", Decimal("0.16"), vet)
    assert (second.drug, second.volume_ml, second.adoption.slug) == ("meloxicam", Decimal("0.03"), "turtle-freshwater.meloxicam")
    assert weighed.bandages.get().site == "Shell, right"
    assert weighed.examinations.get().advice == TOLD["advice"]
    assert len(weighed.signed_sets.get().written) == 4


def test_the_same_form_sent_twice_writes_once(client, weighed, vet, usual):
    client.force_login(vet)

    again = [sign(client, weighed, usual).status_code for _ in range(2)]

    assert (weighed.medication_orders.count(), weighed.bandages.count(), SignedSet.objects.count()) == (2, 1, 1)
    assert again[0] == 302


def test_what_is_unticked_is_not_written(client, weighed, vet, usual):
    client.force_login(vet)
    bandage = usual.lines.get(what=What.BANDAGE)

    sign(client, weighed, usual, without=(bandage.pk,))

    assert not weighed.bandages.exists()
    assert weighed.medication_orders.count() == 2


def test_one_line_that_is_refused_takes_all_back(client, weighed, vet, usual):
    client.force_login(vet)
    bandage = usual.lines.get(what=What.BANDAGE)

    answer = sign(client, weighed, usual, **{f"line-{bandage.pk}-applied_on": f"{now() + timedelta(days=3):%Y-%m-%d}"})

    assert answer.status_code == 422
    assert "This day is in the future" in words(answer)
    assert not weighed.medication_orders.exists()
    assert not SignedSet.objects.exists()


def test_two_lines_of_one_class_are_held_beside_each_other(client, weighed, vet, hospital):
    """The second order meets the first, although neither was there when the page was made."""
    twice = kept(hospital, vet, (What.MEDICINE, MELOXICAM), (What.MEDICINE, MELOXICAM))
    client.force_login(vet)

    answer = sign(client, weighed, twice)

    assert answer.status_code == 422
    assert "meloxicam is ordered already" in words(answer)
    assert not weighed.medication_orders.exists()


def test_a_stop_holds_in_a_set_as_everywhere(client, weighed, vet, hospital):
    stopped = kept(hospital, vet, (What.MEDICINE, MELOXICAM | {"drug": "ivermectin"}))
    client.force_login(vet)

    page, answer = words(client.get(url("sign", weighed.case_number, stopped.pk))), sign(client, weighed, stopped)

    assert "Refused." in page
    assert answer.status_code == 422
    assert not weighed.medication_orders.exists()


def test_a_dose_beyond_the_hard_limit_waits_for_a_second_vet(client, weighed, vet, hospital):
    make.person("Second Vet", hospital, "vet")
    large = kept(hospital, vet, (What.MEDICINE, MELOXICAM | {"dose_per_kg": "0.5"}))
    client.force_login(vet)
    line = large.lines.get()

    unreasoned = sign(client, weighed, large)
    sign(client, weighed, large, **{f"line-{line.pk}-dose_reason": "One shot"})

    assert unreasoned.status_code == 422
    assert "A second vet must sign." in words(unreasoned)
    assert weighed.medication_orders(manager="written").get().is_waiting
    assert "waits for a second vet" in weighed.signed_sets.get().written[0]


def test_an_old_weight_is_asked_about_once_for_all_lines(client, formulary, vet, usual):
    patient = make.patient(vet, days_ago=90)
    Weight.objects.create(patient=patient, weighed_at=now() - timedelta(days=80), weight_g=Decimal(800))
    client.force_login(vet)

    refused = sign(client, patient, usual)
    signed = sign(client, patient, usual, is_weight_checked="on")

    assert words(refused).count('name="is_weight_checked"') == 1
    assert "Weigh it again, or say that this weight is right." in words(refused)
    assert signed.status_code == 302


def test_a_set_changed_meanwhile_is_shown_anew_and_nothing_is_written(client, weighed, vet, usual):
    client.force_login(vet)
    seen = usual.version
    line = usual.lines.first()
    actions.put_line(usual, what=line.what, content=MELOXICAM | {"doses": 3}, seen_version=seen, line=line)

    answer = sign(client, weighed, usual, seen_version=seen)

    assert answer.status_code == 409
    assert "The set was changed meanwhile" in words(answer)
    assert not weighed.medication_orders.exists()
    with pytest.raises(EditCollision):
        actions.take_line_out(line, seen_version=seen)


def test_food_in_a_set_is_worked_out_for_the_animal(client, vet, hospital, weighed):
    food = {"food": "Chopped fish", "kcal_per_g": "1.1", "energy_in": "kcal-1", "factor": "1.5", "every_days": 1,
            "meals_per_day": 2, "note": ""}  # fmt: skip
    fed = kept(hospital, vet, (What.FEEDING, food))
    client.force_login(vet)
    at = f"line-{fed.lines.get().pk}-"

    page = words(client.get(url("sign", weighed.case_number, fed.pk)))
    answer = sign(client, weighed, fed, **{f"{at}kcal_constant": "32", f"{at}kept_at_c": "28", f"{at}seen_version": "0"})

    assert "Chopped fish" in page
    assert answer.status_code == 302, words(answer)
    assert weighed.feedingplans.get().food == "Chopped fish"


# --- in theatre ---------------------------------------------------------------------------------------------------


def test_what_comes_next_offers_the_sets_of_this_kind_and_of_all(client, weighed, vet, nurse, hospital, usual):
    kept(hospital, vet, (What.TOLD, TOLD), name="After a wing", kind="fracture-fixation")
    kept(hospital, vet, name="Empty one")
    it = theatre.plan(weighed, by=vet, planned_on=now().date(), kind="wound-closure", vet=vet, place=1, note="", fasting="")
    it = theatre.begin(it, seen_version=1)
    client.force_login(vet)

    page = words(client.get(reverse("theatre:next", args=[weighed.case_number, it.pk])))
    client.force_login(nurse)
    read_only = words(client.get(reverse("theatre:next", args=[weighed.case_number, it.pk])))

    assert url("sign", weighed.case_number, usual.pk) in page
    assert "After a wing" not in page
    assert "Empty one" not in page
    assert url("sign", weighed.case_number, usual.pk) not in read_only

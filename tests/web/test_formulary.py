"""The formulary: what the list proposes, what a hospital's vets put in force, and the sums beside it."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from hospital.clock import now
from hospital.edits import EditCollision
from hospital.medications import formulary_actions as actions
from hospital.medications.dosing import CLASSES
from hospital.medications.formulary import best_row, medicine_of, named, reference, row_of, stops_for
from hospital.medications.models import FormularyAdoption
from hospital.medications.queries import history, judge_of, shelved
from hospital.rules.wording import NBSP
from tests import make

pytestmark = pytest.mark.django_db
MELOXICAM = "turtle-freshwater.meloxicam"
TURTLE = ("turtle-freshwater", "chelonian", "reptile", "animal")


@pytest.fixture(autouse=True)
def groups(db):
    """The groups that the rows of these tests are for, and the wider ones."""
    make.group()
    for slug in ("raptor", "waterbird"):
        make.group(slug, ("bird", "animal"))


def url(name, *args):
    return reverse(f"formulary:{name}", args=args)


def words(answer):
    return answer.content.decode().replace(NBSP, " ")


def adopted(hospital, vet, slug=MELOXICAM, seen=0, **figures):
    found = shelved(hospital, slug)
    return actions.adopt(found, hospital=hospital, by=vet, at=now(), seen_version=seen, figures=figures or None)


def typed(**fields):
    """The form of a row as a browser sends it."""
    data = {
        "unit": "mg", "per_kg": "0.2", "per_kg_top": "0.3", "least_per_kg": "0.1", "hard_from_per_kg": "0.5", "hard_reason": "",
        "routes": ["muscle"], "every_hours": "24", "doses_most": "5", "discard_days": "", "caution": "Hydrate first.",
        "seen_version": "0",
    }  # fmt: skip
    return data | fields


# --- who may ------------------------------------------------------------------------------------------------------


def test_the_staff_read_and_only_a_vet_adopts(client, vet, nurse, coordinator, carer):
    pages = [url("groups"), url("group", "turtle-freshwater"), url("row", MELOXICAM), url("waiting"), url("sums"), url("add")]

    seen, adopts = {}, {}
    for person in (nurse, coordinator, carer.person, vet):
        client.force_login(person)
        seen[person.name] = [client.get(page).status_code for page in pages]
        adopts[person.name] = client.post(url("adopt", MELOXICAM), {"seen_version": "0"}).status_code

    assert seen == {
        "Nina Nurse": [200] * 5 + [403],
        "Cora Coordinator": [200] * 5 + [403],
        "Carl Carer": [403] * 6,
        "Vera Vet": [200] * 6,
    }
    assert adopts == {"Nina Nurse": 403, "Cora Coordinator": 403, "Carl Carer": 403, "Vera Vet": 302}


def test_what_one_hospital_adopts_is_not_in_force_at_another(client, hospital, vet, stranger):
    adopted(hospital, vet)
    client.force_login(stranger)

    page = words(client.get(url("row", MELOXICAM)))

    assert "Not in force" in page
    assert judge_of(stranger.memberships.get().hospital, "meloxicam", TURTLE, "muscle").adoption is None


# --- putting in force and taking out ------------------------------------------------------------------------------


def test_a_row_shows_its_evidence_and_is_in_force_nowhere_until_it_is_adopted(client, hospital, vet):
    client.force_login(vet)

    before = words(client.get(url("group", "turtle-freshwater")))
    client.post(url("adopt", MELOXICAM), {"seen_version": "0"})
    after = words(client.get(url("row", MELOXICAM)))

    assert "Uney et al. 2016" in before
    assert "Below 0.1 mg or above 0.2 mg per kg: a reason. From 0.4 mg per kg: a second vet." in before
    assert "In force here" not in before
    assert "In force here" in after
    assert "Version 1, adopted by Vera Vet" in after
    assert judge_of(hospital, "Meloxicam", TURTLE, "muscle").adoption.slug == MELOXICAM


def test_own_figures_make_a_new_version_and_the_old_one_stays_to_be_read(client, hospital, vet):
    adopted(hospital, vet)
    client.force_login(vet)

    answer = client.post(url("row", MELOXICAM), typed(seen_version="1"))
    page = words(client.get(url("row", MELOXICAM)))

    assert answer.status_code == 302
    in_force = FormularyAdoption.objects.get(ended_at=None)
    assert (in_force.version, in_force.how_known, in_force.content["per_kg_top"]) == (2, "the hospital's own figures", "0.3")
    assert [each.version for each in history(hospital, MELOXICAM)] == [2, 1]
    assert "Own figures" in page
    assert "Go back to the list’s figures" in page
    client.post(url("adopt", MELOXICAM), {"seen_version": "2"})
    assert judge_of(hospital, "meloxicam", TURTLE, "muscle").entry == row_of(MELOXICAM)


def test_a_withdrawn_row_judges_no_more(client, hospital, vet):
    adopted(hospital, vet)
    client.force_login(vet)

    client.post(url("withdraw", MELOXICAM), {"seen_version": "1"})

    assert judge_of(hospital, "meloxicam", TURTLE, "muscle").adoption is None
    assert history(hospital, MELOXICAM).get().ended_at
    assert adopted(hospital, vet).version == 2


def test_two_vets_at_once_see_both_versions(client, hospital, vet):
    adopted(hospital, vet)
    adopted(hospital, vet, seen=1, per_kg_top=Decimal("0.25"))
    client.force_login(vet)

    answer = client.post(url("row", MELOXICAM), typed(seen_version="1"))
    again = client.post(url("row", MELOXICAM), typed(seen_version="2"))

    assert (answer.status_code, again.status_code) == (409, 302)
    assert "0.25" in words(answer)
    assert 'value="0.3"' in words(answer)
    assert 'name="seen_version" value="2"' in words(answer)
    with pytest.raises(EditCollision):
        adopted(hospital, vet, seen=1, per_kg_top=Decimal("0.26"))


def test_the_same_figures_twice_are_refused_in_a_sentence(hospital, vet):
    adopted(hospital, vet)

    with pytest.raises(ValidationError, match="in force already"):
        adopted(hospital, vet, seen=1)
    with pytest.raises(ValidationError, match="Somebody withdrew this"):
        adopted(hospital, vet, slug="turtle-freshwater.morphine", seen=3)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"per_kg": ""}, "Give a figure."),
        ({"per_kg": "much"}, "Give a number, for example 0.2."),
        ({"least_per_kg": "0.21"}, "“Usual dose” cannot be less than “Least usual dose”."),
        ({"per_kg_top": "0.1"}, "“Largest usual dose” cannot be less than “Usual dose”."),
        ({"hard_from_per_kg": "0.3"}, "“Second vet from” must be more than “Largest usual dose”."),
        ({"routes": []}, "Tick at least one way."),
        ({"every_hours": "soon"}, "Give a whole number."),
    ],
)
def test_figures_that_make_no_sense_are_refused_at_their_field_and_nothing_typed_is_lost(client, hospital, vet, fields, sentence):
    client.force_login(vet)

    answer = client.post(url("row", MELOXICAM), typed(hard_reason="kept", **fields))

    assert answer.status_code == 422
    assert sentence in words(answer)
    assert 'value="kept"' in words(answer)
    assert not FormularyAdoption.objects.exists()


def test_a_whole_group_is_adopted_at_once_and_only_once(client, hospital, vet):
    client.force_login(vet)

    first = client.post(url("adopt-group", "raptor"), follow=True)
    second = client.post(url("adopt-group", "raptor"), follow=True)

    rows = [row.slug for row in reference().rows if row.group == "raptor"]
    assert sorted(FormularyAdoption.objects.values_list("slug", flat=True)) == sorted(rows)
    assert f"{len(rows)} rows are in force now." in words(first)
    assert "Everything for this group is in force already." in words(second)


def test_a_row_of_the_hospitals_own_says_where_its_figures_are_from(client, hospital, vet):
    client.force_login(vet)
    own = typed(drug="Carprofen", group="raptor", source="Ward round of Tuesday, Vera Vet")

    unsourced = client.post(url("add"), own | {"source": ""})
    made = client.post(url("add"), own)
    twice = client.post(url("add"), own)

    assert [unsourced.status_code, made.status_code, twice.status_code] == [422, 302, 422]
    assert "Name the book, the paper or the person." in words(unsourced)
    entry = judge_of(hospital, "carprofen", ("raptor", "bird", "animal"), "muscle").entry
    assert (entry.slug, entry.medicine_class) == ("own.raptor.carprofen", "nsaid")
    page = words(client.get(url("row", entry.slug)))
    assert "Our own row" in page
    client.post(url("withdraw", entry.slug), {"seen_version": "1"})
    assert client.get(url("row", entry.slug)).status_code == 404


@pytest.mark.parametrize("slug", ["nothing", "own.raptor.nothing"])
def test_a_row_that_is_not_there_is_a_404(client, vet, slug):
    client.force_login(vet)

    assert client.get(url("row", slug)).status_code == 404
    assert client.post(url("adopt", slug)).status_code == 404


# --- which row judges -----------------------------------------------------------------------------------------------


def test_the_nearest_group_judges_and_the_row_for_the_route_is_taken():
    rows = reference().rows
    raptor = ("raptor", "bird", "animal")

    assert best_row(rows, "Meloxicam 1.5 mg per mL", raptor, "mouth").slug == "raptor.meloxicam"
    assert best_row(rows, "amoxicillin-clavulanate", raptor, "muscle").slug == "bird.amoxicillin-clavulanate.injection"
    assert best_row(rows, "amoxicillin-clavulanate", raptor, "mouth").slug == "bird.amoxicillin-clavulanate"
    assert best_row(rows, "something else", raptor, "mouth") is None
    assert best_row(rows, "", raptor, "mouth") is None


def test_a_row_in_force_for_a_wider_group_comes_before_a_nearer_proposal(hospital, vet):
    adopted(hospital, vet, slug="bird.meloxicam")

    judge = judge_of(hospital, "meloxicam", ("raptor", "bird", "animal"), "mouth")

    assert judge.entry.slug == "bird.meloxicam"
    assert judge.nearer.slug == "raptor.meloxicam"
    assert judge_of(hospital, "meloxicam", ("waterbird", "bird", "animal"), "mouth").nearer is None


def test_a_wider_row_never_outweighs_a_nearer_proposal_in_silence(client, hospital, vet):
    """The list's rows as shipped: a bird 1 mg per kg, a raptor 0.5 mg per kg; 1 mg per kg is twice the nearer one."""
    adopted(hospital, vet, slug="bird.meloxicam")
    owl = make.patient(vet, species=make.species("Tyto alba", "Barn owl", group=make.group("raptor", ("bird", "animal"))))
    owl.weights.create(weighed_at=now(), weight_g=300, weighed_by=vet)
    client.force_login(vet)
    order = {
        "drug": "meloxicam", "dose_per_kg": "1", "dose_unit": "mg", "strength_per_ml": "1.5", "strength_unit": "mg", "route": "mouth",
        "every_hours": "24", "doses": "1", "first_dose_at": f"{now():%Y-%m-%dT%H:%M}", "work_out": "1",
    }  # fmt: skip

    page = words(client.post(reverse("medications:order", args=[owl.case_number]), order))
    agreed = words(client.post(reverse("medications:order", args=[owl.case_number]), order | {"dose_per_kg": "0.5"}))

    assert "raptor.meloxicam" in page
    assert "By that row: From 1 mg per kg on a second vet must sign." in page
    assert "By that row" not in agreed


def test_a_combination_is_not_taken_for_its_part():
    assert medicine_of("Amoxicillin-clavulanate 175").name == "amoxicillin-clavulanate"
    assert medicine_of("amoxicillin").name == "amoxicillin"
    assert medicine_of("saline") is None


@pytest.mark.parametrize(
    ("drug", "species", "slug"),
    [
        # Sladky et al. 2008, J Am Vet Med Assoc 233:267-273 (abstract, read); Guzman et al. 2014 (abstract, read)
        ("butorphanol", "Pogona vitticeps", "butorphanol-bearded-dragon"),
        ("morphine", "Pantherophis guttatus", "morphine-corn-snake"),
        ("buprenorphine", "Iguana iguana", "buprenorphine-iguana"),
        ("butorphanol", "Falco sparverius", "butorphanol-kestrel"),
    ],
)
def test_a_contraindication_may_be_of_one_species(drug, species, slug):
    assert [stop.slug for stop in stops_for(drug, ("animal",), "", species, "muscle")] == [slug]
    assert stops_for(drug, ("animal",), "", "Natrix natrix", "muscle") == []


def test_every_row_and_stop_carries_its_source_and_every_class_has_words():
    rows, stops, medicines = reference().rows, reference().stops, reference().medicines

    assert all(row.source.strip() and row.how_known.strip() for row in (*rows, *medicines))
    assert all(stop.source.strip() and stop.reason.strip() and stop.how_known for stop in stops)
    assert {medicine.medicine_class for medicine in medicines} == set(CLASSES)
    assert not any(named(row.drug, "ivermectin") for row in rows if "chelonian" in row.group)


def test_oxytocin_counts_in_units_and_never_in_mg():
    row = row_of("chelonian.oxytocin")

    assert (row.unit, row.per_kg, row.per_kg_top) == ("unit", 4, 20)  # Tucker, Thomas & Rose 2007 (abstract)


# --- sums -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        # US Special Operations Forces Medical Handbook, p. 5-158, Example 2: 80 kg, 1.5 mg/kg an hour of 3 mg/mL is 40 mL an hour
        (
            {"sum": "infusion", "weight_g": "80000", "rate": "1.5", "unit": "mg", "per": "hour", "per_ml": "3", "strength_unit": "mg",
             "bag_ml": "50", "pump_ml_per_hour": "40"},
            ["120 mg", "40 mL", "Drug into the bag"],
        ),
        # atdove.org, infusion: 1 mg/kg a day for 17 kg at 65 mL an hour in a litre of 5 mg/mL is 2.18 mL (exact 2.17949)
        (
            {"sum": "infusion", "weight_g": "17000", "rate": "1", "unit": "mg", "per": "day", "per_ml": "5", "strength_unit": "mg",
             "bag_ml": "1000", "pump_ml_per_hour": "65"},
            ["2.179 mL", "997.8 mL"],
        ),
        # revision set A17: 20 mL of 15 % in 380 mL of water is 0.75 %, which is 7.5 mg per mL
        ({"sum": "dilution", "per_ml": "150", "unit": "mg", "take_ml": "20", "add_ml": "380"}, ["7.5 mg per mL", "400 mL"]),
        ({"sum": "percent", "percent": "2"}, ["20 mg per mL"]),
        # teaching notes N03: 50 mL of 20 mg/mL in a litre at 1 mL per kg and hour is 1 mg, 17 micrograms a minute
        ({"sum": "bag", "drug_ml": "50", "per_ml": "20", "bag_ml": "1000", "ml_per_kg_per_hour": "1"}, ["1 mg", "16.67 micrograms"]),
        # Nair & Jacob 2016: rat to person 0.162
        ({"sum": "species", "dose": "1", "from_species": "rat", "to_species": "human"}, ["0.1622 mg"]),
    ],
    ids=lambda value: value.get("sum") if isinstance(value, dict) else "",
)  # fmt: skip
def test_a_sum_answers_in_words_and_saves_nothing(client, nurse, asked, says):
    client.force_login(nurse)

    page = words(client.get(url("sums"), asked))

    assert [piece for piece in says if piece not in page] == []


def test_a_sum_that_cannot_be_is_a_sentence(client, nurse):
    client.force_login(nurse)
    infusion = {
        "sum": "infusion", "weight_g": "80000", "rate": "1.5", "unit": "mg", "per": "hour", "per_ml": "1", "strength_unit": "mg",
        "bag_ml": "50", "pump_ml_per_hour": "40",
    }  # fmt: skip

    full = client.get(url("sums"), infusion)
    mixed = client.get(url("sums"), infusion | {"strength_unit": "unit", "per_ml": "100"})
    empty = client.get(url("sums"), {"sum": "percent", "percent": ""})

    assert [full.status_code, mixed.status_code, empty.status_code] == [422, 422, 422]
    assert "The drugs alone are more than the bag or syringe holds." in words(full)
    assert "Dose and strength must both be in units" in words(mixed)
    assert "Give a figure." in words(empty)

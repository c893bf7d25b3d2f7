"""Taking animals in, finding them again, and correcting what is known."""

from __future__ import annotations

import io
import re
import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import reverse
from PIL import Image

from hospital.admissions import actions, queries
from hospital.admissions.models import Cause, Finder, Identification, Patient, Photo, Species, TaxonGroup
from hospital.admissions.reference import searchable
from hospital.audit.models import AuditEntry
from hospital.clock import now, today
from hospital.edits import EditCollision
from hospital.rules.casenumbers import sequence_of
from tests import make

pytestmark = pytest.mark.usefixtures("no_reference")


@pytest.fixture
def turtle(db) -> Species:
    return make.species()


@pytest.fixture
def as_vet(client, vet):
    client.force_login(vet)
    return client


def the(name: str, patient: Patient, *more) -> str:
    return reverse(f"admissions:{name}", args=[patient.case_number, *more])


def words_of(response) -> str:
    """The page's text, its white space made plain."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def photograph(colour="brown", **options) -> io.BytesIO:
    file = io.BytesIO()
    Image.new("RGB", (60, 40), colour).save(file, "JPEG", **options)
    file.seek(0)
    file.name = "IMG_0001.jpg"
    return file


def filled(turtle: Species, **fields) -> dict:
    """The quick form with only what must be there."""
    return {
        "species": turtle.pk,
        "triage": "today",
        "sex": "unknown",
        "life_stage": "unknown",
        "key": str(uuid.uuid4()),
    } | fields


# --- who meets which page -----------------------------------------------------------------------------------------

OF_A_PATIENT = ["admitted", "edit", "finder", "weigh", "mark-add", "photos", "photo-add", "history"]
OF_NONE = ["admit", "species", "cautions", "species-add", "in-care", "closed"]


@pytest.mark.parametrize("name", OF_NONE)
def test_staff_meet_the_general_pages_and_carers_do_not(client, vet, nurse, coordinator, carer, name):
    for person, status in [(vet, 200), (nurse, 200), (coordinator, 200), (carer.person, 403)]:
        client.force_login(person)

        assert client.get(reverse(f"admissions:{name}")).status_code == status


@pytest.mark.parametrize("name", OF_A_PATIENT)
def test_staff_meet_a_patient_and_strangers_do_not_know_it_exists(
    client, vet, nurse, coordinator, carer, stranger, patient, name
):
    for person, status in [(vet, 200), (nurse, 200), (coordinator, 200), (carer.person, 404), (stranger, 404)]:
        client.force_login(person)

        assert client.get(the(name, patient)).status_code == status


@pytest.mark.parametrize("name", OF_A_PATIENT)
def test_a_carer_who_has_the_animal_is_still_no_member_of_staff(client, carer, patient, name):
    make.placement(patient, carer)
    client.force_login(carer.person)

    assert client.get(the(name, patient)).status_code == 403


def test_nobody_meets_a_page_without_signing_in(client, patient):
    assert client.get(the("edit", patient)).url.startswith("/sign-in/")


# --- the quick form -----------------------------------------------------------------------------------------------


def test_a_species_alone_is_enough_and_the_number_comes_at_once(as_vet, turtle, hospital, vet):
    response = as_vet.post(reverse("admissions:admit"), filled(turtle))

    patient = Patient.objects.get()
    assert response.url == the("admitted", patient)
    assert sequence_of(patient.case_number) == 1
    assert (patient.hospital, patient.admitted_by, patient.finder) == (hospital, vet, None)
    assert patient.open_placement().carer is None
    assert patient.case_number in words_of(as_vet.get(response.url))


def test_everything_typed_is_written_down(as_vet, turtle, vet):
    Cause.objects.create(slug="road-vehicle", name="Hit by a vehicle")

    as_vet.post(
        reverse("admissions:admit"),
        filled(
            turtle,
            cause="road-vehicle",
            circumstances="By the gate",
            found_on=str(today()),
            found_place="Sluice Lane",
            found_latitude="54°30′30″N",
            found_longitude="3°12′E",
            found_uncertainty_m="50",
            sex="female",
            life_stage="adult",
            is_gravid="on",
            triage="now",
            triage_note="Shell crack",
            is_biosecurity_risk="on",
            is_zoonosis_risk="on",
            finder_name="Fern Tillotson",
            finder_phone="01632 960777",
            finder_wants_news="on",
            weight_g="812,5 g",
            mark_kind="microchip",
            mark_value="900 123-456 789 012",
            ward="Tank 3",
            photo=photograph(),
        ),
    )

    patient = Patient.objects.get()
    assert (patient.cause_id, patient.circumstances, patient.found_place) == (
        "road-vehicle",
        "By the gate",
        "Sluice Lane",
    )
    assert (patient.found_latitude, patient.found_longitude) == (Decimal("54.508333"), Decimal("3.200000"))
    assert (patient.sex, patient.life_stage, patient.triage, patient.triage_note) == (
        "female",
        "adult",
        "now",
        "Shell crack",
    )
    assert patient.is_gravid
    assert patient.is_biosecurity_risk
    assert patient.is_zoonosis_risk
    assert (patient.finder.name, patient.finder.phone, patient.finder.wants_news) == (
        "Fern Tillotson",
        "01632 960777",
        True,
    )
    assert patient.latest_weight().weight_g == Decimal("812.5")
    assert patient.latest_weight().weighed_by == vet
    assert patient.identifications.get().value == "900123456789012"
    assert patient.open_placement().ward == "Tank 3"
    assert patient.photos.count() == 1


def test_the_same_form_sent_twice_admits_one_animal(as_vet, turtle):
    form = filled(turtle)

    first = as_vet.post(reverse("admissions:admit"), form)
    second = as_vet.post(reverse("admissions:admit"), form)

    assert first.url == second.url
    assert Patient.objects.count() == 1


def test_numbers_follow_each_other_and_a_refused_admission_uses_none(hospital, vet, turtle):
    with pytest.raises(Exception, match="found_on"):
        actions.admit(hospital, by=vet, at=now(), animal={"species": turtle, "found_on": today() + timedelta(days=3)})
    first, second = (actions.admit(hospital, by=vet, at=now(), animal={"species": turtle}) for _ in range(2))

    assert [sequence_of(p.case_number) for p in (first, second)] == [1, 2]
    assert Patient.objects.count() == 2


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"species": ""}, "species", "Search the species and choose it from the list."),
        (
            {"species": "", "species_words": "zebra"},
            "species",
            "No species has these words in its names. Try fewer letters.",
        ),
        ({"weight_g": "heavy"}, "weight_g", "Give the weight in grams as a number, for example 812 or 23.5."),
        ({"weight_g": "1.2 kg"}, "weight_g", "Give the weight in grams: one kilogram is 1000 g."),
        ({"found_on": "2999-01-01"}, "found_on", "This day is in the future. Give the day on which it was found."),
        ({"found_on": "soon"}, "found_on", "Give the day as year-month-day, for example 2027-01-05."),
        ({"found_latitude": "54.5"}, "found_longitude", "A place needs both latitude and longitude."),
        ({"found_longitude": "3.2"}, "found_latitude", "A place needs both latitude and longitude."),
        (
            {"found_latitude": "95", "found_longitude": "3"},
            "found_latitude",
            "A latitude lies between -90 and 90 degrees, not 95.",
        ),
        ({"found_uncertainty_m": "about 5"}, "found_uncertainty_m", "Give whole metres, for example 50."),
        ({"mark_value": "A 12"}, "mark_kind", "Say what kind of mark this is."),
        ({"mark_kind": "ring"}, "mark_value", "Write the number or pattern of the mark."),
        (
            {"finder_email": "fern"},
            "finder_email",
            "Give an e-mail address such as name@example.org, or leave it empty.",
        ),
    ],
)
def test_what_cannot_be_is_refused_at_its_field_and_nothing_typed_is_lost(as_vet, turtle, typed, field, sentence):
    response = as_vet.post(reverse("admissions:admit"), filled(turtle, found_place="Sluice Lane", **{}) | typed)

    assert response.status_code == 422
    assert response.context["form"].errors[field] == [sentence]
    assert 'value="Sluice Lane"' in response.content.decode()
    assert "There is a problem" in words_of(response)
    assert not Patient.objects.exists()


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        ("54.508333", "3.2"),
        ("54,508333", "3,2"),
        ("54.508333, 3.2", ""),
        ("54°30′30″N 3°12′E", ""),
        ("54 30.5", "3 12"),
    ],
)
def test_a_place_may_be_typed_in_several_ways(as_vet, turtle, latitude, longitude):
    as_vet.post(reverse("admissions:admit"), filled(turtle, found_latitude=latitude, found_longitude=longitude))

    patient = Patient.objects.get()
    assert (patient.found_latitude, patient.found_longitude) == (Decimal("54.508333"), Decimal("3.2"))


def test_a_file_that_is_no_photograph_is_refused_and_a_good_one_is_asked_for_again(as_vet, turtle):
    disguised = io.BytesIO(b"<html>")
    disguised.name = "animal.jpg"

    refused = as_vet.post(reverse("admissions:admit"), filled(turtle, photo=disguised))
    again = as_vet.post(reverse("admissions:admit"), filled(turtle, photo=photograph(), weight_g="x"))

    assert "This is not a photograph that can be read here." in words_of(refused)
    assert "The photograph was not kept" in words_of(again)
    assert not Photo.objects.exists()


def test_searching_the_species_says_that_the_chosen_photograph_was_not_kept(as_vet):
    page = as_vet.post(reverse("admissions:admit"), {"find_species": "1", "photo": photograph()})

    assert "The photograph was not kept" in words_of(page)
    assert "was not kept" not in words_of(as_vet.get(reverse("admissions:admit")))


# --- choosing the species -----------------------------------------------------------------------------------------


@pytest.fixture
def birds(db) -> list[Species]:
    group = make.group("bird", ("animal",))
    rows = [("Turdus merula", "Blackbird", ""), ("Merops apiaster", "European bee-eater", ""),
            ("Falco naumanni", "Lesser kestrel", ""), ("Falco tinnunculus", "Kestrel", "windhover"),
            ("Gyps rueppelli", "Rüppell's vulture", "")]  # fmt: skip
    return [
        make.species(latin, name, group=group, other_names=other, search_text=searchable(name, other, latin))
        for latin, name, other in rows
    ]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("kestrel", ["Kestrel", "Lesser kestrel"]),
        ("windhover", ["Kestrel"]),
        ("FALCO tinn", ["Kestrel"]),
        ("mer", ["European bee-eater", "Blackbird"]),
        ("ruppell", ["Rüppell's vulture"]),
        ("Rüppell", ["Rüppell's vulture"]),
        ("kestrel lesser", ["Lesser kestrel"]),
        ("dodo", []),
        ("  ", []),
    ],
)
def test_species_are_found_by_any_name_the_likeliest_first(birds, words, found):
    assert [species.common_name for species in queries.species_matching(words)] == found


def test_the_search_button_shows_choices_and_keeps_all_that_was_typed(as_vet, birds):
    typed = filled(
        birds[0], species="", species_words="kestrel", find_species="1", found_place="Sluice Lane", weight_g="x"
    )

    response = as_vet.post(reverse("admissions:admit"), typed | {"is_gravid": "on"})
    page = response.content.decode()

    assert response.status_code == 200
    assert "Lesser kestrel" in page
    assert 'value="Sluice Lane"' in page
    assert 'value="x"' in page
    assert re.search(r'name="is_gravid"[^>]*checked', page)
    assert "There is a problem" not in page


def test_one_species_found_need_not_be_pressed(as_vet, birds):
    as_vet.post(reverse("admissions:admit"), filled(birds[0], species="", species_words="windhover"))

    assert Patient.objects.get().species.common_name == "Kestrel"


def test_of_several_one_must_be_chosen(as_vet, birds):
    response = as_vet.post(reverse("admissions:admit"), filled(birds[0], species="", species_words="kestrel"))

    assert response.context["form"].errors["species"] == ["Choose the species from the list below the search."]


def test_the_choices_alone_answer_while_somebody_types(as_vet, birds):
    response = as_vet.get(reverse("admissions:species"), {"species_words": "kestrel", "species": birds[0].pk})
    page = response.content.decode()

    assert page.count('type="radio"') == 3  # the chosen one stays
    assert "<html" not in page


def test_a_dangerous_species_says_so_where_it_is_chosen(as_vet):
    make.species("Vipera berus", "Adder", is_dangerous=True, danger_note="Venomous: trained handlers only")

    page = words_of(as_vet.get(reverse("admissions:species"), {"species_words": "adder"}))

    assert "Venomous: trained handlers only" in page


def test_the_cause_says_what_it_warns_of(as_vet):
    Cause.objects.create(slug="fishing-line", name="Line or hook", caution="Hooks pierce gloves: cut, do not pull.")

    page = words_of(as_vet.get(reverse("admissions:cautions"), {"cause": "fishing-line"}))

    assert "Hooks pierce gloves" in page


def test_a_hospital_may_add_a_species(as_vet):
    group = make.group()

    response = as_vet.post(
        reverse("admissions:species-add"),
        {"common_name": "Añil terrapin", "scientific_name": "Emys nova", "group": group.pk},
    )

    added = Species.objects.get(scientific_name="Emys nova")
    assert response.url.endswith(f"?species={added.pk}")
    assert queries.species_matching("anil") == [added]
    assert "Añil terrapin" in words_of(as_vet.get(response.url))


def test_loading_the_shipped_list_again_keeps_a_species_that_the_hospital_added(as_vet):
    call_command("loadreference", stdout=io.StringIO())
    turtles = TaxonGroup.objects.get(slug="turtle-freshwater")
    actions.add_species(common_name="Reed terrapin", scientific_name="Emys nova", group=turtles)
    make.species("Emys retracta", "Once in the list", is_shipped=True)

    call_command("loadreference", stdout=io.StringIO())

    assert Species.objects.filter(scientific_name="Emys nova").exists()
    assert not Species.objects.filter(scientific_name="Emys retracta").exists()


# --- cautions after admission -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("note", "group", "title"),
    [
        ("Venomous: never alone", "snake", "Venomous"),
        ("May carry rabies", "bat", "Bat: never with bare hands"),
        ("Bites hard", "mammal", "May bite or scratch"),
    ],
)
def test_the_page_after_admission_warns_of_the_animal_in_hand(as_vet, vet, note, group, title):
    species = make.species(
        "Testis exempli", "Test animal", group=make.group(group, ("animal",)), is_dangerous=True, danger_note=note
    )
    patient = make.patient(vet, species=species, is_zoonosis_risk=True)

    page = words_of(as_vet.get(the("admitted", patient)))

    assert title in page
    assert note in page
    assert "Can make people ill" in page


def test_a_harmless_animal_warns_of_nothing(as_vet, patient):
    page = words_of(as_vet.get(the("admitted", patient)))

    assert "May bite or scratch" not in page
    assert "Can make people ill" not in page


# --- the same animal? ---------------------------------------------------------------------------------------------


@pytest.fixture
def marked(patient):
    actions.note_mark(patient, kind="microchip", value="900 123 456 789 012")
    patient.closed_on = today()
    patient.save()
    return patient


def test_a_known_mark_asks_whether_it_is_the_same_animal_even_when_its_case_is_closed(as_vet, turtle, marked):
    typed = filled(turtle, mark_kind="microchip", mark_value="900-123456789012", found_place="Sluice Lane")

    asked = as_vet.post(reverse("admissions:admit"), typed)
    page = words_of(asked)

    assert asked.status_code == 422
    assert "Is this the same animal?" in page
    assert marked.case_number in page
    assert "has the same mark" in page
    assert 'value="Sluice Lane"' in asked.content.decode()

    going_on = as_vet.post(reverse("admissions:admit"), typed | {"is_another_animal": "on"})
    assert going_on.status_code == 302


@pytest.mark.parametrize(
    ("name", "phone", "is_asked"),
    [
        ("Fern Tillotson", "", True),
        ("FERN  TILLOTSON", "", True),
        ("", "+44 1632 960777", True),
        ("Fern Tillotson", "01632 960778", False),  # two people may share a name, not a name and another number
        ("Fern Tillotson-Green", "", False),
        ("", "01632 960778", False),
        ("", "112", False),
    ],
)
def test_the_same_finder_on_the_same_day_asks(hospital, vet, turtle, name, phone, is_asked):
    finder = Finder.objects.create(hospital=hospital, name="Fern Tillotson", phone="01632 960777")
    make.patient(vet, days_ago=0, finder=finder)

    twins = queries.possible_twins(hospital, finder_name=name, finder_phone=phone, on=today("Europe/London"))

    assert bool(twins) == is_asked


def test_the_same_finder_on_another_day_does_not_ask(hospital, vet):
    finder = Finder.objects.create(hospital=hospital, name="Fern Tillotson")
    make.patient(vet, days_ago=2, finder=finder)

    assert queries.possible_twins(hospital, finder_name="Fern Tillotson", on=today("Europe/London")) == []


def test_another_hospitals_animals_are_never_shown_as_the_same(stranger, hospital, turtle):
    theirs = make.patient(stranger)
    actions.note_mark(theirs, kind="ring", value="AB 123")

    assert queries.possible_twins(hospital, mark="AB123", on=today("Europe/London")) == []


def test_a_litter_takes_place_and_finder_from_the_first(as_vet, turtle, hospital, vet):
    finder = Finder.objects.create(hospital=hospital, name="Fern Tillotson", phone="01632 960777")
    first = make.patient(vet, days_ago=0, finder=finder, found_place="Sluice Lane")
    address = f"{reverse('admissions:admit')}?like={first.case_number}"

    page = as_vet.get(address)
    sent = as_vet.post(address, filled(turtle, found_place="Sluice Lane"))

    assert 'value="Sluice Lane"' in page.content.decode()
    assert "finder_name" not in page.context["form"].fields
    assert sent.status_code == 302
    assert Patient.objects.exclude(pk=first.pk).get().finder == finder


# --- finding ------------------------------------------------------------------------------------------------------


@pytest.fixture
def some(vet, carer):
    """In the ward, with a carer, and closed."""
    fox = make.species("Vulpes vulpes", "Red fox", search_text="red fox vulpes vulpes")
    inside = make.patient(vet, name="Bracken", species=fox, found_place="Mill Lane", triage="now")
    outside = make.patient(vet, name="Sedge", found_place="Staithe", days_ago=5)
    gone = make.patient(vet, name="Marram", closed_on=today(), days_ago=30)
    make.placement(inside, None, ward="Room 2")
    make.placement(outside, carer)
    actions.note_mark(outside, kind="ring", value="GR-4471")
    return inside, outside, gone


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, ["Sedge", "Bracken"]),
        ({"words": "bracken"}, ["Bracken"]),
        ({"words": "FOX mill"}, ["Bracken"]),
        ({"words": "emys"}, ["Sedge"]),
        ({"words": "gr4471"}, ["Sedge"]),
        ({"words": "nothing such"}, []),
        ({"where": "ward"}, ["Bracken"]),
        ({"where": "carers"}, ["Sedge"]),
        ({"order": "oldest"}, ["Bracken", "Sedge"]),
        ({"order": "urgent"}, ["Bracken", "Sedge"]),
        ({"order": "species"}, ["Sedge", "Bracken"]),
        ({"where": "carer-999999999999"}, ["Sedge", "Bracken"]),
    ],
)
def test_the_list_is_searched_filtered_and_ordered(as_vet, some, query, found):
    response = as_vet.get(reverse("admissions:in-care"), query)

    assert [patient.name for patient in response.context["page"]] == found


def test_the_list_may_show_one_carers_animals(as_vet, some, carer):
    response = as_vet.get(reverse("admissions:in-care"), {"where": f"carer-{carer.pk}"})

    assert [patient.name for patient in response.context["page"]] == ["Sedge"]
    assert "Carl Carer" in words_of(response)


def test_an_empty_list_says_why_and_what_next(as_vet, hospital):
    nothing = words_of(as_vet.get(reverse("admissions:in-care")))
    not_found = words_of(as_vet.get(reverse("admissions:in-care"), {"words": "x"}))

    assert "No animal is in care." in nothing
    assert "No animal in care fits this search." in not_found
    assert "Clear the search" in not_found


def test_closed_cases_are_apart(as_vet, some):
    response = as_vet.get(reverse("admissions:closed"))

    assert [patient.name for patient in response.context["page"]] == ["Marram"]


def test_lists_ask_the_database_the_same_few_questions_however_long_they_are(
    as_vet, vet, carer, django_assert_max_num_queries
):
    for number in range(12):
        patient = make.patient(vet, name=f"Animal {number}", closed_on=None if number % 2 else today())
        actions.note_mark(patient, kind="ring", value=f"R{number}")
        make.placement(patient, carer)

    with django_assert_max_num_queries(9):
        as_vet.get(reverse("admissions:in-care"))
    with django_assert_max_num_queries(9):
        as_vet.get(reverse("admissions:closed"))


def test_closed_cases_come_in_pages(as_vet, vet):
    for _ in range(51):
        make.patient(vet, closed_on=today())

    first, second = (as_vet.get(reverse("admissions:closed"), {"page": page}).context["page"] for page in (1, 2))

    assert (len(first), len(second)) == (50, 1)


def test_htmx_gets_the_list_alone(as_vet, some):
    response = as_vet.get(reverse("admissions:in-care"), headers={"HX-Request": "true"})

    assert response.content.decode().count("<section") == 1
    assert "<html" not in response.content.decode()


def test_the_jump_box_leads_to_the_record(as_vet, some):
    inside, outside, gone = some
    number = f"{inside.case_number[:2].lower()} {inside.case_number[2:].lower()}"

    def leads_to(words):
        return as_vet.get(reverse("commands:find"), {"words": words}).url

    assert leads_to(number) == reverse("chart:patient", args=[inside.case_number])
    assert leads_to("GR-4471") == reverse("chart:patient", args=[outside.case_number])
    assert leads_to("marram") == reverse("chart:patient", args=[gone.case_number])
    assert leads_to("e") == reverse("admissions:in-care") + "?words=e"
    assert leads_to("") == reverse("admissions:in-care") + "?words="


def test_the_jump_box_knows_nothing_of_other_hospitals(as_vet, stranger):
    theirs = make.patient(stranger, name="Secret")

    response = as_vet.get(reverse("commands:find"), {"words": theirs.case_number})

    assert response.url == reverse("admissions:in-care") + f"?words={theirs.case_number}"
    assert "Secret" not in words_of(as_vet.get(response.url))


# --- correcting ---------------------------------------------------------------------------------------------------


def correction(patient: Patient, **fields) -> dict:
    wanted = {
        "species": patient.species_id,
        "admitted_at": patient.admitted_at.strftime("%Y-%m-%dT%H:%M"),
        "sex": "unknown",
        "life_stage": "unknown",
        "triage": "today",
        "seen_version": patient.version,
    }
    return wanted | fields


def test_details_are_corrected(as_vet, patient):
    response = as_vet.post(the("edit", patient), correction(patient, name="Sedge", sex="male", found_place="Staithe"))

    patient.refresh_from_db()
    assert response.url == reverse("chart:patient", args=[patient.case_number])
    assert (patient.name, patient.sex, patient.found_place, patient.version) == ("Sedge", "male", "Staithe", 2)


def test_the_form_shows_what_is_known(as_vet, patient):
    patient.name, patient.found_latitude, patient.found_longitude = "Sedge", Decimal("54.508333"), Decimal("3.2")
    patient.save()

    page = as_vet.get(the("edit", patient)).content.decode()

    assert 'value="Sedge"' in page
    assert 'value="54.508333"' in page
    assert re.search(rf'value="{patient.species_id}"[^>]*checked', page)


def test_two_corrections_show_both_versions_and_the_second_save_wins_on_purpose(as_vet, patient):
    mine = correction(patient, name="Mine")
    as_vet.post(the("edit", patient), correction(patient, name="Theirs"))

    collided = as_vet.post(the("edit", patient), mine)
    page = words_of(collided)

    assert collided.status_code == 409
    assert "Both versions" in page
    assert "Theirs" in page
    assert 'value="Mine"' in collided.content.decode()
    patient.refresh_from_db()
    assert patient.name == "Theirs"

    again = as_vet.post(the("edit", patient), mine | {"seen_version": collided.context["form"]["seen_version"].value()})
    patient.refresh_from_db()
    assert again.status_code == 302
    assert patient.name == "Mine"


def test_an_admission_in_the_future_is_refused(as_vet, patient):
    later = (now() + timedelta(days=1)).strftime("%Y-%m-%dT%H:%M")

    response = as_vet.post(the("edit", patient), correction(patient, admitted_at=later))

    assert response.context["form"].errors["admitted_at"] == ["This is in the future. Give the moment of admission."]


def test_an_animal_is_not_found_after_it_was_admitted(as_vet, patient):
    response = as_vet.post(the("edit", patient), correction(patient, found_on=str(today())))

    assert response.context["form"].errors["found_on"][0].startswith("It cannot be found after it was admitted on ")


# --- the finder ---------------------------------------------------------------------------------------------------


def test_a_finder_is_written_down_then_corrected(as_vet, patient):
    as_vet.post(the("finder", patient), {"name": "Fern Tillotson", "seen_version": 0})
    patient.refresh_from_db()
    as_vet.post(the("finder", patient), {"name": "Fern Tillotson", "phone": "01632 960777", "seen_version": 1})
    patient.refresh_from_db()

    assert (patient.finder.name, patient.finder.phone, patient.finder.version) == ("Fern Tillotson", "01632 960777", 2)
    assert "Fern Tillotson" in as_vet.get(the("finder", patient)).content.decode()


@pytest.mark.parametrize("seen", [0, 1])
def test_two_people_writing_down_the_finder_see_both_versions(as_vet, patient, hospital, seen):
    patient.finder = Finder.objects.create(hospital=hospital, name="Theirs", version=2)
    patient.save()

    response = as_vet.post(the("finder", patient), {"name": "Mine", "seen_version": seen})

    assert response.status_code == 409
    assert "Theirs" in words_of(response)
    assert 'value="Mine"' in response.content.decode()


def test_a_finder_of_several_says_so(as_vet, vet, hospital):
    finder = Finder.objects.create(hospital=hospital, name="Fern Tillotson")
    first, second = (make.patient(vet, finder=finder) for _ in range(2))

    assert second.case_number in words_of(as_vet.get(the("finder", first)))


def test_no_carer_ever_reads_of_the_finder(client, carer, patient, hospital):
    patient.finder = Finder.objects.create(hospital=hospital, name="Canary Finder", phone="01632 960999")
    patient.save()
    make.placement(patient, carer)
    client.force_login(carer.person)

    page = words_of(client.get(reverse("placements:accept", args=[patient.case_number])))

    assert patient.case_number in page
    assert "Canary" not in page
    assert "960999" not in page


# --- weights ------------------------------------------------------------------------------------------------------


def test_a_weight_is_added_never_changed(as_vet, patient, vet):
    for grams in ("800", "812.5"):
        assert as_vet.post(the("weigh", patient), {"weight_g": grams}).status_code == 302

    assert [weight.weight_g for weight in patient.weights.all()] == [Decimal("800.0"), Decimal("812.5")]
    assert patient.latest_weight().weighed_by == vet


@pytest.mark.parametrize("grams", ["8120", "81.2", "1600", "400"])
def test_a_weight_that_looks_like_a_slip_must_be_confirmed(as_vet, patient, grams):
    as_vet.post(the("weigh", patient), {"weight_g": "800"})

    asked = as_vet.post(the("weigh", patient), {"weight_g": grams, "note": "kitchen scale"})
    confirmed = as_vet.post(the("weigh", patient), {"weight_g": grams, "is_sure": "on"})

    assert asked.status_code == 422
    assert "The last weight was 800 g on " in words_of(asked)
    assert "Weighed again: this weight is right" in words_of(asked)
    assert 'value="kitchen scale"' in asked.content.decode()
    assert confirmed.status_code == 302


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"weight_g": ""}, "weight_g", "Give the weight in grams."),
        ({"weight_g": "0"}, "weight_g", "Ensure this value is greater than or equal to 0.1."),
        ({"weight_g": "NaN"}, "weight_g", "Give the weight in grams as a number, for example 812 or 23.5."),
        (
            {"weight_g": "800", "weighed_at": "yesterday"},
            "weighed_at",
            "Give day and time, for example 2027-01-25 14:30.",
        ),
        (
            {"weight_g": "800", "weighed_at": "2999-01-01T10:00"},
            "weighed_at",
            "This day is in the future. Give the day on which it happened.",
        ),
    ],
)
def test_a_weight_that_cannot_be_is_refused(as_vet, patient, typed, field, sentence):
    response = as_vet.post(the("weigh", patient), typed)

    assert response.context["form"].errors[field] == [sentence]
    assert not patient.weights.exists()


def test_a_weight_before_admission_is_refused(as_vet, patient):
    response = as_vet.post(the("weigh", patient), {"weight_g": "800", "weighed_at": "2001-01-01T10:00"})

    assert response.context["form"].errors["weighed_at"][0].startswith("This is before admission on ")


def test_a_closed_case_takes_no_weight(as_vet, vet):
    patient = make.patient(vet, closed_on=today())

    assert "Reopen it before you add to it." in words_of(as_vet.post(the("weigh", patient), {"weight_g": "800"}))


# --- marks --------------------------------------------------------------------------------------------------------


def test_marks_are_noted_once_and_may_be_taken_away(as_vet, patient):
    first = as_vet.post(the("mark-add", patient), {"kind": "ring", "value": "gr-4471"})
    twice = as_vet.post(the("mark-add", patient), {"kind": "ring", "value": "GR 4471"})

    assert first.status_code == 302
    assert twice.context["form"].errors["value"] == ["This mark is noted already."]
    mark = Identification.objects.get()
    as_vet.post(the("mark-remove", patient, mark.pk))
    assert not Identification.objects.exists()


def test_notches_keep_the_way_they_were_written(patient):
    assert actions.note_mark(patient, kind="notches", value="L2-R4,  R9").value == "L2-R4, R9"


# --- photographs --------------------------------------------------------------------------------------------------


@pytest.fixture
def photo(patient, vet, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    from hospital.pictures import safe_jpeg

    return actions.add_photo(patient, by=vet, at=now(), photo=safe_jpeg(photograph()), caption="Left side")


@pytest.mark.parametrize("name", ["photo", "photo-small"])
def test_a_photograph_is_shown_to_those_who_may_see_the_animal(client, vet, carer, stranger, patient, photo, name):
    address = the(name, patient, photo.key)
    client.force_login(stranger)
    assert client.get(address).status_code == 404
    client.force_login(carer.person)
    assert client.get(address).status_code == 404

    make.placement(patient, carer)
    assert client.get(address).status_code == 200

    make.placement(patient, None, days_ago=0)
    assert client.get(address).status_code == 404
    client.force_login(vet)
    assert client.get(address).status_code == 200


@pytest.mark.parametrize("name", ["photo", "photo-small"])
def test_a_photograph_can_only_be_a_picture(as_vet, patient, photo, name):
    response = as_vet.get(the(name, patient, photo.key))

    assert response["Content-Type"] == "image/jpeg"
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert response["Content-Disposition"] == f'inline; filename="{photo.key}.jpg"'
    assert b"".join(response).startswith(b"\xff\xd8\xff")


def test_another_animals_photograph_is_not_found_under_this_one(as_vet, vet, photo):
    other = make.patient(vet)

    assert as_vet.get(the("photo", other, photo.key)).status_code == 404


def test_a_photograph_whose_file_is_lost_is_not_found(as_vet, patient, photo):
    photo.file.storage.delete(photo.file.name)

    assert as_vet.get(the("photo", patient, photo.key)).status_code == 404


def test_a_photograph_is_added_and_removed_with_its_file(
    as_vet, patient, settings, tmp_path, django_capture_on_commit_callbacks
):
    settings.MEDIA_ROOT = tmp_path
    as_vet.post(the("photo-add", patient), {"photo": photograph(), "caption": "Left side"})
    photo = patient.photos.get()
    assert "Left side" in words_of(as_vet.get(the("photos", patient)))
    assert len(list(tmp_path.rglob("*.jpg"))) == 1

    with django_capture_on_commit_callbacks(execute=True):
        as_vet.post(the("photo-remove", patient, photo.key))

    assert not patient.photos.exists()
    assert list(tmp_path.rglob("*.jpg")) == []


def test_a_photograph_is_asked_for(as_vet, patient):
    response = as_vet.post(the("photo-add", patient), {"caption": "Left side"})

    assert response.context["form"].errors["photo"] == ["Choose a photograph."]
    assert 'value="Left side"' in response.content.decode()


def test_there_is_no_other_way_to_a_file(client, vet, photo):
    client.force_login(vet)

    assert client.get(f"/media/{photo.file.name}").status_code == 404


# --- the banner ---------------------------------------------------------------------------------------------------


def test_the_banner_shows_weight_with_its_day_place_mark_and_alerts(as_vet, patient, vet, carer):
    patient.is_zoonosis_risk = patient.is_gravid = True
    patient.save()
    actions.record_weight(patient, by=vet, now=now(), weight_g=Decimal("812.0"))
    actions.note_mark(patient, kind="ring", value="GR4471")
    make.placement(patient, carer)

    page = words_of(as_vet.get(the("history", patient))).replace("&nbsp;", " ")

    assert "812 g" in page.replace("\xa0", " ")
    assert now().strftime("%a %d-%b-%Y") in page
    assert "With Carl Carer, carer" in page
    assert "GR4471" in page
    assert "May be catching for people" in page
    assert "Gravid or pregnant" in page


def test_the_banner_says_not_recorded_rather_than_nothing(as_vet, patient):
    assert words_of(as_vet.get(the("history", patient))).count("Not recorded") == 2


# --- actions refuse what pages refuse ------------------------------------------------------------------------------


def test_a_lost_race_is_a_collision(patient):
    seen = Patient.objects.get(pk=patient.pk)
    actions.correct_patient(patient, seen_version=1, now=now(), name="Theirs")

    with pytest.raises(EditCollision):
        actions.correct_patient(seen, seen_version=1, now=now(), name="Mine")


# --- species that hospitals added, and groups ---------------------------------------------------------------------


def sent_species(**more):
    group = TaxonGroup.objects.get(slug="turtle-freshwater").pk
    return {"common_name": "River beast", "scientific_name": "Bestia fluvialis", "group": group, "sensitivity": ""} | more


def test_an_added_species_is_corrected_by_a_vet_or_a_coordinator_and_kept_in_the_audit(client, reference, coordinator, nurse, stranger):
    client.force_login(nurse)
    client.post(reverse("admissions:species-add"), sent_species(common_name="Rivr beast"))
    added = Species.objects.get(scientific_name="Bestia fluvialis")
    address = reverse("admissions:species-edit", args=[added.pk])
    refused = client.get(address).status_code
    client.force_login(coordinator)

    first = client.post(address, sent_species(is_aquatic="on", seen_version="1"), follow=True)
    stale = client.post(address, sent_species(common_name="Other beast", seen_version="1"))

    added.refresh_from_db()
    assert refused == 403
    assert (added.common_name, added.is_aquatic, added.version) == ("River beast", True, 2)
    assert "river beast" in added.search_text
    assert "River beast" in first.content.decode()
    assert stale.status_code == 409
    assert "Both versions" in stale.content.decode()
    before, *_between, after = AuditEntry.objects.filter(table="hospital_species", row_id=str(added.pk)).order_by("id")
    assert (before.action, after.action, after.actor) == ("insert", "update", coordinator)
    client.force_login(stranger)  # a vet of another hospital of the same installation: the list is for all of them
    assert client.get(address).status_code == 200


def test_a_species_of_the_shipped_list_is_edited_by_nobody_and_fills_no_audit(client, reference, vet):
    shipped = Species.objects.filter(is_shipped=True).first()
    client.force_login(vet)

    assert client.get(reverse("admissions:species-edit", args=[shipped.pk])).status_code == 404
    with pytest.raises(ValidationError, match="comes with the program"):
        actions.edit_species(shipped, seen_version=1, common_name="Mine")
    assert not AuditEntry.objects.filter(table="hospital_species", row_id=str(shipped.pk)).exists()


def test_a_group_knows_its_parents_without_asking(reference, django_assert_num_queries):
    turtles = TaxonGroup.objects.get(slug="turtle-freshwater")

    with django_assert_num_queries(0):
        assert turtles.lineage() == ("turtle-freshwater", "chelonian", "reptile", "animal")
    parents = dict(TaxonGroup.objects.values_list("slug", "parent"))
    for group in TaxonGroup.objects.all():
        assert group.path[0] == group.slug
        assert [parents[slug] for slug in group.path] == [*group.path[1:], None]

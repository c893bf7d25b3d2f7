"""The library of protocols: loaded from files, read by staff, adopted by vets."""

from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from handover.protocols.actions import OWN_FIGURES, adopt, adopt_group
from handover.protocols.contents import VALUES, content_of, value_of
from handover.protocols.models import Adoption, Advice, Kind, LibraryRow
from handover.protocols.queries import (
    advice_for,
    criteria_in_force,
    gates_in_force,
    rules_in_force,
    water_protocols_in_force,
)
from hospital.admissions.models import Cause, Species, TaxonGroup
from hospital.clock import now
from tests import make

SUTURES = "turtle-freshwater.suture-removal.sutures"
TURTLE = ("turtle-freshwater", "chelonian", "reptile", "animal")


@pytest.fixture
def library(reference):
    """The shipped rows, of which nothing is in force."""


@pytest.fixture
def sutures(library):
    return LibraryRow.objects.get(kind=Kind.RULE, slug=SUTURES)


def row_url(name="row", slug=SUTURES, kind="rule"):
    return reverse(f"protocols:{name}", args=[kind, slug])


# --- loading ------------------------------------------------------------------------------------------------------


def test_loading_twice_changes_nothing(library):
    before = list(LibraryRow.objects.order_by("pk").values()), Advice.objects.count(), Species.objects.count()

    call_command("loadreference", stdout=StringIO())
    call_command("loadprotocols", stdout=StringIO())

    assert before == (list(LibraryRow.objects.order_by("pk").values()), Advice.objects.count(), Species.objects.count())


def test_every_row_of_the_library_reads_back_as_the_value_it_was(library):
    rows = list(LibraryRow.objects.all())

    assert {row.kind for row in rows} == set(VALUES)
    assert all(content_of(value_of(row.kind, row.content)) == row.content for row in rows)
    assert all(row.source and row.how_known for row in rows)


def test_a_row_gone_from_the_file_leaves_the_library_but_not_the_hospital(library, hospital, vet, sutures):
    gone = LibraryRow.objects.create(
        kind=Kind.RULE,
        slug="old.row",
        group_id="animal",
        content=sutures.content | {"id": "old.row"},
        source="x",
        how_known="x",
    )
    adopt(gone, hospital=hospital, by=vet, at=now(), seen_version=0)

    call_command("loadprotocols", stdout=StringIO())

    assert not LibraryRow.objects.filter(slug="old.row").exists()
    assert "old.row" in {rule.id for rule in rules_in_force(hospital)}


def test_a_species_or_cause_gone_from_the_file_goes_unless_a_case_needs_it(library, vet):
    unused = make.species("Unus unicus", "Lone beast", is_shipped=True, group=TaxonGroup.objects.get(pk="animal"))
    used = make.species("Usus utilis", "Useful beast", is_shipped=True, group=TaxonGroup.objects.get(pk="animal"))
    make.patient(vet, species=used)
    Cause.objects.create(slug="old-cause", name="Old cause")

    call_command("loadreference", stdout=StringIO())

    assert not Species.objects.filter(pk=unused.pk).exists()
    assert Species.objects.filter(pk=used.pk).exists()
    assert not Cause.objects.filter(slug="old-cause").exists()


# --- in force -----------------------------------------------------------------------------------------------------


def test_nothing_is_in_force_before_a_vet_adopts_it(library, hospital):
    assert rules_in_force(hospital) == gates_in_force(hospital) == ()
    assert water_protocols_in_force(hospital) == criteria_in_force(hospital) == ()


def test_adopting_a_group_puts_its_rows_in_force_and_leaves_alternatives_to_be_chosen(library, hospital, vet):
    adopt_group(TaxonGroup.objects.get(pk="turtle-freshwater"), hospital=hospital, by=vet, at=now())

    rules = rules_in_force(hospital)

    assert next(rule for rule in rules if rule.id == SUTURES).min_days == 28
    assert not any(rule.is_alternative for rule in rules)
    assert gates_in_force(hospital)[0].opens == (5, 15)
    assert {each.group for each in water_protocols_in_force(hospital)} == {"turtle-freshwater"}
    assert {each.group for each in criteria_in_force(hospital)} == {"turtle-freshwater"}


def test_another_hospital_keeps_its_own_protocols(library, hospital, vet, sutures):
    adopt(sutures, hospital=hospital, by=vet, at=now(), seen_version=0)

    assert rules_in_force(make.hospital(name="Elsewhere", slug="elsewhere")) == ()


def test_own_figures_make_a_new_version_and_end_the_old_one(library, hospital, vet, sutures):
    adopt(sutures, hospital=hospital, by=vet, at=now(), seen_version=0)

    second = adopt(sutures, hospital=hospital, by=vet, at=now(), seen_version=1, figures={"min_days": 35})

    assert second.version == 2
    assert second.how_known == OWN_FIGURES
    assert [rule.min_days for rule in rules_in_force(hospital)] == [35]
    assert Adoption.objects.get(version=1).ended_at is not None


# --- pages --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["library", "group", "row"])
def test_staff_read_and_carers_do_not(client, library, vet, nurse, coordinator, carer, name):
    address = {
        "library": reverse("protocols:library"),
        "group": reverse("protocols:group", args=["turtle-freshwater"]),
        "row": row_url(),
    }
    statuses = []
    for person in (vet, nurse, coordinator, carer.person):
        client.force_login(person)
        statuses.append(client.get(address[name]).status_code)

    assert statuses == [200, 200, 200, 403]


@pytest.mark.parametrize("name", ["adopt", "withdraw"])
def test_only_a_vet_adopts_and_withdraws(client, library, nurse, coordinator, carer, name):
    for person in (nurse, coordinator, carer.person):
        client.force_login(person)

        assert client.post(row_url(name), {"seen_version": 0}).status_code == 403
        assert client.post(reverse("protocols:adopt-group", args=["animal"])).status_code == 403
    assert not Adoption.objects.exists()


def test_a_nurse_sees_no_button(client, library, nurse):
    client.force_login(nurse)

    page = client.get(reverse("protocols:group", args=["turtle-freshwater"])).content.decode()

    assert "Sutures or staples out" in page
    assert "North Carolina" in page or "NC State" in page
    assert "Adopt" not in page


def test_a_nurse_cannot_send_figures(client, library, nurse):
    client.force_login(nurse)

    client.post(row_url(), {"seen_version": 0, "min_days": 1, "usual_days": 2, "max_days": 3, "weight": 1})

    assert not Adoption.objects.exists()


def test_a_vet_adopts_a_group_and_withdraws_a_row(client, library, hospital, vet):
    client.force_login(vet)
    client.post(reverse("protocols:adopt-group", args=["turtle-freshwater"]))
    waiting = LibraryRow.objects.filter(group="turtle-freshwater", is_alternative=False).count()

    answer = client.post(row_url("withdraw"), {"seen_version": 1}, follow=True)

    assert Adoption.objects.filter(hospital=hospital).count() == waiting
    assert "No longer in force" in answer.content.decode()
    assert SUTURES not in {rule.id for rule in rules_in_force(hospital)}


def test_adopting_a_group_twice_is_refused_in_a_sentence(client, library, vet):
    client.force_login(vet)
    client.post(reverse("protocols:adopt-group", args=["koala"]))

    answer = client.post(reverse("protocols:adopt-group", args=["koala"]), follow=True)

    assert "Everything for this group is in force already." in answer.content.decode()


def figures(**changed):
    return {"seen_version": 0, "min_days": 28, "usual_days": 42, "max_days": 42, "weight": 5} | changed


def test_a_vet_puts_own_figures_in_force(client, library, hospital, vet):
    client.force_login(vet)

    answer = client.post(row_url(), figures(max_days=49))

    assert answer.status_code == 302
    assert [rule.max_days for rule in rules_in_force(hospital)] == [49]
    assert "Own figures" in client.get(row_url()).content.decode()


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"max_days": 20}, "“At most” cannot be less than “Usually” (42 days)."),
        ({"min_days": 50}, "“Usually” cannot be less than “At least” (50 days)."),
        ({"min_days": "", "usual_days": "", "max_days": ""}, "Give at least one of the three figures"),
        ({"usual_days": "soon"}, "Give a whole number."),
        ({"weight": ""}, "Give a whole number."),
        ({"min_days": -1}, "greater than or equal to 0"),
    ],
)
def test_figures_that_make_no_sense_are_refused_at_the_field(client, library, vet, wrong, sentence):
    client.force_login(vet)

    answer = client.post(row_url(), figures(**wrong))

    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not Adoption.objects.exists()


def test_the_second_of_two_vets_sees_both_versions_and_may_save_again(client, library, hospital, vet, sutures):
    client.force_login(vet)
    adopt(sutures, hospital=hospital, by=vet, at=now(), seen_version=0, figures={"max_days": 56})

    answer = client.post(row_url(), figures(max_days=49))
    page = answer.content.decode()

    assert answer.status_code == 409
    assert "Both versions" in page
    assert ">56<" in page
    assert ">49<" in page
    assert client.post(row_url(), figures(max_days=49, seen_version=1)).status_code == 302
    assert [rule.max_days for rule in rules_in_force(hospital)] == [49]


def test_the_same_figures_again_are_refused(client, library, hospital, vet, sutures):
    client.force_login(vet)
    adopt(sutures, hospital=hospital, by=vet, at=now(), seen_version=0)

    answer = client.post(row_url(), figures(seen_version=1, weight=sutures.content["weight"]))

    assert answer.status_code == 422
    assert "in force already, with these very figures" in answer.content.decode()


def test_withdrawing_what_somebody_changed_meanwhile_is_refused(client, library, hospital, vet, sutures):
    client.force_login(vet)
    adopt(sutures, hospital=hospital, by=vet, at=now(), seen_version=0)
    adopt(sutures, hospital=hospital, by=vet, at=now(), seen_version=1, figures={"max_days": 56})

    answer = client.post(row_url("withdraw"), {"seen_version": 1}, follow=True)

    assert "Somebody else saved this record" in answer.content.decode()
    assert len(rules_in_force(hospital)) == 1


def test_a_season_is_moved_to_the_hospitals_own_climate(client, library, hospital, vet):
    client.force_login(vet)
    address = row_url(kind="gate", slug="turtle-freshwater.season")

    wrong = client.post(address, {"seen_version": 0, "opens": "31-02", "closes": "01-09"})
    right = client.post(address, {"seen_version": 0, "opens": "01-05", "closes": "01-09"})

    assert wrong.status_code == 422
    assert right.status_code == 302
    assert gates_in_force(hospital)[0].opens == (5, 1)


def test_a_ladder_of_water_minutes_must_rise(client, library, hospital, vet):
    client.force_login(vet)
    address = row_url(kind="water", slug="turtle-freshwater.water")
    sent = {
        "seen_version": 0,
        "dry_days": 14,
        "ladder": "15, 10",
        "clean_days": 3,
        "used_share_percent": 80,
        "mild_steps_down": 1,
    }

    wrong = client.post(address, sent)
    right = client.post(address, sent | {"ladder": "10, 15"})

    assert wrong.status_code == 422
    assert "must rise" in wrong.content.decode()
    assert right.status_code == 302
    assert water_protocols_in_force(hospital)[0].ladder == (10, 15)


def test_a_criterion_with_a_weight_takes_a_number(client, library, hospital, vet):
    client.force_login(vet)
    row = next(r for r in LibraryRow.objects.filter(kind=Kind.CRITERION) if r.content["needs"] == "weight")
    address = row_url(kind="criterion", slug=row.slug)

    assert client.post(address, {"seen_version": 0, "target": "heavy"}).status_code == 422
    assert client.post(address, {"seen_version": 0, "target": "650"}).status_code == 302
    assert criteria_in_force(hospital)[0].target == "650"


@pytest.mark.parametrize(
    "address", ["/protocols/groups/unicorn/", "/protocols/rows/rule/no.such.row/", "/protocols/rows/spell/x/"]
)
def test_what_is_not_there_is_a_404(client, library, vet, address):
    client.force_login(vet)

    assert client.get(address).status_code == 404


def test_every_group_page_opens_and_asks_few_queries(client, library, vet, django_assert_max_num_queries):
    client.force_login(vet)
    for group in TaxonGroup.objects.all():
        with django_assert_max_num_queries(14):
            assert client.get(reverse("protocols:group", args=[group.slug])).status_code == 200


def test_every_row_page_opens(client, library, vet):
    client.force_login(vet)
    one_of_each = {(row.kind, row.content.get("needs"), row.is_alternative): row for row in LibraryRow.objects.all()}

    statuses = {client.get(row_url(kind=row.kind, slug=row.slug)).status_code for row in one_of_each.values()}

    assert statuses == {200}


# --- advice -------------------------------------------------------------------------------------------------------


def test_advice_comes_from_all_levels_the_nearest_first(library):
    found = advice_for(TURTLE)
    urgent = [each.group_id for each in found if each.topic == Advice.Topic.PHONE_NOW]

    assert set(urgent) >= {"turtle-freshwater", "animal"}
    assert urgent == sorted(urgent, key=TURTLE.index)
    assert found[0].topic == Advice.Topic.PHONE_NOW

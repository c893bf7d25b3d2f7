"""The handover pack on its pages: who makes and reads it, what it may not say, and where its code leads."""

import hashlib
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.urls import reverse
from PIL import ImageFile

from handover.packs.actions import document, make_pack
from handover.packs.contents import Contents
from handover.packs.differences import differences
from handover.packs.gather import contents_of
from handover.packs.models import Pack
from handover.packs.pdf import STATIC, our_file, print_pdf
from handover.plans.actions import fix_day, publish
from handover.plans.queries import plan_in_force
from hospital.admissions.models import Finder
from hospital.clock import now, today
from hospital.feeding import actions as feeding
from tests import make

CANARIES = {
    "name": "Zebulon Quillfeather", "phone": "07700 900999", "email": "quillfeather@example.org",
    "place": "Under the canary oak at Nevermore Lane", "latitude": "54.123987", "longitude": "3.987321",
    "what": "canary circumstances", "town": "Canaryham",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        yield


@pytest.fixture
def turtle(adopted, hospital, vet, carer):
    """A pond turtle with a fixed limb, a medicine by injection, graded water, a secret finder, at a carer's home."""
    finder = Finder.objects.create(hospital=hospital, name=CANARIES["name"], phone=CANARIES["phone"], email=CANARIES["email"])
    patient = make.patient(
        vet, finder=finder, found_place=CANARIES["place"], circumstances=CANARIES["what"], found_uncertainty_m=30,
        found_latitude=Decimal(CANARIES["latitude"]), found_longitude=Decimal(CANARIES["longitude"]),
        admitted_at=make.at("2027-02-20 10:00"), name="Bramble",
    )  # fmt: skip
    operation = patient.procedures.create(
        kind="limb-fixation", done_on=today() - timedelta(3), site="left hind limb", surgeon=vet, recorded_by=vet
    )
    about = {"procedure": operation, "site": "left hind limb"}
    patient.closures.create(closed_on=operation.done_on, material="nylon", count=6, **about)
    patient.weights.create(weighed_at=now(), weight_g=Decimal(600), weighed_by=vet)
    patient.medication_orders.create(
        drug="meloxicam", dose_per_kg=Decimal("0.2"), strength_per_ml=Decimal("0.5"), weight_g=Decimal(600),
        dose_amount=Decimal("0.12"), volume_ml=Decimal("0.24"), syringe_ml=Decimal(1), route="muscle", every_hours=24,
        doses=5, first_dose_at=now(), ordered_by=vet, ordered_at=now(),
    )  # fmt: skip
    carer.town = CANARIES["town"]
    carer.latitude, carer.longitude = Decimal("54.555111"), Decimal("3.777222")
    carer.save()
    make.placement(patient, carer)
    return patient


@pytest.fixture
def planned(turtle, vet):
    publish(turtle, by=vet)
    return turtle


def move_something(patient, by):
    """Fix the day on which the sutures come out within their window, and publish: the facts of another pack."""
    visit = plan_in_force(patient).dates.get(event="suture_removal")
    days = (visit.opens_on + timedelta(n) for n in range((visit.closes_on - visit.opens_on).days))
    on = next(day for day in days if day != visit.on and day.weekday() < 5)
    fix_day(patient, by=by, event_id=visit.event_id, on=on, reason="a canary call")
    publish(patient, by=by)
    return visit


def address(name, patient, *args):
    return reverse(f"packs:{name}", args=[patient.case_number, *args])


def text(answer):
    return " ".join(answer.content.decode().replace("\xa0", " ").split())


# --- who ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["pack", "page", "file"])
def test_staff_and_the_carer_read_the_pack_and_nobody_else(client, planned, vet, nurse, coordinator, carer, stranger, hospital, name):
    made = make_pack(planned, by=vet, paper="A4")
    args = [] if name == "pack" else [made.version]
    another = make.carer("Olga Other", hospital).person
    statuses = []
    for person in (vet, nurse, coordinator, carer.person, another, stranger):
        client.force_login(person)
        answer = client.get(address(name, planned, *args))
        statuses.append(answer.status_code)

    assert statuses == [200, 200, 200, 200, 404, 404]


def test_staff_make_packs_and_carers_do_not(client, planned, nurse, carer, stranger):
    statuses = []
    for person in (nurse, carer.person, stranger):
        client.force_login(person)
        statuses.append(client.post(address("make", planned), {"paper": "A4"}).status_code)

    assert statuses == [302, 403, 404]


def test_a_carer_sees_no_pack_that_was_made_for_another_carer(client, planned, vet, hospital):
    made = make_pack(planned, by=vet, paper="A4")
    second = make.carer("Second Carer", hospital)
    make.placement(planned, second, by=vet, days_ago=0)

    client.force_login(second.person)

    assert client.get(address("page", planned, made.version)).status_code == 404
    assert "No pack has been made for you yet" in text(client.get(address("pack", planned)))


def test_a_pack_that_never_was_is_not_found(client, planned, vet):
    client.force_login(vet)

    assert client.get(address("file", planned, 7)).status_code == 404


# --- making -------------------------------------------------------------------------------------------------------


def test_without_a_published_plan_there_is_no_pack(client, turtle, vet):
    client.force_login(vet)

    answer = client.post(address("make", turtle), {"paper": "A4"})

    assert answer.status_code == 422
    assert "No plan is in force. Publish the plan first; the pack is printed from it." in text(answer)
    assert not Pack.objects.exists()


def test_a_closed_case_gets_no_pack(planned, vet):
    type(planned).objects.filter(pk=planned.pk).update(closed_on=today())

    with pytest.raises(ValidationError, match="This case is closed"):
        make_pack(planned, by=vet, paper="A4")


def test_an_unknown_paper_is_refused_at_its_field(client, planned, vet):
    client.force_login(vet)

    answer = client.post(address("make", planned), {"paper": "A3"})

    assert answer.status_code == 422
    assert answer.context["form"].errors == {"paper": ["Choose A4 or Letter."]}


def test_the_same_facts_make_no_second_pack(planned, vet):
    first = make_pack(planned, by=vet, paper="A4")

    assert make_pack(planned, by=vet, paper="A4").pk == first.pk
    assert Pack.objects.count() == 1


def test_other_facts_make_the_next_version_and_leave_the_first_as_it_was(planned, vet):
    first = make_pack(planned, by=vet, paper="A4")
    before = Pack.objects.filter(pk=first.pk).values().get()
    move_something(planned, vet)

    second = make_pack(planned, by=vet, paper="A4")

    assert (first.version, second.version) == (1, 2)
    assert Pack.objects.filter(pk=first.pk).values().get() == before


def test_the_file_is_the_one_whose_digest_was_noted(client, planned, vet):
    made = make_pack(planned, by=vet, paper="A4")
    client.force_login(vet)

    answer = client.get(address("file", planned, made.version))
    content = answer.content

    assert hashlib.sha256(content).hexdigest() == made.sha256
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"].startswith("inline")


def test_the_same_facts_give_the_same_contents_and_the_same_bytes(planned, vet):
    plan = plan_in_force(planned)
    once, again = (contents_of(planned, plan, today=today()) for _ in range(2))
    made = make_pack(planned, by=vet, paper="A4")

    assert once == again
    assert print_pdf(document(made), paper="A4") == print_pdf(document(made), paper="A4")


def test_contents_read_back_from_json_as_they_were(planned):
    contents = contents_of(planned, plan_in_force(planned), today=today())

    assert Contents.from_json(contents.to_json()) == contents
    assert contents.medicines
    assert contents.water


# --- what it may not say ------------------------------------------------------------------------------------------


def test_no_finder_no_place_and_no_carers_address_are_in_a_pack(client, planned, vet, carer):
    made = make_pack(planned, by=vet, paper="A4")
    client.force_login(carer.person)
    page = client.get(address("page", planned, made.version)).content.decode()

    said = str(made.contents) + document(made) + page

    secrets = [*CANARIES.values(), "54.12", "3.98", "54.555111", "3.777222"]
    assert [secret for secret in secrets if secret in said] == []


def test_nothing_but_our_own_files_may_be_fetched():
    foreign = ["https://example.org/x.png", "file:///etc/passwd", "file://host/etc/passwd", "data:text/plain,x"]
    climbing = [(our_root() + "/../settings.py"), our_root() + "/%2e%2e/settings.py"]

    assert [our_file(url) for url in foreign + climbing + ["icon:../base"]] == [None] * 7
    assert our_file(our_root() + "/hospital/emblem.svg")
    assert our_file("icon:drop")


def our_root():
    return STATIC[0].as_uri()


def test_a_document_that_asks_for_something_else_is_not_printed():
    from weasyprint.urls import FatalURLFetchingError

    with pytest.raises(FatalURLFetchingError):
        print_pdf('<html lang="en"><title>x</title><img alt="x" src="https://example.org/x.png">', paper="A4")


# --- what changed -------------------------------------------------------------------------------------------------


def test_the_next_pack_says_what_moved_and_why(planned, vet):
    make_pack(planned, by=vet, paper="A4")
    visit = move_something(planned, vet)

    contents = Contents.from_json(make_pack(planned, by=vet, paper="A4").contents)
    moved = next(each for each in contents.changes if each.kind == "moved" and each.what.startswith("Sutures"))

    assert contents.has_pack_before
    assert moved.was == f"{visit.on:%a} {visit.on.day} {visit.on:%b} {visit.on:%Y}"
    assert moved.why.startswith("A person fixed")


def test_a_stopped_medicine_and_a_new_phone_are_changes(planned):
    before = contents_of(planned, plan_in_force(planned), today=today())
    after = replace(before, medicines=(), site=replace(before.site, phone="01632 960777"))

    found = {each.what: each.kind for each in differences(before, after, {})}

    assert found == {"meloxicam": "dropped", "Phone by day": "changed"}


def test_the_first_pack_of_a_new_carer_compares_with_nothing(planned, vet, hospital):
    make_pack(planned, by=vet, paper="A4")
    make.placement(planned, make.carer("Second Carer", hospital), by=vet, days_ago=0)

    contents = Contents.from_json(make_pack(planned, by=vet, paper="A4").contents)

    assert not contents.has_pack_before
    assert contents.carer == "Second Carer"


# --- where the code leads -----------------------------------------------------------------------------------------


def scan(client, pack, **extra):
    return client.get(reverse("packs:code", args=[pack.key]), **extra)


def test_the_code_of_the_latest_pack_opens_todays_page_in_silence(client, planned, vet, carer):
    made = make_pack(planned, by=vet, paper="A4")
    client.force_login(carer.person)

    answer = scan(client, made, follow=True)

    assert answer.redirect_chain[-1][0] == reverse("logs:day", args=[planned.case_number])
    assert "out of date" not in text(answer)


def test_the_code_of_an_old_pack_says_so_loudly(client, planned, vet, carer):
    old = make_pack(planned, by=vet, paper="A4")
    move_something(planned, vet)
    make_pack(planned, by=vet, paper="A4")
    client.force_login(carer.person)

    answer = scan(client, old, follow=True)

    assert "Throw this paper away: pack 1 is out of date" in text(answer)


def test_the_code_says_when_the_plan_is_newer_than_the_paper(client, planned, vet, carer):
    made = make_pack(planned, by=vet, paper="A4")
    move_something(planned, vet)
    client.force_login(carer.person)

    assert "the plan has changed" in text(scan(client, made, follow=True))


def test_the_code_tells_staff_when_the_animal_has_moved(client, planned, vet):
    made = make_pack(planned, by=vet, paper="A4")
    make.placement(planned, None, by=vet, days_ago=0, ward="Ward 1")
    client.force_login(vet)

    assert "the animal has moved since" in text(scan(client, made, follow=True))


def test_whoever_had_the_animal_is_told_to_throw_the_paper_away(client, planned, vet, carer):
    made = make_pack(planned, by=vet, paper="A4")
    make.placement(planned, None, by=vet, days_ago=0, ward="Ward 1")
    client.force_login(carer.person)

    answer = scan(client, made)

    assert answer.status_code == 200
    assert "Throw this paper away" in text(answer)
    assert "Bramble" not in text(answer)


def test_a_code_tells_a_stranger_nothing(client, planned, vet, stranger, hospital):
    made = make_pack(planned, by=vet, paper="A4")
    for person in (stranger, make.carer("Olga Other", hospital).person):
        client.force_login(person)

        assert scan(client, made).status_code == 404


def test_without_signing_in_the_code_leads_to_sign_in_and_then_on(client, planned, vet):
    made = make_pack(planned, by=vet, paper="A4")

    answer = scan(client, made)

    assert answer.status_code == 302
    assert answer["Location"] == f"{reverse('people:sign-in')}?next={reverse('packs:code', args=[made.key])}"


def test_an_unknown_code_is_not_found(client, vet):
    client.force_login(vet)

    assert client.get("/a/00000000-0000-4000-8000-000000000000/").status_code == 404


def test_printing_does_not_make_the_hospital_accept_photographs_that_were_cut_off(vet, planned):
    make_pack(planned, by=vet, paper="A4")

    assert ImageFile.LOAD_TRUNCATED_IMAGES is False


# --- food and fluids ----------------------------------------------------------------------------------------------


def sign_plans(patient, by, *, carer_gives):
    checked = {"seen_weight_g": None, "is_weight_checked": True, "is_warning_read": True, "note": ""}
    feeding.sign_feeding(
        patient, by=by, seen_version=patient.feedingplans.count(), kept_at_c=Decimal(28), food="earthworms", kcal_constant=Decimal(32),
        factor=Decimal("1.5"), kcal_per_g=Decimal("0.71"), meals_per_day=2, every_days=1, **checked,
    )  # fmt: skip
    feeding.sign_fluids(
        patient, by=by, seen_version=patient.fluidplans.count(), fluid="Ringer canary", starts_at=now(), carer_gives=carer_gives,
        route="mouth", ml_per_kg_day=Decimal(20), dehydration_percent=Decimal(0), deficit_hours=None, half_in_hours=None,
        losses_ml_day=Decimal(0), times_per_day=2, drops_per_ml=None, **checked,
    )  # fmt: skip


def test_a_pack_says_what_the_animal_is_fed_and_keeps_fluids_to_the_hospital(client, planned, vet):
    sign_plans(planned, vet, carer_gives=False)
    make_pack(planned, by=vet, paper="A4")
    client.force_login(vet)

    page = text(client.get(address("page", planned, 1)))

    assert "earthworms" in page
    assert "23 g at each meal, 2 meals a day" in page  # 32 × 0.6^0.75 × 1.5 / 0.71 / 2
    assert "Never squirt food or water into a mouth" in page
    assert "Ringer canary" not in page


def test_fluids_left_to_the_carer_are_in_the_next_pack_and_told_as_a_change(client, planned, vet):
    sign_plans(planned, vet, carer_gives=False)
    make_pack(planned, by=vet, paper="A4")
    sign_plans(planned, vet, carer_gives=True)
    pack = make_pack(planned, by=vet, paper="A4")
    client.force_login(vet)

    contents = Contents.from_json(pack.contents)
    page = text(client.get(address("page", planned, 2)))

    assert [(each.what, each.kind) for each in contents.changes] == [("Fluids", "added")]
    assert "Ringer canary, by mouth or by tube" in page
    assert "6 mL each time, 2 times a day" in page
    assert "too much fills the lungs with water" in page

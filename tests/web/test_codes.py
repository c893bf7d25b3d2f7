"""The code on a pack: whoever holds the paper reports about that one animal, sees nobody's name, and only as long as it is there."""

from __future__ import annotations

import re
import uuid
from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from handover.codes.access import REPORTS, WRONG_CODES
from handover.logs.models import LogEntry
from handover.packs.actions import _draft, stamp_of
from handover.packs.codes import code_on, keep_code, open_codes, stop_codes
from handover.packs.models import AnimalCode, Pack
from hospital.admissions.models import Weight
from hospital.clock import now, today
from hospital.medications.models import DoseGiven
from hospital.rules.codes import grouped, is_whole
from tests import make
from tests.web.test_packs import CANARIES, _on_that_day, planned, turtle  # noqa: F401
from tests.web.test_people import words_of


@pytest.fixture
def pack(planned, vet) -> Pack:  # noqa: F811
    """A pack for the carer, without waiting for its pages to be set."""
    return kept(_draft(planned, by=vet, paper="A4", print_size="usual"))


def kept(pack: Pack) -> Pack:
    pack.sha256, pack.pages = "0" * 64, 1
    pack.file.save("pack.pdf", ContentFile(b"%PDF-"), save=True)
    keep_code(pack)
    return pack


def address(pack: Pack) -> str:
    return reverse("codes:log", args=[code_on(pack)])


def report(**said) -> dict:
    usual = {"eaten": "all", "droppings": "normal", "activity": "usual", "key": str(uuid.uuid4())}
    return usual | {"made_at": now().isoformat(), "on": today().isoformat()} | said


# --- what the paper opens -----------------------------------------------------------------------------------------


def test_whoever_holds_the_paper_sees_the_day_and_reports_without_signing_in(client, pack, carer):
    page = client.get(address(pack))
    assert "Bramble" in words_of(page)
    assert pack.patient.case_number in words_of(page)

    sent = client.post(address(pack), report(food="worms"))

    assert "Your report is stored" in words_of(client.get(sent.url))
    entry = LogEntry.objects.get()
    assert (entry.is_by_code, entry.placement, entry.food) == (True, pack.placement, "worms")
    assert entry.who == f"by animal code, with {carer}"


def test_the_hospital_reads_that_it_came_by_code_and_with_whom_the_animal_is(client, pack, vet, carer):
    Client().post(address(pack), report(activity="quiet", worries="It lies on its side"))
    client.force_login(vet)

    for page in (reverse("logs:past", args=[pack.patient.case_number]), reverse("boards:today")):
        assert f"by animal code, with {carer}" in words_of(client.get(page))


def test_a_weight_and_a_dose_by_code_say_so(pack):
    order = pack.patient.medication_orders.get()
    Client().post(address(pack), report(weight_g="610", **{f"dose_{order.pk}_0": "given"}))

    assert Weight.objects.latest("pk").note == "by animal code"
    assert DoseGiven.objects.get().note == "by animal code"


def test_nobodys_name_number_or_place_is_on_its_pages(client, pack, vet, carer):
    carer.person.phone = "01632 960777"
    carer.person.save()
    order = pack.patient.medication_orders.get()
    DoseGiven.objects.create(order=order, patient=pack.patient, kind="given", given_at=now(), given_by=carer.person)
    sent = client.post(address(pack), report())
    pages = [client.get(address(pack)).content.decode(), client.get(sent.url).content.decode()]

    told = [*CANARIES.values(), carer.person.name, carer.person.phone, carer.person.email, vet.name, "54.5551", "3.7772"]

    assert [(each, n) for n, page in enumerate(pages) for each in told if each in page] == []
    assert all(pack.patient.hospital.phone in page for page in pages)


def test_no_link_of_the_page_leads_a_stranger_further(client, pack):
    client.post(address(pack), report())
    page = client.get(address(pack)).content.decode()

    links = set(re.findall(r'(?:href|action)="(/[^"]*)"', page)) - {address(pack)}
    others = [each for each in links if not each.startswith("/static/")]

    assert [(each, client.get(each, follow=True).redirect_chain) for each in others if "patients" in each or "my-animals" in each] == []


def test_the_code_opens_no_other_page(client, pack):
    client.get(address(pack))

    for name in ("logs:day", "logs:past", "packs:pack", "logs:guide"):
        assert client.get(reverse(name, args=[pack.patient.case_number])).url.startswith("/sign-in/")


def test_its_address_is_told_to_no_other_site_and_its_page_is_kept_nowhere(client, pack):
    page = client.get(address(pack))

    assert page["Referrer-Policy"] == "no-referrer"
    assert "no-store" in page["Cache-Control"]


def test_somebody_who_is_signed_in_reports_in_their_own_name(client, pack, vet, carer):
    for person in (vet, carer.person):
        client.force_login(person)

        assert client.get(address(pack)).url == reverse("logs:day", args=[pack.patient.case_number])


def test_a_stranger_who_is_signed_in_may_hold_the_paper_as_well(client, pack, stranger):
    client.force_login(stranger)

    assert client.get(address(pack)).status_code == 200


# --- when it ends -------------------------------------------------------------------------------------------------


def test_it_ends_with_the_placement(client, pack, vet):
    make.placement(pack.patient, None, by=vet, days_ago=0, ward="Ward 1")

    shut = client.get(address(pack))

    assert shut.status_code == 410
    assert "Bramble" not in words_of(shut)
    assert pack.patient.hospital.phone in words_of(shut)


def test_it_ends_with_the_case(client, pack):
    pack.patient.closed_on = today()
    pack.patient.save()

    assert client.get(address(pack)).status_code == 410


@pytest.mark.parametrize("role", ["vet", "nurse", "coordinator"])
def test_staff_stop_it_at_once(client, pack, hospital, role):
    client.force_login(make.person("Sasha Staff", hospital, role))

    client.post(reverse("codes:stop", args=[pack.patient.case_number]))

    assert Client().get(address(pack)).status_code == 410
    assert open_codes(pack.patient) == []


def test_staff_read_the_code_on_the_page_of_the_pack_until_it_is_stopped_and_carers_never_do(client, pack, vet, carer):
    page, code = reverse("packs:pack", args=[pack.patient.case_number]), grouped(code_on(pack))
    client.force_login(carer.person)
    assert code not in words_of(client.get(page))

    client.force_login(vet)
    assert code in words_of(client.get(page))
    client.post(reverse("codes:stop", args=[pack.patient.case_number]))
    assert code not in words_of(client.get(page))


def test_carers_and_strangers_stop_nothing(client, pack, carer, stranger):
    answers = []
    for person in (carer.person, stranger):
        client.force_login(person)
        answers.append(client.post(reverse("codes:stop", args=[pack.patient.case_number])).status_code)

    assert answers == [403, 404]
    assert Client().get(address(pack)).status_code == 200


def test_a_report_that_was_being_written_when_the_code_was_stopped_is_shown_and_not_stored(client, pack, vet):
    client.get(address(pack))
    stop_codes(pack.patient, by=vet)

    refused = client.post(address(pack), report(worries="It coughs at night"))

    assert refused.status_code == 410
    assert "It coughs at night" in words_of(refused)
    assert "Your report was not stored" in words_of(refused)
    assert not LogEntry.objects.exists()


def test_after_a_stop_the_next_pack_has_another_code_though_it_says_the_same(planned, pack, vet):  # noqa: F811
    assert _draft(planned, by=vet, paper="A4", print_size="usual").pk == pack.pk

    stop_codes(planned, by=vet)
    second = kept(_draft(planned, by=vet, paper="A4", print_size="usual"))

    assert code_on(second) != code_on(pack)
    assert [Client().get(address(each)).status_code for each in (pack, second)] == [410, 200]


def test_an_older_paper_still_reports_and_says_that_it_is_old(client, planned, pack, vet):  # noqa: F811
    second = _draft(planned, by=vet, paper="Letter", print_size="usual")
    kept(second)

    page = client.get(address(pack))

    assert page.status_code == 200
    assert "Throw this paper away" in words_of(page)


# --- the code itself ----------------------------------------------------------------------------------------------


def test_the_code_can_be_printed_again_and_is_kept_as_a_hash_only(pack):
    code = code_on(pack)

    assert is_whole(code)
    assert code_on(Pack.objects.get()) == code
    assert code not in str(AnimalCode.objects.values())
    assert stamp_of(pack).typed == grouped(code)


def test_a_pack_for_the_ward_has_no_code(planned, vet):  # noqa: F811
    make.placement(planned, None, by=vet, days_ago=0, ward="Ward 1")
    pack = kept(_draft(planned, by=vet, paper="A4", print_size="usual"))

    assert code_on(pack) == ""
    assert stamp_of(pack).typed == ""
    assert not AnimalCode.objects.exists()


def test_without_a_camera_the_code_is_typed(client, pack):
    answer = client.post("/a/", {"code": grouped(code_on(pack)).lower()})

    assert answer.url == address(pack)


def test_a_slip_is_said_and_costs_no_try(client, pack):
    code = code_on(pack)
    for _ in range(WRONG_CODES.most + 1):
        slip = client.post("/a/", {"code": ("A" if code[0] != "A" else "B") + code[1:]})
        assert "A character is wrong, missing, or two are swapped." in words_of(slip)

    assert client.get(address(pack)).status_code == 200


def test_guessing_is_stopped_after_twenty_tries_and_not_for_other_networks(client, pack):
    for _ in range(WRONG_CODES.most):
        assert client.get("/a/AAAA-AAAA-AAAA/").status_code == 404

    assert client.get(address(pack)).status_code == 404
    assert Client(REMOTE_ADDR="192.0.2.9").get(address(pack)).status_code == 200


# --- reports ------------------------------------------------------------------------------------------------------


def test_a_report_sent_twice_is_kept_once(client, pack):
    said = report()
    first, second = client.post(address(pack), said), client.post(address(pack), said)

    assert first.url == second.url
    assert LogEntry.objects.count() == 1


def test_no_more_than_thirty_reports_an_hour_come_by_one_code(client, pack):
    for _ in range(REPORTS.most):
        REPORTS.count(code_on(pack))

    refused = client.post(address(pack), report(worries="The thirty-first"))

    assert refused.status_code == 422
    assert "The thirty-first" in words_of(refused)
    assert not LogEntry.objects.exists()


def test_a_mistake_keeps_what_was_typed(client, pack):
    refused = client.post(address(pack), report(weight_g="heavy", worries="It coughs"))

    assert refused.status_code == 422
    assert "It coughs" in words_of(refused)


def test_a_code_corrects_nobodys_report_and_reads_none_but_those_by_code(client, pack, carer):
    own = Client()
    own.force_login(carer.person)
    own.post(reverse("logs:send", args=[pack.patient.case_number]), report())
    earlier = LogEntry.objects.get()

    client.post(address(pack), report(corrects=str(earlier.key)))

    assert LogEntry.objects.latest("pk").corrects is None
    assert client.get(reverse("codes:answer", args=[code_on(pack), earlier.key])).status_code == 404


def test_a_day_before_the_placement_is_refused_as_always(client, pack):
    before = today() - timedelta(days=8)

    assert client.post(address(pack), report(on=before.isoformat())).status_code == 422

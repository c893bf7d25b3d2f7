"""What a carer's phone may keep, and a photograph that comes in parts."""

import io
import json
import random
import uuid
from datetime import timedelta
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.urls import resolve, reverse
from PIL import Image

from handover.logs.actions import receive
from handover.logs.models import LogEntry, LogPhoto
from handover.logs.photos import receive_photo_part
from hospital.clock import now, today
from tests import make


@pytest.fixture
def turtle(adopted, vet, carer):
    patient = make.patient(vet)
    make.placement(patient, carer, accepted_at=now())
    return patient


def kept(client, person):
    client.force_login(person)
    return client.get(reverse("offline:kept"))


def test_the_pages_to_keep_are_those_of_the_carers_animals_and_open(client, turtle, vet, carer):
    other = make.patient(vet)
    make.placement(other, make.carer("Other Carer", carer.hospital))

    told = kept(client, carer.person).json()

    assert told["person"] == str(carer.person.pk)
    assert {client.get(address).status_code for address in told["pages"]} == {200}
    assert turtle.case_number in str(told["pages"])
    assert other.case_number not in str(told)
    assert len(told["days"][reverse("logs:day", args=[turtle.case_number])]) == 4
    assert {resolve(each).url_name for each in told["days"][reverse("logs:day", args=[turtle.case_number])].values()} == {"day", "ahead"}


def test_the_pages_go_when_the_animal_has_left(client, turtle, vet, carer):
    make.placement(turtle, make.carer("Other Carer", carer.hospital), days_ago=0)

    assert turtle.case_number not in kept(client, carer.person).content.decode()


def test_who_is_no_carer_any_more_keeps_nothing_and_may_still_send(client, turtle, vet, carer):
    carer.person.memberships.all().delete()

    told = kept(client, carer.person).json()

    assert told["pages"] == []
    assert told["csrf"]


def test_words_that_are_only_a_photographs_may_come_before_it(client, turtle, carer):
    client.force_login(carer.person)
    said = {"key": str(uuid.uuid4()), "made_at": now().isoformat(), "on": today().isoformat()}
    send = reverse("logs:send", args=[turtle.case_number])

    empty = client.post(send, said, headers={"accept": "application/json"})
    followed = client.post(send, said | {"photo_follows": "on"}, headers={"accept": "application/json"})

    assert (empty.status_code, followed.status_code) == (422, 200)


def test_the_list_of_pages_holds_nothing_of_a_finder_or_a_place(client, turtle, carer):
    told = kept(client, carer.person).json()

    assert set(told) == {"person", "csrf", "at", "zone", "pages", "days"}


@pytest.mark.parametrize("name", ["worker", "manifest", "no-signal", "not-sent"])
def test_only_carers_have_a_phone_to_keep_things_on(client, vet, nurse, coordinator, carer, name):
    statuses = []
    for person in (vet, nurse, coordinator, carer.person):
        client.force_login(person)
        statuses.append(client.get(reverse(f"offline:{name}")).status_code)

    assert statuses == [403, 403, 403, 200]


def test_the_worker_may_serve_every_page_and_names_files_that_are_there(client, carer):
    client.force_login(carer.person)

    answer = client.get(reverse("offline:worker"))
    assets = json.loads(answer.content.decode().split("self.ASSETS = ")[1].split(";\n")[0])

    assert reverse("offline:worker").count("/") == 1  # a worker reaches what lies below its own address
    assert answer["Cache-Control"] == "no-cache"
    assert answer["Content-Type"].startswith("text/javascript")
    assert [address for address in assets if not finders.find(address.removeprefix("/static/"))] == []


def test_the_manifest_has_what_a_phone_asks_of_an_app(client, carer):
    """Names of the Web Application Manifest (W3C); icons of 192 and 512 pixels are what browsers ask for to install."""
    client.force_login(carer.person)

    told = client.get(reverse("offline:manifest")).json()
    files = [Path(finders.find(icon["src"].removeprefix("/static/"))).read_bytes() for icon in told["icons"]]
    icons = [Image.open(io.BytesIO(file)) for file in files]

    assert {"name", "short_name", "start_url", "scope", "display", "icons"} <= set(told)
    assert client.get(told["start_url"]).status_code == 200
    assert [f"{icon.width}x{icon.height}" for icon in icons] == [icon["sizes"] for icon in told["icons"]] == ["192x192", "512x512"]


def test_a_coming_day_is_shown_as_it_stands_and_no_other(client, turtle, carer):
    client.force_login(carer.person)
    statuses = {
        n: client.get(reverse("logs:ahead", args=[turtle.case_number, today() + timedelta(n)])).status_code for n in (-1, 0, 1, 3, 4)
    }

    assert statuses == {-1: 404, 0: 404, 1: 200, 3: 200, 4: 404}
    assert client.get(reverse("logs:ahead", args=[turtle.case_number, today() + timedelta(2)])).context["day"].on == today() + timedelta(2)
    assert client.get(f"/patients/{turtle.case_number}/today/2027-02-30/").status_code == 404


# --- a photograph in parts --------------------------------------------------------------------------------------------


@pytest.fixture
def entry(turtle, carer):
    return receive(turtle, by=carer.person, key=uuid.uuid4(), made_at=now(), on=today(), worries="A photograph follows").entry


def a_photograph(size=(300, 200)) -> bytes:
    file = io.BytesIO()
    exif = Image.Exif()
    exif[0x010F] = "Canary Camera"
    Image.frombytes("RGB", size, random.Random(3).randbytes(size[0] * size[1] * 3)).save(file, "JPEG", exif=exif)
    return file.getvalue()


def part(client, entry, body, **query):
    address = reverse("logs:photo-part", args=[entry.patient.case_number, entry.key], query=query)
    return client.post(address, body, content_type="application/octet-stream")


def test_parts_make_the_photograph_and_it_is_made_safe(client, entry, carer):
    client.force_login(carer.person)
    whole = a_photograph()
    told = [part(client, entry, whole[n : n + 9000], **{"from": n, "of": len(whole)}).json() for n in range(0, len(whole), 9000)]

    shown = client.get(reverse("logs:photo", args=[entry.patient.case_number, entry.key])).content

    assert [each["is_whole"] for each in told] == [False] * (len(told) - 1) + [True]
    assert Image.open(io.BytesIO(shown)).size == (300, 200)
    assert b"Canary" not in shown


@pytest.mark.parametrize("order", [[0, 0, 1, 1, 2, 2], [0, 2, 1, 0, 2], [1, 0, 1, 2]])
def test_parts_that_come_twice_or_out_of_turn_change_nothing(client, entry, carer, order):
    client.force_login(carer.person)
    whole = a_photograph()
    size = len(whole) // 3 + 1

    for n in order:
        part(client, entry, whole[n * size : (n + 1) * size], **{"from": n * size, "of": len(whole)})

    assert LogPhoto.objects.filter(entry=entry).count() == 1
    assert part(client, entry, b"", **{"from": 0, "of": len(whole)}).json() == {"have": len(whole), "is_whole": True}


@pytest.mark.parametrize(
    ("body", "query"),
    [(b"no photograph", {"from": 0, "of": 13}), (b"x", {"from": 0, "of": 99999999}), (b"x", {"from": 5, "of": 1}), (b"x", {"of": "many"})],
)
def test_what_is_no_photograph_is_refused_in_a_sentence_and_forgotten(client, entry, carer, body, query):
    client.force_login(carer.person)

    answer = part(client, entry, body, **query)

    assert answer.status_code == 422
    assert answer.json()["errors"][0].endswith(".")
    assert not LogPhoto.objects.exists()
    assert LogEntry.objects.filter(pk=entry.pk).exists()


def test_only_the_author_adds_a_photograph(client, entry, vet, carer):
    for person in (vet, make.carer("Other Carer", carer.hospital).person):
        client.force_login(person)
        assert part(client, entry, b"x", **{"from": 0, "of": 9}).status_code == 404


def test_a_photograph_shows_where_the_report_does(client, entry, vet):
    whole = a_photograph()
    receive_photo_part(entry, whole, start=0, of=len(whole))
    client.force_login(vet)

    page = client.get(reverse("logs:past", args=[entry.patient.case_number])).content.decode()

    assert reverse("logs:photo", args=[entry.patient.case_number, entry.key]) in page


def test_a_carer_is_told_how_to_put_it_on_the_phone(client, carer, vet):
    client.force_login(carer.person)
    page, start = client.get(reverse("offline:install")), client.get(reverse("logs:mine"))
    client.force_login(vet)

    assert "Add to Home Screen" in page.content.decode()
    assert reverse("offline:install") in start.content.decode()
    assert client.get(reverse("offline:install")).status_code == 403

"""An examination and a clinical history on paper: another reader reads the PDF, and a third draws it."""

import subprocess
from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pypdf
import pytest
from django.urls import reverse
from PIL import Image

from hospital.admissions.models import Finder
from hospital.clock import now, today
from hospital.examinations import actions
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def seen(patient, vet):
    """A recheck ten days after admission with a bite on the left side of the shell."""
    made = actions.record_examination(
        patient, by=vet, kind="recheck", examined_on=today("Europe/London"), wound="healing", findings="Two holes in the bridge",
        advice="Keep it dry", weight_g=Decimal(812), problems=["Bitten shell"],
    )  # fmt: skip
    actions.mark(made, by=vet, kind="bite", view="top", x=300, y=500, words="12 mm, clean edges")
    return made


def pages(client, address):
    answer = client.get(address)
    assert answer["Content-Type"] == "application/pdf"
    return answer.content, pypdf.PdfReader(BytesIO(answer.content))


def words_of(reader):
    return " ".join(" ".join(each.extract_text() for each in reader.pages).split())


def drawn(pdf, path):
    """The first page as Poppler draws it, in grey."""
    (path / "it.pdf").write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", "60", "-png", "-f", "1", "-l", "1", "-singlefile", path / "it.pdf", path / "it"], check=True)
    return Image.open(path / "it.png").convert("L")


def test_an_examination_is_printed_with_its_words_and_its_drawing(client, nurse, patient, seen, tmp_path):
    client.force_login(nurse)
    address = reverse("examinations:print", args=[patient.case_number, seen.pk])

    pdf, reader = pages(client, address)
    ink_with = sum(drawn(pdf, tmp_path).histogram()[:100])
    seen.marks.all().delete()
    ink_without = sum(drawn(pages(client, address)[0], tmp_path).histogram()[:100])

    text = words_of(reader)
    assert all(words in text for words in (patient.case_number, "Emys orbicularis", "Vera Vet", "Two holes in the bridge", "Keep it dry"))
    assert "1: Bite," in text
    assert "12 mm, clean edges" in text
    assert ink_with > ink_without * 1.2  # two outlines of a turtle


def test_a_clinical_history_tells_from_the_beginning_and_names_no_finder(client, vet, patient, seen):
    patient.found_place, patient.finder = "Slip road", Finder.objects.create(hospital=patient.hospital, name="Private Person")
    patient.save()
    make.order(patient, by=vet, drug="Meloxicam", first_dose_at=now() - timedelta(hours=2))
    client.force_login(vet)

    _pdf, reader = pages(client, reverse("chart:print", args=[patient.case_number]))

    text = words_of(reader)
    assert all(words in text for words in ("Bitten shell", "Meloxicam", "812 g", "1: Bite,", "Two holes in the bridge"))
    assert text.rindex("Admitted") < text.rindex("Examined: Recheck")
    assert "Private Person" not in text
    assert "Slip road" not in text


@pytest.mark.parametrize("which", ["chart:print", "examinations:print"])
def test_both_are_tagged_and_say_their_language_for_a_screen_reader(client, vet, patient, seen, which):
    """PDF/UA-1 (ISO 14289-1) asks for marked content, a structure tree, a language and a title that is shown; figures carry words."""
    client.force_login(vet)
    args = [patient.case_number, seen.pk] if which == "examinations:print" else [patient.case_number]

    _pdf, reader = pages(client, reverse(which, args=args))
    root = reader.trailer["/Root"]

    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    figures = [each for each in walk(root["/StructTreeRoot"]) if each.get("/S") == "/Figure"]
    assert figures
    assert all(each.get("/Alt") for each in figures)


def walk(node):
    node = node.get_object()
    if not isinstance(node, dict):
        return
    yield node
    kids = node.get("/K", [])
    for kid in kids if isinstance(kids, list) else [kids]:
        yield from walk(kid)


def test_paper_is_for_the_staff_of_its_hospital(client, patient, seen, carer, stranger, coordinator):
    make.placement(patient, carer)
    addresses = [reverse("chart:print", args=[patient.case_number]), reverse("examinations:print", args=[patient.case_number, seen.pk])]

    answers = {}
    for who, person in (("stranger", stranger), ("carer", carer.person), ("coordinator", coordinator)):
        client.force_login(person)
        answers[who] = [client.get(address).status_code for address in addresses]

    assert answers == {"stranger": [404, 404], "carer": [403, 403], "coordinator": [200, 200]}
    other = make.patient(seen.examined_by)
    client.force_login(seen.examined_by)
    assert client.get(reverse("examinations:print", args=[other.case_number, seen.pk])).status_code == 404


def test_a_case_of_which_nothing_is_known_yet_prints_too(client, vet, patient):
    client.force_login(vet)

    _pdf, reader = pages(client, reverse("chart:print", args=[patient.case_number]))

    assert "No weight yet." in words_of(reader)

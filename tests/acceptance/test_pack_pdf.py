"""The printed pack, read back from outside: text and order, tags, pictures, the code, sizes, nothing cut off.

Sources: PDF 1.7 is ISO 32000-1:2008 (catalogue, 7.7.2; structure, 14.7; marked content, 14.8); PDF/UA-1 is
ISO 14289-1:2014, clause 5 (identification), 7.1 (title, language), 7.3 (alternative text): all from memory. A4 is
210 × 297 mm (ISO 216); Letter is 8.5 × 11 inches (ANSI/ASME Y14.1). One point is 1/72 inch. Reading back is done by
pypdf, by Poppler's pdftotext and pdftoppm, and by zxing-cpp for the code (ISO/IEC 18004).
These are checks that a file passes; they are no proof of conformance.
"""

import re
import subprocess
from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal
from io import BytesIO, StringIO
from itertools import pairwise
from urllib.parse import urlsplit

import pdfua
import pytest
import time_machine
import zxingcpp
from django.core.management import call_command
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from handover.packs.actions import make_pack, stamp_of
from handover.packs.charts import BARREL_LENGTH, BARREL_X, syringe_picture
from handover.packs.contents import Contents, Tip, Topic
from handover.packs.models import Pack
from handover.packs.pages import Stamp, context_of
from handover.packs.pdf import print_pdf
from handover.plans.actions import publish
from handover.protocols.actions import adopt_group
from handover.protocols.queries import advice_for
from hospital.admissions.models import TaxonGroup
from hospital.clock import now, today
from tests import make

POINTS = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "Letter": (8.5 * 72, 11 * 72)}
MARGIN = 15 / 25.4 * 72  # left and right, in points
MOST_PAGES = 20
ORDER = [
    "Dates at a glance", "Calendar", "The weeks after", "Day by day", "Time in water", "Medicines", "Phone now",
    "Phone today", "Clean and safe", "Home and food", "Emergency sheet", "Log",
]  # fmt: skip


MOMENT = make.at("2027-03-01 09:00")


@dataclass
class Made:
    """What the tests read of a pack that was made and rolled back again: making one takes seconds."""

    pack: Pack
    file: bytes
    paper: str
    pages: int
    case_number: str
    contents: Contents


@pytest.fixture(autouse=True)
def _on_that_day():
    with time_machine.travel(MOMENT, tick=False):
        yield


@pytest.fixture(scope="module")
def packs(django_db_setup, django_db_blocker):
    """The same pack on both papers, by paper."""
    with django_db_blocker.unblock(), time_machine.travel(MOMENT, tick=False), transaction.atomic():
        hospital = make.hospital()
        vet, carer = make.person("Vera Vet", hospital, "vet"), make.carer("Carl Carer", hospital)
        patient = turtle(hospital, vet, carer)
        made = {paper: rolled_back(patient, vet, paper) for paper in POINTS}
        transaction.set_rollback(True)
    return made


def turtle(hospital, vet, carer):
    """An operated pond turtle with graded water and a medicine, its plan published, at a carer's."""
    call_command("loadreference", stdout=StringIO())
    call_command("loadprotocols", stdout=StringIO())
    for group in ("animal", "reptile", "chelonian", "turtle-freshwater"):
        adopt_group(TaxonGroup.objects.get(pk=group), hospital=hospital, by=vet, at=now())
    patient = make.patient(vet, admitted_at=make.at("2027-02-20 10:00"), name="Bramble")
    about = {"done_on": today() - timedelta(3), "site": "right bridge", "surgeon": vet, "recorded_by": vet}
    operation = patient.procedures.create(kind="shell-repair", **about)
    patient.closures.create(procedure=operation, site="right bridge", closed_on=operation.done_on, material="nylon", count=4)
    patient.weights.create(weighed_at=now(), weight_g=Decimal(612), weighed_by=vet)
    patient.medication_orders.create(
        drug="meloxicam", dose_per_kg=Decimal("0.2"), strength_per_ml=Decimal("0.5"), weight_g=Decimal(612),
        dose_amount=Decimal("0.1224"), volume_ml=Decimal("0.24"), syringe_ml=Decimal(1), route="muscle", every_hours=12,
        doses=8, first_dose_at=now(), ordered_by=vet, ordered_at=now(),
    )  # fmt: skip
    make.placement(patient, carer)
    publish(patient, by=vet)
    return patient


def rolled_back(patient, vet, paper):
    with transaction.atomic():
        made = kept(make_pack(patient, by=vet, paper=paper))
        transaction.set_rollback(True)
    return made


def kept(pack):
    with pack.file.open("rb") as file:
        content = file.read()
    contents = Contents.from_json(pack.contents)
    return Made(pack, content, pack.paper, pack.pages, pack.patient.case_number, contents)


@pytest.fixture(params=list(POINTS))
def pack(request, packs):
    return packs[request.param]


@pytest.fixture
def a4(packs):
    return packs["A4"]


def read(made):
    return PdfReader(BytesIO(made.file))


def tool(name, *options, given):
    return subprocess.run([name, *options], input=given, capture_output=True, check=True).stdout


def pages_of(file):
    return tool("pdftotext", "-", "-", given=file).decode().split("\f")[:-1]


def words_of(file):
    """(page, width, height, word, left, top, right, bottom) of every word."""
    page, found = 0, []
    for line in tool("pdftotext", "-bbox", "-", "-", given=file).decode().splitlines():
        if size := re.search(r'<page width="([\d.]+)" height="([\d.]+)"', line):
            page, width, height = page + 1, *map(float, size.groups())
        elif word := re.search(r'xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*)</word>', line):
            found.append((page, width, height, word[5], *map(float, word.groups()[:4])))
    return found


def elements(reader):
    """Every structure element, in reading order."""

    def walk(node):
        if hasattr(node, "get_object"):
            node = node.get_object()
        if isinstance(node, list):
            for kid in node:
                yield from walk(kid)
        elif isinstance(node, dict):
            if "/S" in node:
                yield node
            if "/K" in node:
                yield from walk(node["/K"])

    return list(walk(reader.trailer["/Root"]["/StructTreeRoot"]["/K"]))


# --- text ---------------------------------------------------------------------------------------------------------


def test_the_parts_come_in_their_order(a4):
    text = "\n".join(pages_of(a4.file)[1:])  # after the cover, which lists them
    places = [re.search(rf"^{title}\b", text, re.M) for title in ORDER[1:]]

    assert all(places), [title for title, place in zip(ORDER[1:], places, strict=True) if not place]
    assert [place.start() for place in places] == sorted(place.start() for place in places)


def test_the_reading_order_of_the_tags_is_that_of_the_pages(a4):
    headings = [e for e in elements(read(a4)) if e["/S"] in ("/H1", "/H2")]

    assert headings[0]["/S"] == "/H1"
    assert [e["/S"] for e in headings].count("/H1") == 1
    assert len(headings) >= len(ORDER)


def test_the_cover_is_one_page_and_says_who_when_and_whom_to_phone(pack):
    pages = pages_of(pack.file)
    cover = " ".join(pages[0].replace("\xa0", " ").split())

    for words in ("Bramble", "European pond turtle", pack.case_number, "Carl Carer", "01632 960001",
                  "01632 960002", "This is pack 1.", "Throw away older packs.", "Made 1 March 2027", "Good until"):  # fmt: skip
        assert words in cover
    assert re.search(r"^Calendar", pages[1], re.M)


def test_every_page_has_the_phones_the_case_number_and_its_own_number(pack):
    pages = pages_of(pack.file)

    for number, page in enumerate(pages, 1):
        page = page.replace("\xa0", " ")
        assert "01632 960001" in page
        assert "01632 960002" in page
        assert pack.case_number in page
        assert f"Page {number} of {len(pages)}" in page
    assert pack.pages == len(pages) <= MOST_PAGES


def test_the_medicine_page_carries_the_whole_medication_line(a4):
    """The habits of the ISMP's list of error-prone dose writing: leading zero, mL, no Latin, name in full."""
    page = " ".join(next(p for p in pages_of(a4.file) if p.find("draw up") > 0).replace("\xa0", " ").split())

    line = "meloxicam; 0.5 mg per mL; DOSE 122.4 micrograms; draw up 0.24 mL"
    assert line in page
    assert "every 12 hours; 8 doses in all" in page


# --- tags ---------------------------------------------------------------------------------------------------------


def test_the_file_says_what_it_is(a4):
    reader = read(a4)
    root = reader.trailer["/Root"]

    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-gb"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == f"Care pack 1: Bramble, case number {a4.case_number}"
    assert re.search(rb"pdfuaid:part(>|=\")1\b", root["/Metadata"].get_object().get_data())


def test_every_picture_is_described(a4):
    figures = [e for e in elements(read(a4)) if e["/S"] == "/Figure"]
    told = [str(e.get("/Alt", "")) for e in figures]

    assert len(figures) == 4  # the code, the bowls, the syringe, the syringe in life size
    assert all(len(words) > 20 for words in told), told


def test_tables_have_heads_and_cells_name_them(a4):
    found = elements(read(a4))
    heads = {str(e["/ID"]) for e in found if e["/S"] == "/TH" and "/ID" in e}
    cells = [e for e in found if e["/S"] == "/TD" and e.get("/A", {}).get("/Headers")]

    assert heads
    assert len(cells) > 50


def test_qpdf_finds_the_file_whole(a4, tmp_path):
    path = tmp_path / "pack.pdf"
    path.write_bytes(a4.file)

    assert b"No syntax or stream encoding errors" in tool("qpdf", "--check", str(path), given=b"")


# --- look ---------------------------------------------------------------------------------------------------------


def test_the_paper_has_the_size_that_was_asked_for(pack):
    for page in read(pack).pages:
        size = float(page.mediabox.width), float(page.mediabox.height)

        assert size == pytest.approx(POINTS[pack.paper], abs=0.5)


def test_no_word_is_cut_off_at_the_edge(pack):
    """The running head and foot lie in the margins above and below, nothing lies in those at the sides."""
    words = words_of(pack.file)
    outside = [w for w in words if w[4] < MARGIN - 1 or w[6] > w[1] - MARGIN + 1 or w[5] < 10 or w[7] > w[2] - 10]

    assert len(words) > 1500
    assert outside == []


def test_no_text_is_smaller_than_the_twelve_points_of_the_running_foot(pack):
    """Clear print asks for at least 12 point (UKAAF G003; RNIB). Poppler's boxes grow with the size of the type."""
    words = words_of(pack.file)
    height = {w[3]: w[7] - w[5] for w in words if w[0] == 1 and w[5] > w[2] - 60}
    least = min(height["Page"], height["pack"])

    assert {w[3] for w in words if w[7] - w[5] < 0.98 * least} == set()


def test_a_hand_can_write_on_every_line_of_the_log_sheets(pack):
    """Lines 8 mm apart or more, as ruled paper has them (common practice, no source)."""
    labels = [w for w in words_of(pack.file) if w[3] in ("Ate", "Droppings", "Bandage", "Medicine", "Worries") and w[0] > pack.pages - 3]
    labels = sorted((w[0], w[5]) for w in labels)
    steps = [below - above for (page, above), (next_page, below) in pairwise(labels) if page == next_page]

    assert len(labels) == 14 * 3 + 4  # four days have a line for the medicine
    assert min(steps) >= 8 / 25.4 * 72


def test_the_emergency_sheet_is_one_page(pack):
    """It is pulled out and hung up; the longest one there is has water and a medicine."""
    (sheet,) = [page for page in pages_of(pack.file) if re.search(r"^Emergency sheet\b", page, re.M) and "pull this page out" in page]

    assert "In water it lists" in sheet
    assert "Too much medicine" in sheet
    assert "It has died" in sheet


def test_every_day_of_two_weeks_has_its_place_on_a_log_sheet(a4):
    text = "\n".join(page for page in pages_of(a4.file) if re.search(r"^Log\b", page, re.M))

    assert [text.count(label) for label in ("Ate", "Droppings", "Worries")] == [14, 14, 14]
    assert text.count("meloxicam 0.24 mL") == 4  # eight doses, twelve hours apart, from nine in the morning on
    assert text.count("of 30 min") + text.count("none today") >= 1


def test_a_heading_is_never_the_last_thing_on_its_page(pack):
    headings = {"Handling", "Food and water", "Where it lives", "What people can catch", "Keep clean, keep safe", "This is normal"}
    for page in pages_of(pack.file):
        lines = [line.strip() for line in page.splitlines() if line.strip()]

        assert not headings & set(lines[-4:])  # the running foot takes two lines, the last but one of the text is no heading


@pytest.mark.parametrize("paper", list(POINTS))
def test_the_code_on_the_cover_leads_to_the_animals_log(client, hospital, vet, carer, paper):
    made = kept(make_pack(turtle(hospital, vet, carer), by=vet, paper=paper))
    picture = tool("pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-png", "-", given=made.file)
    (code,) = zxingcpp.read_barcodes(Image.open(BytesIO(picture)))
    client.force_login(carer.person)

    answer = client.get(urlsplit(code.text).path, follow=True)

    assert answer.redirect_chain[-1][0] == reverse("logs:day", args=[made.case_number])
    assert answer.status_code == 200


def test_the_stopper_of_the_syringe_stands_at_the_mark(a4):
    """0.24 mL in a 1 mL syringe: the stopper is 24 hundredths of the barrel from its tip (arithmetic)."""
    drawn = syringe_picture(a4.contents.medicines[0])

    assert (drawn.mark_x - BARREL_X) / BARREL_LENGTH == pytest.approx(0.24, abs=0.0005)
    assert [tick.text for tick in drawn.ticks if tick.text] == ["0", *(f"0.{n}" for n in range(1, 10)), "1"]
    assert len(drawn.ticks) == 101


# --- every group of animals ---------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_every_group_of_the_library_can_be_printed(a4):
    call_command("loadreference", stdout=StringIO())
    call_command("loadprotocols", stdout=StringIO())
    groups, trouble = list(TaxonGroup.objects.order_by("pk")), {}
    for number, group in enumerate(groups):
        file = print_pdf(_html(a4, _advice(group)), paper=list(POINTS)[number % 2]).file
        words = words_of(file)
        sides = [w[3] for w in words if w[4] < MARGIN - 1 or w[6] > w[1] - MARGIN + 1]
        if sides or words[-1][0] > MOST_PAGES:
            trouble[group.pk] = sides or words[-1][0]

    assert len(groups) > 25
    assert trouble == {}


def _html(made, advice):
    context = context_of(replace(made.contents, advice=advice), stamp_of(made.pack))
    return render_to_string("packs/document.html", context | {"photo_url": ""})


def _advice(group):
    topics = {}
    for row in advice_for(group.lineage()):
        topics.setdefault(row.topic, (str(row.get_topic_display()), []))[1].append(Tip(row.text, row.icon))
    return tuple(Topic(slug, label, tuple(tips)) for slug, (label, tips) in topics.items())


def test_the_tags_pass_the_rules_of_an_independent_checker(a4, tmp_path):
    """pdfua checks some of the rules of the Matterhorn Protocol; passing them is no proof of conformance."""
    (tmp_path / "pack.pdf").write_bytes(a4.file)

    report = pdfua.validate(str(tmp_path / "pack.pdf"))

    assert [str(finding) for finding in report.findings if finding.severity == pdfua.Severity.ERROR] == []


def test_sentences_of_large_print_have_eighteen_points(a4):
    """18 point is what RNIB's clear print guidance calls large print at the least (from memory: 16 to 18)."""
    stamp = Stamp(1, now(), "Vera Vet", "https://example.org/a/1/", print_size="large")
    html = render_to_string("packs/document.html", context_of(a4.contents, stamp))
    large = print_pdf(html, paper="A4", print_size="large")
    on = next(n for n, text in enumerate(pages_of(large.file), 1) if "Until we answer" in text)
    height = next(w[7] - w[5] for w in words_of(large.file) if w[0] == on and w[3] == "Until")

    assert height >= 18 * 1.29  # a line of this face is 1.3 of its points
    assert {w[3] for w in words_of(large.file) if w[4] < 10 or w[6] > w[1] - 10} == set()

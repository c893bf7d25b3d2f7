"""What carers read, in Spanish, French and German: nothing is missing, nothing is mixed in silence, figures stay right.

Dates, months and decimal marks are held against the Unicode CLDR by way of babel; the compiled catalogues against babel's
own compiler.
"""

import re
from datetime import date
from decimal import Decimal

import pytest
import time_machine
from babel.dates import format_date
from babel.numbers import format_decimal
from django.urls import reverse
from django.utils import translation

from handover.packs.actions import doubt_about_dates, make_pack
from handover.packs.contents import Contents
from handover.plans.actions import publish
from hospital import words
from hospital.admissions.reference import FOLDER, read_toml
from hospital.rules.wording import Unit, quantity
from tests import catalogues, make

MARK = re.compile(r"%\(\w+\)[sd]|%%s|</?(?:strong|span|a)\b|%%(?!s)")


# --- the catalogues -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_no_message_that_a_carer_meets_lacks_its_translation(language):
    assert catalogues.missing(language) == []


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_a_translation_keeps_every_placeholder(language):
    wrong = []
    for message in catalogues.catalogue(language):
        one = message.id if isinstance(message.id, str) else message.id[-1]
        said = [message.string] if isinstance(message.string, str) else [message.string[-1]]
        wrong += [one for text in said if one and sorted(MARK.findall(one)) != sorted(MARK.findall(text))]

    assert wrong == []


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_the_compiled_catalogue_is_that_of_the_text(language):
    assert (catalogues.folder(language) / "django.mo").read_bytes() == catalogues.compiled(language)


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_advice_events_and_water_rules_are_said_in_full(language):
    events = read_toml(FOLDER / "events.toml")
    lines = [row["text"] for row in read_toml(FOLDER / "advice.toml")["advice"]]
    lines += [row[part] for table in ("event", "routine") for row in events[table] for part in ("label", "what", "bring") if row.get(part)]
    lines += [row["instruction"] for row in read_toml(FOLDER / "water_protocols.toml")["water"]]

    assert [line for line in lines if line not in words.lines(language)] == []


# --- days and figures ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_a_long_date_is_that_of_the_cldr(language):
    with translation.override(language):
        written = [words.dated(date(2027, month, 5), "l j F Y") for month in range(1, 13)]

    assert [text.lower() for text in written] == [format_date(date(2027, m, 5), "full", language).lower() for m in range(1, 13)]


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_a_volume_has_the_decimal_comma_and_keeps_its_unit(language):
    with translation.override(language):
        written = quantity(Decimal("0.24"), Unit.ML, words.tongue())

    assert written == format_decimal(Decimal("0.24"), locale=language) + "\N{NO-BREAK SPACE}mL"


def test_micrograms_and_units_are_never_shortened():
    said = []
    for language in catalogues.LANGUAGES:
        with translation.override(language):
            said += [quantity(Decimal(150), unit, words.tongue()) for unit in (Unit.MICROGRAM, Unit.UNIT)]

    assert [text.partition("\N{NO-BREAK SPACE}")[2] for text in said] == [
        "Mikrogramm", "Einheiten", "microgramos", "unidades", "microgrammes", "unités",
    ]  # fmt: skip


def test_a_line_without_translation_stays_english_and_says_so():
    with translation.override("de"):
        said = [words.said(text) for text in ("Only the vet wrote this.", "left wing, 70 mm", "left wing, hook")]

    assert said == ["[EN] Only the vet wrote this.", "linker Flügel, 70 mm", "[EN] left wing, hook"]


# --- packs and pages ----------------------------------------------------------------------------------------------


@pytest.fixture
def turtle(adopted, vet, carer):
    with time_machine.travel(make.at("2027-03-01 09:00"), tick=False):
        patient = make.patient(vet, name="Bramble", admitted_at=make.at("2027-02-20 10:00"))
        operation = patient.procedures.create(
            kind="limb-fixation", done_on=date(2027, 2, 26), site="left hind limb", surgeon=vet, recorded_by=vet
        )
        patient.closures.create(
            procedure=operation, site="left hind limb", closed_on=operation.done_on, material="nylon", count=6
        )
        make.placement(patient, carer)
        publish(patient, by=vet)
        yield patient


@pytest.mark.parametrize("language", catalogues.LANGUAGES)
def test_a_pack_is_made_in_the_language_and_holds_no_english_message(client, turtle, vet, language):
    pack = make_pack(turtle, by=vet, paper="A4", language=language)
    client.force_login(vet)
    page = client.get(reverse("packs:page", args=[turtle.case_number, pack.version])).content.decode()
    said = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.partition("<main")[2]))
    catalogue = catalogues.catalogue(language)
    long = [key[0] for key in catalogues.wanted() if len(key[0]) > 12 and "%" not in key[0] and "<" not in key[0]]

    assert (pack.language, Contents.from_json(pack.contents).language) == (language, language)
    assert f'<html lang="{language}"' in page
    assert [text for text in long if text in said and catalogue[text].string != text] == []
    assert catalogue["Translated by us, not reviewed by a clinician."].string in said


def test_a_pack_in_another_language_tells_no_change_where_only_the_words_differ(turtle, vet):
    make_pack(turtle, by=vet, paper="A4")

    contents = Contents.from_json(make_pack(turtle, by=vet, paper="A4", language="fr").contents)

    assert contents.has_pack_before
    assert contents.changes == ()


def test_dates_that_todays_facts_would_move_are_printed_only_knowingly(client, turtle, vet):
    turtle.closures.update(closed_on=date(2027, 2, 28))
    client.force_login(vet)
    doubt = doubt_about_dates(turtle)
    sent = {"paper": "A4", "print_size": "usual", "language": "en-gb"}

    silent = client.post(reverse("packs:make", args=[turtle.case_number]), sent)
    knowing = client.post(reverse("packs:make", args=[turtle.case_number]), sent | {"dates_differ": "on"})

    assert doubt.startswith("By today’s facts")
    assert (silent.status_code, knowing.status_code) == (422, 302)
    assert silent.context["form"].errors == {"dates_differ": [doubt]}


def test_a_carer_chooses_a_language_and_staff_stay_with_english(client, carer, vet, hospital):
    answers = {}
    for person in (carer.person, vet):
        client.force_login(person)
        client.post(reverse("people:choose-language"), {"language": "de", "next": "/"})
        answers[person] = client.get(reverse("people:reading"))

    assert answers[carer.person]["Content-Language"] == "de"
    assert "Wie ich lese" in answers[carer.person].content.decode()
    assert answers[vet]["Content-Language"] == "en-gb"
    assert "How I read" in answers[vet].content.decode()


def test_what_a_carer_likes_is_offered_when_the_next_pack_is_made(client, turtle, carer, vet):
    client.force_login(carer.person)
    client.post(reverse("people:reading"), {"language": "es", "paper": "Letter", "print_size": "large"})
    client.force_login(vet)

    form = client.get(reverse("packs:pack", args=[turtle.case_number])).context["form"]

    assert form.initial == {"language": "es", "paper": "Letter", "print_size": "large"}


def test_an_unknown_language_changes_nothing(client, carer):
    client.force_login(carer.person)

    client.post(reverse("people:choose-language"), {"language": "xx"})
    carer.person.refresh_from_db()

    assert carer.person.language == ""

"""What people may expect of every page, point by point; each point is checked here or in the test that is named for it.

The points rest on published guidance: WCAG 2.2 (W3C), the GOV.UK and NHS design systems, USWDS, RNIB clear print.
"""

import importlib
import pkgutil
import re
from pathlib import Path

import pytest
from django import forms

import handover
import hospital

ROOT = Path(__file__).resolve().parents[2]
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
CSS = (ROOT / "hospital" / "static" / "hospital" / "base.css").read_text()
HERE = "tests/web/test_interface.py"
POINTS = {
    "no sideways scrolling, every page": "tests/browser/test_access.py::test_no_page_of_the_staff_breaks_wcag_or_scrolls_sideways",
    "large controls for carers": "tests/browser/test_twenty_seconds.py::test_every_control_of_the_day_is_large_enough_for_a_wet_finger",
    "no task needs dragging or hover": f"{HERE}::test_nothing_is_reached_by_hover_or_long_press_alone",
    "the usual day in few taps": "tests/browser/test_twenty_seconds.py::test_the_usual_day_is_logged_in_at_most_five_taps_after_opening",
    "numbers without spinners": f"{HERE}::test_a_number_is_typed_with_the_number_keys_and_has_no_spinner",
    "works without scripts": (
        "tests/browser/test_twenty_seconds.py::test_without_scripts_the_usual_day_is_a_link_and_the_times_are_typed"
    ),
    "small style sheet": "tests/web/test_look.py::test_the_style_sheet_is_small",
    "nothing lost without signal": "tests/browser/test_offline.py::test_a_report_written_without_signal_arrives_once_when_there_is_signal",
    "mistakes: summary, links, title, words kept": "tests/web/test_paper.py::test_a_mistake_in_one_box_stores_nothing_and_loses_nothing",
    "no judging while somebody types": f"{HERE}::test_no_form_is_judged_by_the_browser",
    "mistakes say what to do": f"{HERE}::test_no_empty_box_is_told_only_that_it_is_required",
    "optional is said, no asterisks": "tests/web/test_look.py::test_only_a_field_that_may_stay_empty_says_optional",
    "tables have captions and scopes": f"{HERE}::test_a_table_has_a_caption_and_its_heads_say_what_they_head",
    "no button is disabled": f"{HERE}::test_no_button_is_disabled",
    "pressing twice stores once": "tests/web/test_paper.py::test_the_same_sheet_sent_twice_is_stored_once",
    "help in the same place": f"{HERE}::test_help_and_phone_stand_on_every_kind_of_page",
    "large enough type": f"{HERE}::test_text_is_never_small",
    "never colour alone; contrast": "tests/web/test_look.py::test_text_and_marks_stand_out_from_every_ground",
    "contrast, forced colours and night are respected": f"{HERE}::test_the_readers_own_colours_are_respected",
    "words for an 11-year-old": "tests/domain/test_reading_age.py::test_a_group_of_words_is_read_at_eleven",
    "pictures beside words": "tests/domain/test_flags.py::test_every_flag_has_a_picture_that_needs_no_colour",
    "the page says its language": f"{HERE}::test_every_kind_of_page_says_its_language",
}
KINDS_OF_PAGE = ["base.html", "base_carer.html"]


@pytest.mark.parametrize("point", sorted(POINTS))
def test_the_test_that_is_named_for_a_point_is_there(point):
    file, _, name = POINTS[point].partition("::")

    assert f"def {name}(" in (ROOT / file).read_text()


def forms_of_the_project() -> list[type[forms.BaseForm]]:
    for package in (hospital, handover):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if "forms" in module.name.rsplit(".", 1)[-1]:
                importlib.import_module(module.name)
    waiting, found = [forms.BaseForm], []
    while waiting:
        below = waiting.pop().__subclasses__()
        waiting += below
        found += [each for each in below if each.__module__.startswith(("hospital.", "handover."))]
    return found


def test_a_number_is_typed_with_the_number_keys_and_has_no_spinner():
    class Weigh(forms.Form):
        grams = forms.DecimalField(initial=12)
        times = forms.IntegerField(widget=forms.NumberInput(attrs={"inputmode": "numeric"}))

    html = str(Weigh())

    assert 'type="number"' not in html
    assert 'type="text" name="grams" value="12" inputmode="decimal"' in html
    assert html.count("inputmode=") == 2
    assert not [file.name for file in TEMPLATES if 'type="number"' in file.read_text()]


def test_no_empty_box_is_told_only_that_it_is_required():
    """GOV.UK, error messages: never "This field is required", which does not say what to do."""
    asked = [(form, name, field) for form in forms_of_the_project() for name, field in form.base_fields.items() if field.required]

    told = {f"{form.__name__}.{name}": str(field.error_messages["required"]) for form, name, field in asked}

    assert len(told) > 100
    assert {where for where, words in told.items() if "is required" in words or "invalid" in words.lower()} == set()


def test_no_form_is_judged_by_the_browser():
    """GOV.UK, validation: the server judges, in words of ours. A form in which something is typed and posted says so."""
    opening = r"<form\b[^>]*method=\"post\"[^>]*>(?:(?!</form>).)*?(?:as_field_group|<input(?![^>]*hidden)|<textarea)"

    for file in TEMPLATES:
        for found in re.findall(opening, file.read_text(), re.S):
            head = found[: found.index(">")]
            assert "novalidate" in head or "required" not in found, file.name
    assert not [file.name for file in TEMPLATES if re.search(r'hx-trigger="[^"]*\b(blur|keyup)\b', file.read_text())]


def test_a_table_has_a_caption_and_its_heads_say_what_they_head():
    """On screens; a printed sheet has its title above the table and repeats it on every page."""
    for file in TEMPLATES:
        text = file.read_text()
        if "packs" in file.parts or file.name.startswith(("print", "day_sheet")) or "base_print" in text:
            continue
        assert text.count("<table") == text.count("<caption"), file.name
        assert not re.search(r"<th(?![^>]*\bscope=)[\s>]", text), file.name


def test_no_button_is_disabled():
    assert not [file.name for file in TEMPLATES if re.search(r"<button[^>]*\sdisabled\b", file.read_text())]


def test_nothing_is_reached_by_hover_or_long_press_alone():
    """WCAG 2.2, SC 2.5.7 and 1.4.13: a rule of the style sheet for :hover changes how a thing looks, never whether it is there."""
    rules = re.findall(r":hover[^{]*\{([^}]*)\}", CSS)

    assert rules
    assert not [rule for rule in rules if re.search(r"\b(display|visibility|content|clip-path)\s*:", rule)]


@pytest.mark.parametrize("name", KINDS_OF_PAGE)
def test_help_and_phone_stand_on_every_kind_of_page(name):
    """WCAG 2.2, SC 3.2.6: in the same place, here the foot of the page, and a way to it in its head."""
    text = (ROOT / "templates" / name).read_text()

    assert text.index('href="#help"') < text.index('id="main"') < text.index('include "_phone_box.html"')


@pytest.mark.parametrize("name", KINDS_OF_PAGE)
def test_every_kind_of_page_says_its_language(name):
    assert re.search(r'<html lang="\{% get_current_language', (ROOT / "templates" / name).read_text())


def test_text_is_never_small():
    """19 px for the body and 16 px for the smallest text (GOV.UK type scale); more for carers."""
    sizes = [float(rem) * 16 for rem in re.findall(r"--text(?:-small|-table)?:\s*([\d.]+)rem", CSS)]

    assert min(sizes) >= 16
    assert sizes[0] >= 19


def test_the_readers_own_colours_are_respected():
    for question in ("prefers-color-scheme: dark", "prefers-contrast: more", "forced-colors: active", "prefers-reduced-motion"):
        assert f"({question}" in CSS

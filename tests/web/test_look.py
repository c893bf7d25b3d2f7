"""The shared look: readable colours, no inline script or style, unchanged vendored files, a sound outline."""

import gzip
import hashlib
import json
import re
from itertools import pairwise
from pathlib import Path

import pytest
from django import forms
from django.template import engines
from django.template.loader import get_template, render_to_string

ROOT = Path(__file__).resolve().parents[2]
STATIC = ROOT / "hospital" / "static"
TEMPLATES = sorted((ROOT / "templates").rglob("*.html"))
BASE_CSS = (STATIC / "hospital" / "base.css").read_text()


def tokens(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+):\s*(#[0-9a-f]{3,6})\b", block))


def themes() -> dict[str, dict[str, str]]:
    """The colours of each theme, read from the style sheet: light, and dark on top of light."""
    light, rest = BASE_CSS.split("@media (prefers-color-scheme: dark)", 1)
    dark = rest.split("@media", 1)[0]
    return {"light": tokens(light), "dark": tokens(light) | tokens(dark)}


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (sRGB, gamma 2.4)."""
    digits = colour.lstrip("#")
    digits = digits if len(digits) == 6 else "".join(d * 2 for d in digits)
    shares = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
    return sum(weight * share for weight, share in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_formula_agrees_with_published_ratios():
    """WCAG 2.2: black on white is 21:1. #767676 is the lightest grey to meet 4.5:1 on white (from memory)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#fff") >= 4.5 > contrast("#777777", "#fff")


# WCAG 2.2 SC 1.4.3 (text 4.5:1) and SC 1.4.11 (controls and graph marks 3:1)
GROUNDS = ["paper", "surface", "sunk", "reed-wash", "tide-wash", "alert-wash"]


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("ground", GROUNDS)
def test_text_and_marks_stand_out_from_every_ground(theme, ground):
    colours = themes()[theme]

    for text in ("ink", "muted", "tide"):
        assert contrast(colours[text], colours[ground]) >= 4.5, text
    for mark in ("edge", "reed", "tide", "alert"):
        assert contrast(colours[mark], colours[ground]) >= 3, mark


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_stands_out_on_filled_blocks(theme):
    colours = themes()[theme]

    assert contrast(colours["on-colour"], colours["reed"]) >= 4.5
    assert contrast(colours["on-colour"], colours["alert"]) >= 4.5
    assert contrast(colours["on-band-soft"], colours["band"]) >= 4.5


def test_the_style_sheet_is_small():
    assert len(gzip.compress(BASE_CSS.encode())) <= 25_000


@pytest.mark.parametrize("file", TEMPLATES, ids=lambda file: str(file.relative_to(ROOT)))
def test_no_template_has_inline_script_or_style(file):
    inline = r"<style\b|<script(?![^>]*\bsrc=)|\sstyle\s*=|\son[a-z]+\s*=\s*[\"']|javascript:"

    assert not re.search(inline, file.read_text())


def test_every_part_that_a_template_includes_by_name_exists():
    included = r'{% include "([^"]+)"'

    for name in sorted({name for file in TEMPLATES for name in re.findall(included, file.read_text())}):
        get_template(name)


@pytest.mark.parametrize("name", ["400.html", "403.html", "404.html", "500.html"])
def test_an_error_page_needs_no_context(name):
    page = engines["django"].get_template(name).render()

    assert page.count("<h1>") == 1
    assert 'href="#main"' in page


class WeighForm(forms.Form):
    weight_g = forms.DecimalField(label="Weight", help_text="Without the bandage")
    note = forms.CharField(label="Note", required=False)
    state = forms.ChoiceField(choices=[("dry", "Dry"), ("wet", "Wet")], widget=forms.RadioSelect)


def test_a_field_ties_its_hint_and_its_mistake_to_the_box():
    form = WeighForm({"weight_g": "heavy", "state": "dry"})
    form.fields["weight_g"].unit = "g"

    html = form["weight_g"].as_field_group()

    assert 'aria-describedby="id_weight_g_helptext id_weight_g_error"' in html
    assert 'id="id_weight_g_helptext"' in html
    assert 'id="id_weight_g_error"' in html
    assert 'aria-invalid="true"' in html
    assert ">g</span>" in html


def test_only_a_field_that_may_stay_empty_says_optional():
    form = WeighForm()

    assert "(optional)" in form["note"].as_field_group()
    assert "(optional)" not in form["weight_g"].as_field_group()


def test_the_error_summary_links_to_the_box_or_to_the_first_choice():
    html = render_to_string("_error_summary.html", {"form": WeighForm({})})

    assert 'href="#id_weight_g"' in html
    assert 'href="#id_state_0"' in html
    assert render_to_string("_error_summary.html", {"form": WeighForm()}).strip() == ""


def test_vendored_files_are_as_published():
    vendor = STATIC / "vendor"
    manifest = vendor / "MANIFEST.sha256"

    files = [file for file in sorted(vendor.rglob("*")) if file.is_file() and file != manifest]
    lines = [f"{hashlib.sha256(f.read_bytes()).hexdigest()}  {f.relative_to(vendor)}" for f in files]

    assert sorted(lines) == sorted(manifest.read_text().splitlines())


def outline() -> list[dict]:
    return json.loads((ROOT / "fixtures" / "demo" / "estuary_outline.geojson").read_text())["features"]


def rings() -> list[list[list[float]]]:
    return [f["geometry"]["coordinates"][0] for f in outline() if f["geometry"]["type"] == "Polygon"]


def test_land_is_closed_and_counter_clockwise_as_rfc_7946_asks():
    """RFC 7946, 3.1.6: first and last position are the same; an exterior ring runs counter-clockwise."""
    for ring in rings():
        assert ring[0] == ring[-1]
        assert sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairwise(ring)) > 0


def is_inside(point: list[float], ring: list[list[float]]) -> bool:
    """Even-odd rule."""
    x, y = point
    sides = [(a, b) for a, b in pairwise(ring) if (a[1] > y) != (b[1] > y)]
    crossed = [x < (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]) + a[0] for a, b in sides]
    return sum(crossed) % 2 == 1


def test_every_named_place_lies_on_land():
    places = [f["geometry"]["coordinates"] for f in outline() if f["geometry"]["type"] == "Point"]

    assert places
    assert [place for place in places if not any(is_inside(place, ring) for ring in rings())] == []

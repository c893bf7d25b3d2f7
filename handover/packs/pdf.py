"""HTML → a tagged PDF. The only module that knows WeasyPrint, which is loaded when the first pack is made."""

from __future__ import annotations

import atexit
import gc
import io
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import gettext, gettext_noop

from hospital.press import PRESS

PAPERS = {"A4": "A4", "Letter": "letter; margin-top: 18mm; margin-bottom: 15mm"}  # Letter is 18 mm shorter
STATIC = tuple((settings.BASE_DIR / app / "static").resolve() for app in ("hospital", "handover"))
ICONS = settings.BASE_DIR / "templates" / "icons"
FLAGS = settings.BASE_DIR / "templates" / "flags"
STYLES = settings.BASE_DIR / "hospital" / "static" / "hospital"
ICON_SCHEME = "icon"  # icon:drop in a style sheet is templates/icons/_drop.html
WIDE = {"A4": "A4 landscape", "Letter": "letter landscape"}  # log sheets in large print
LEAST_LARGE_PT = 18
PAGE_OF = gettext_noop("Page %(page)s of %(pages)s")
WHITE = "-white"
TICK = "-tick"
PHOTO_URL = "photo:patient"


@dataclass(frozen=True, slots=True)
class Printed:
    """A finished file and how many pages it has."""

    file: bytes
    pages: int


def print_pdf(html: str, *, paper: str, print_size: str = "usual", photo: bytes = b"") -> Printed:
    """Set the document on this paper. The same input gives the same bytes.

    PDF/UA-1 is what the file says of itself; it passes the checks of tests/acceptance/test_pack_pdf.py. Nothing is
    fetched but our own static files, icons, and `photo` where the document names PHOTO_URL; anything else raises.
    """
    weasyprint, target = _weasyprint(), io.BytesIO()
    fetcher = _fetcher({PHOTO_URL: photo} if photo else {})
    with PRESS, _without_collecting():
        fonts, sheets = _type(paper, print_size, gettext(PAGE_OF))
        document = weasyprint.HTML(string=_icons_behind(html), url_fetcher=fetcher).render(font_config=fonts, stylesheets=sheets)
        document.write_pdf(target, pdf_variant="pdf/ua-1")
    return Printed(target.getvalue(), len(document.pages))


@cache
def _type(paper: str, print_size: str, page_of: str) -> tuple[Any, list]:
    """Fonts unpacked and styles read, once for each paper, print and language: a quarter of the time that a pack takes."""
    weasyprint = _weasyprint()
    from weasyprint.text.fonts import FontConfiguration

    atexit.register(_type.cache_clear)  # while the library that fonts are given back to is still there
    fetcher, fonts = _fetcher({}), FontConfiguration()
    own = f"@page {{ size: {PAPERS[paper]}; {_foot(page_of)} }}\n@page wide {{ size: {WIDE[paper]} }}\n{_icon_rules()}"
    texts = [_sheet(name, print_size) for name in ("fonts.css", "pack.css")] + [own]
    if print_size == "large":
        texts.insert(2, _sheet("pack_large.css", "usual"))
    base = (STYLES / "pack.css").as_uri()
    return fonts, [weasyprint.CSS(string=text, base_url=base, url_fetcher=fetcher, font_config=fonts) for text in texts]


def _sheet(name: str, print_size: str) -> str:
    """A style sheet of ours; for large print nothing in it stays smaller than 18 points."""
    text = (STYLES / name).read_text(encoding="utf-8")
    return re.sub(r"font-size: ([\d.]+)pt", _enlarged, text) if print_size == "large" else text


def _enlarged(size: re.Match) -> str:
    points = float(size[1])
    return f"font-size: {max(LEAST_LARGE_PT, points + 3 if points < LEAST_LARGE_PT + 3 else points):g}pt"


def _foot(page_of: str) -> str:
    """The number of each page, in the words of the pack."""
    before, between, after = (part.replace('"', "") for part in page_of.replace("%(pages)s", "%(page)s").split("%(page)s"))
    return f'@bottom-right {{ content: "{before}" counter(page) "{between}" counter(pages) "{after}" }}'


@contextmanager
def _without_collecting() -> Iterator[None]:
    """A pack makes a hundred thousand boxes that all live until it is done: looking through them for garbage is waste."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


# --- what may be fetched ------------------------------------------------------------------------------------------


def _weasyprint() -> Any:
    """WeasyPrint, imported when first needed: it takes a second.

    It tells Pillow to accept images that were cut off, for the whole process; hospital.pictures refuses those, so that
    is taken back.
    """
    import weasyprint
    from PIL import ImageFile

    ImageFile.LOAD_TRUNCATED_IMAGES = False
    return weasyprint


def _fetcher(given: Mapping[str, bytes]) -> Any:
    """A WeasyPrint fetcher that answers only what is ours; a refusal stops the printing instead of leaving a hole."""
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class OurFilesOnly(URLFetcher):
        def fetch(self, url: str, headers: dict | None = None) -> URLFetcherResponse:
            found = given.get(url) or our_file(url)
            if found is None:
                raise FatalURLFetchingError(f"A pack may not fetch {url}")
            kind = {"Content-Type": "image/svg+xml"} if url.endswith(".svg") or _is_icon(url) else {}
            return URLFetcherResponse(url, found, kind)

    return OurFilesOnly()


def our_file(url: str) -> bytes | None:
    """The content of an icon or of a file below our static folders; None for every other address."""
    if _is_icon(url):
        return _icon(url.partition(":")[2])
    parts = urlsplit(url)
    if parts.scheme != "file" or parts.netloc:
        return None
    path = Path(unquote(parts.path)).resolve()
    is_ours = any(path.is_relative_to(folder) for folder in STATIC) and path.is_file()
    return path.read_bytes() if is_ours else None


def _is_icon(url: str) -> bool:
    return url.startswith(f"{ICON_SCHEME}:")


# --- icons --------------------------------------------------------------------------------------------------------


def _icons_behind(html: str) -> str:
    """The document with every icon as a background: a tagged file would ask for a description of each drawing in it."""
    for name, drawn in _icons().items():
        html = html.replace(drawn, f'<span class="icon icon-{name}"></span>')
    return html


@cache
def _icons() -> dict[str, str]:
    """By name: the drawing as the templates include it."""
    icons = {file.stem.removeprefix("_"): render_to_string(f"icons/{file.name}") for file in sorted(ICONS.glob("_*.html"))}
    return icons | {f"flag{file.stem}": render_to_string(f"flags/{file.name}") for file in sorted(FLAGS.glob("_*.html"))}


@cache
def _icon(name: str) -> bytes | None:
    """An icon as a picture of its own; "drop-white" is the same one for a black ground, "drop-tick" has a box before it."""
    drawn = _icons().get(name.removesuffix(WHITE).removesuffix(TICK))
    if drawn is None:
        return None
    colour = "#fff" if name.endswith(WHITE) else "#000"
    drawn = drawn.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1).replace("currentColor", colour)
    if name.endswith(TICK):
        drawn = drawn.replace('viewBox="0 0 24 24"', 'viewBox="-34 0 58 24"').replace('width="24"', 'width="58"')
        drawn = drawn.replace("</svg>", '<path d="M-32 3h18v18h-18z" stroke-width="2"/></svg>')
    return drawn.encode()


def _icon_rules() -> str:
    icons = {f"icon-{name}": f"{ICON_SCHEME}:{name}" for name in _icons()}
    icons |= {f"alarm .icon-{name}": f"{ICON_SCHEME}:{name}{WHITE}" for name in _icons()}
    icons |= {f"ticks .icon-{name}": f"{ICON_SCHEME}:{name}{TICK}" for name in _icons()}
    return "\n".join(f'.{name} {{ background-image: url("{url}") }}' for name, url in icons.items())

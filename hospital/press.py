"""A document of ours as a tagged PDF. WeasyPrint is imported when first needed: it takes a second."""

from __future__ import annotations

import io
from pathlib import Path
from threading import Lock
from urllib.parse import unquote, urlsplit

from django.conf import settings

STATIC = (settings.BASE_DIR / "hospital" / "static").resolve()
PRESS = Lock()  # one document at a time: Pango's fonts are shared, and a second thread would only wait for Python's own lock


def print_pdf(html: str, sheet: str) -> bytes:
    """The document set with fonts.css and this style sheet. The same input gives the same bytes.

    Nothing is fetched but our own static files.
    """
    import weasyprint
    from PIL import ImageFile
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    ImageFile.LOAD_TRUNCATED_IMAGES = False  # WeasyPrint tells Pillow to take cut-off pictures, for the whole process

    class OurFilesOnly(URLFetcher):
        def fetch(self, url: str, headers: dict | None = None) -> URLFetcherResponse:
            parts = urlsplit(url)
            path = Path(unquote(parts.path)).resolve()
            if parts.scheme != "file" or parts.netloc or not path.is_relative_to(STATIC) or not path.is_file():
                raise FatalURLFetchingError(f"A document may not fetch {url}")
            return URLFetcherResponse(url, path.read_bytes())

    fetcher, target = OurFilesOnly(), io.BytesIO()
    with PRESS:
        fonts = FontConfiguration()
        sheets = [
            weasyprint.CSS(filename=STATIC / "hospital" / name, url_fetcher=fetcher, font_config=fonts)
            for name in ("fonts.css", sheet)
        ]
        document = weasyprint.HTML(string=html, url_fetcher=fetcher)
        document.write_pdf(target, stylesheets=sheets, font_config=fonts, pdf_variant="pdf/ua-1")
    return target.getvalue()

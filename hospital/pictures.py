"""Pictures from strangers' phones and machines, made safe to keep: decoded, turned upright, encoded anew.

What is kept is our own JPEG of the pixels only, or a PNG of grey levels. Place, time and device in the file, thumbnails,
comments and anything hung on behind the picture are gone. This is the only module that uses Pillow.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import IO

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from pi_heif import register_heif_opener
from PIL import Image, ImageOps

MAX_PIXELS = 40_000_000
LONGEST_SIDE_PX = 2000
SMALL_SIDE_PX = 320
SCAN_SIDE_PX = 4096  # of a coloured diagnostic picture; grey levels are never made fewer
TOP_LEVEL = 65535
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF")

# HEIC is what some phones write for photographs. Of a file with several pictures the first counts, without its thumbnail and depth.
register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)


def safe_jpeg(upload: IO[bytes], *, longest_px: int = LONGEST_SIDE_PX) -> bytes:
    """The photograph as a JPEG of its pixels only, upright, its longest side at most `longest_px`.

    Refuses with a ValidationError whatever is not a JPEG, PNG, WebP or HEIC picture of at most 40 million pixels and
    settings.PHOTO_MAX_BYTES bytes.
    """
    data = upload.read(settings.PHOTO_MAX_BYTES + 1)
    if len(data) > settings.PHOTO_MAX_BYTES:
        most = settings.PHOTO_MAX_BYTES // 1024**2
        raise ValidationError(_("This photograph is larger than %(most)d MB. Send a smaller one.") % {"most": most})
    with _opened(data) as image:
        return _encoded(image, longest_px)


def small(photo: IO[bytes]) -> bytes:
    """A kept photograph at the size of a list."""
    return safe_jpeg(photo, longest_px=SMALL_SIDE_PX)


@dataclass(frozen=True, slots=True)
class Scan:
    """A diagnostic picture encoded anew: grey levels of 8 or 16 bits as a PNG, colours as a JPEG."""

    data: bytes
    width_px: int
    height_px: int
    is_grey: bool
    lowest: int  # grey levels that occur; 0 and 255 for colours
    highest: int
    top_level: int  # the highest that the file can hold


def safe_scan(data: bytes) -> Scan:
    """A diagnostic picture from a JPEG, PNG, WebP or HEIC file. Refuses what `safe_jpeg` refuses, but for the bytes."""
    with _opened(data) as image:
        if image.mode in ("L", "I;16", "I;16B", "I"):
            return _grey_scan(_upright(image))
        jpeg = _encoded(image, SCAN_SIDE_PX, quality=92)
    with _opened(jpeg) as kept:
        return Scan(jpeg, *kept.size, is_grey=False, lowest=0, highest=255, top_level=255)


def grey_scan(levels: bytes, width_px: int, height_px: int) -> Scan:
    """A diagnostic picture from 16-bit grey levels, low byte first, row by row."""
    return _grey_scan(Image.frombytes("I;16", (width_px, height_px), levels))


def grey_levels(kept: IO[bytes]) -> bytes:
    """The grey levels of a kept PNG: 16 bits each, low byte first, row by row."""
    with Image.open(kept, formats=["PNG"]) as image:
        return image.convert("I;16").tobytes()


def windowed(kept: IO[bytes], low: int, high: int, *, longest_px: int = LONGEST_SIDE_PX) -> bytes:
    """A kept PNG of grey levels as a JPEG: `low` and below is black, `high` and above is white."""
    with Image.open(kept, formats=["PNG"]) as image:
        levels = image.convert("F")
    levels.thumbnail((longest_px, longest_px), Image.Resampling.BOX, reducing_gap=None)
    scale = 255 / max(high - low, 1)
    shown = levels.point(lambda level: level * scale - low * scale).convert("L")
    jpeg = io.BytesIO()
    shown.save(jpeg, "JPEG", quality=90)
    return jpeg.getvalue()


def size_inside(frame: bytes) -> tuple[int, int]:
    """Width and height that a JPEG or JPEG 2000 stream says it has, its pixels not decoded."""
    with Image.open(io.BytesIO(frame), formats=["JPEG", "JPEG2000"]) as image:
        return image.size


def _upright(image: Image.Image) -> Image.Image:
    try:
        return ImageOps.exif_transpose(image)
    except Exception:  # as in _encoded
        raise _damaged() from None


def _grey_scan(image: Image.Image) -> Scan:
    levels = image if image.mode == "L" else image.convert("I;16")
    clean = Image.frombytes(levels.mode, levels.size, levels.tobytes())  # the pixels alone, as in _on_white
    lowest, highest = clean.getextrema()
    png = io.BytesIO()
    clean.save(png, "PNG", compress_level=4)
    top = 255 if clean.mode == "L" else TOP_LEVEL
    return Scan(png.getvalue(), *clean.size, is_grey=True, lowest=lowest, highest=highest, top_level=top)


def _opened(data: bytes) -> Image.Image:
    """The picture with its size known and its pixels not yet decoded: that is where a bomb would go off."""
    try:
        image = Image.open(io.BytesIO(data), formats=FORMATS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_many_pixels() from None
    except Exception:  # a decoder given a crafted file may raise anything; whatever it is, this is no photograph
        raise ValidationError(
            _("This is not a photograph that can be read here. Send a JPEG, PNG, WebP or HEIC file.")
        ) from None
    if image.width * image.height > MAX_PIXELS:
        raise _too_many_pixels()
    return image


def _too_many_pixels() -> ValidationError:
    most = MAX_PIXELS // 1_000_000
    return ValidationError(
        _("This picture has more than %(most)d million pixels. Send a smaller one.") % {"most": most}
    )


def _damaged() -> ValidationError:
    return ValidationError(_("This photograph is damaged or not complete. Take or send it again."))


def _encoded(image: Image.Image, longest_px: int, *, quality: int = 82) -> bytes:
    try:
        image.draft("RGB", (longest_px, longest_px))  # a large JPEG is decoded at a half, a quarter or an eighth
        image.thumbnail((longest_px, longest_px), Image.Resampling.BOX, reducing_gap=None)
        upright = ImageOps.exif_transpose(image)
        pixels = _on_white(upright)
    except Exception:  # as above: cut off or damaged behind a sound head
        raise _damaged() from None
    kept = io.BytesIO()
    pixels.save(kept, "JPEG", quality=quality, optimize=True)
    return kept.getvalue()


def _on_white(image: Image.Image) -> Image.Image:
    """A new picture of the pixels alone: a comment, a profile or a position would travel with the old one."""
    if image.mode.startswith("I"):  # 16 bits of grey
        image = image.point(lambda value: value * (1 / 256)).convert("L")
    clean = Image.new("RGB", image.size, "white")
    if image.has_transparency_data:
        image = image.convert("RGBA")
        clean.paste(image, mask=image.getchannel("A"))
    else:
        clean.paste(image.convert("RGB"))
    return clean


class PhotoBox(forms.BoundField):
    """A photograph's box. Says so when one was sent but the form comes back: a browser empties the box, without a word."""

    def __init__(self, form: forms.BaseForm, field: forms.Field, name: str):
        super().__init__(form, field, name)
        self.was_emptied = self.html_name in form.files
        if self.was_emptied:
            self.help_text = _("The photograph was not kept, because the form came back. Choose it again.")


class PhotoField(forms.FileField):
    """A photograph: its value is the safe JPEG as bytes, or None."""

    bound_field_class = PhotoBox

    widget = forms.ClearableFileInput
    default_error_messages = {
        "required": gettext_lazy("Choose a photograph."),
        "empty": gettext_lazy("This file is empty. Choose another."),
        "missing": gettext_lazy("No photograph arrived. Choose it again."),
        "invalid": gettext_lazy("No photograph arrived. Choose it again."),
    }

    def __init__(self, **kwargs):
        camera = forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp,image/heic"})
        super().__init__(**{"widget": camera, "label": gettext_lazy("Photograph"), **kwargs})

    def clean(self, data, initial=None) -> bytes | None:
        upload = super().clean(data, initial)
        return safe_jpeg(upload) if upload else None

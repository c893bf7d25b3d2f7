"""Photographs from strangers' phones, made safe to keep: decoded, turned upright, made smaller, encoded anew.

What is kept is our own JPEG of the pixels only. Place, time and device in the file, thumbnails, comments and anything
hung on behind the picture are gone. This is the only module that uses Pillow.
"""

from __future__ import annotations

import io
from typing import IO

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from PIL import Image, ImageOps

MAX_PIXELS = 40_000_000
LONGEST_SIDE_PX = 2000
SMALL_SIDE_PX = 320
FORMATS = ("JPEG", "PNG", "WEBP")
# Brands in the first box of an ISO base media file (ISO/IEC 23008-12, annex B) that phones write for photographs.
HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}


def safe_jpeg(upload: IO[bytes], *, longest_px: int = LONGEST_SIDE_PX) -> bytes:
    """The photograph as a JPEG of its pixels only, upright, its longest side at most `longest_px`.

    Refuses with a ValidationError whatever is not a JPEG, PNG or WebP picture of at most 40 million pixels and
    settings.PHOTO_MAX_BYTES bytes.
    """
    data = upload.read(settings.PHOTO_MAX_BYTES + 1)
    if len(data) > settings.PHOTO_MAX_BYTES:
        most = settings.PHOTO_MAX_BYTES // 1024**2
        raise ValidationError(_("This photograph is larger than %(most)d MB. Send a smaller one.") % {"most": most})
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        raise ValidationError(
            _(
                "This photograph is in the HEIC format, which cannot be read here. Set the camera to JPEG, or send a JPEG."
            )
        )
    with _opened(data) as image:
        return _encoded(image, longest_px)


def small(photo: IO[bytes]) -> bytes:
    """A kept photograph at the size of a list."""
    return safe_jpeg(photo, longest_px=SMALL_SIDE_PX)


def _opened(data: bytes) -> Image.Image:
    """The picture with its size known and its pixels not yet decoded: that is where a bomb would go off."""
    try:
        image = Image.open(io.BytesIO(data), formats=FORMATS)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_many_pixels() from None
    except Exception:  # a decoder given a crafted file may raise anything; whatever it is, this is no photograph
        raise ValidationError(
            _("This is not a photograph that can be read here. Send a JPEG, PNG or WebP file.")
        ) from None
    if image.width * image.height > MAX_PIXELS:
        raise _too_many_pixels()
    return image


def _too_many_pixels() -> ValidationError:
    most = MAX_PIXELS // 1_000_000
    return ValidationError(
        _("This picture has more than %(most)d million pixels. Send a smaller one.") % {"most": most}
    )


def _encoded(image: Image.Image, longest_px: int) -> bytes:
    try:
        image.draft("RGB", (longest_px, longest_px))  # a large JPEG is decoded at a half, a quarter or an eighth
        image.thumbnail((longest_px, longest_px), Image.Resampling.BOX, reducing_gap=None)
        upright = ImageOps.exif_transpose(image)
        pixels = _on_white(upright)
    except Exception:  # as above: cut off or damaged behind a sound head
        raise ValidationError(_("This photograph is damaged or not complete. Take or send it again.")) from None
    kept = io.BytesIO()
    pixels.save(kept, "JPEG", quality=82, optimize=True)
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
        camera = forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"})
        super().__init__(**{"widget": camera, "label": gettext_lazy("Photograph"), **kwargs})

    def clean(self, data, initial=None) -> bytes | None:
        upload = super().clean(data, initial)
        return safe_jpeg(upload) if upload else None

"""Photographs are made safe. Expected values come from the formats' own standards and from pixels that we painted."""

import io
import struct
import zlib
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from PIL import Image

from hospital import pictures
from hospital.pictures import safe_jpeg

RED, BLUE = (200, 30, 30), (30, 30, 200)


def drawn(size=(60, 40), colour=RED, mode="RGB") -> Image.Image:
    return Image.new(mode, size, colour)


def encoded(image: Image.Image, format: str = "JPEG", **options) -> io.BytesIO:
    file = io.BytesIO()
    image.save(file, format, **options)
    file.seek(0)
    return file


def half_red_half_blue() -> Image.Image:
    """Left half red, right half blue, wider than tall."""
    image = drawn((80, 40))
    image.paste(BLUE, (40, 0, 80, 40))
    return image


def read(jpeg: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(jpeg), formats=["JPEG"])
    image.load()
    return image


def near(pixel, colour) -> bool:
    return all(abs(got - wanted) < 12 for got, wanted in zip(pixel, colour, strict=True))


def sentence(upload: io.BytesIO) -> str:
    with pytest.raises(ValidationError) as refused:
        safe_jpeg(upload)
    return refused.value.message


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_three_formats_become_jpeg(format):
    kept = safe_jpeg(encoded(drawn(), format))

    assert kept[:3] == b"\xff\xd8\xff"  # ISO/IEC 10918-1: start of image, then a marker
    assert near(read(kept).getpixel((30, 20)), RED)


def test_a_large_photograph_keeps_its_shape_and_loses_size():
    kept = read(safe_jpeg(encoded(drawn((4000, 3000)))))

    assert kept.size == (2000, 1500)


def test_a_small_photograph_is_not_made_larger():
    assert read(safe_jpeg(encoded(drawn((60, 40))))).size == (60, 40)


# Exif 2.32, tag 0x0112: 1 upright, 3 upside down, 6 turn right, 8 turn left to see it upright.
@pytest.mark.parametrize(
    ("orientation", "size", "first", "last"),
    [(1, (80, 40), RED, BLUE), (3, (80, 40), BLUE, RED), (6, (40, 80), RED, BLUE), (8, (40, 80), BLUE, RED)],
)
def test_the_camera_is_turned_upright(orientation, size, first, last):
    exif = Image.Exif()
    exif[0x0112] = orientation

    kept = read(safe_jpeg(encoded(half_red_half_blue(), exif=exif, quality=95)))

    assert kept.size == size
    assert near(kept.getpixel((5, 5)), first)
    assert near(kept.getpixel((size[0] - 5, size[1] - 5)), last)


def with_a_place() -> Image.Exif:
    """Exif 2.32 with a GPS block (tag 0x8825): latitude 54° 30' 0" north, and a camera's name."""
    exif = Image.Exif()
    exif[0x010F] = "Canary Camera"
    exif.get_ifd(0x8825).update({1: "N", 2: (54.0, 30.0, 0.0), 3: "E", 4: (3.0, 12.0, 0.0)})
    return exif


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_place_and_camera_are_gone(format):
    upload = encoded(drawn(), format, exif=with_a_place())
    assert Image.open(upload).getexif().get_ifd(0x8825)  # it was there

    upload.seek(0)
    kept = safe_jpeg(upload)

    assert not read(kept).getexif()
    assert b"Exif" not in kept
    assert b"Canary" not in kept


def test_a_comment_and_a_profile_are_gone():
    upload = encoded(drawn(), comment=b"Canary Lane 5", icc_profile=b"canary profile" * 20)

    kept = safe_jpeg(upload)

    assert b"anary" not in kept
    assert {"comment", "icc_profile", "xmp"}.isdisjoint(read(kept).info)


def test_what_hangs_behind_the_picture_is_gone():
    upload = encoded(drawn())
    upload.seek(0, io.SEEK_END)
    upload.write(b"PK\x03\x04<script>alert('canary')</script>")
    upload.seek(0)

    assert b"canary" not in safe_jpeg(upload)


@pytest.mark.parametrize("mode", ["L", "P", "LA", "RGBA", "CMYK", "1", "I;16"])
def test_every_kind_of_pixel_becomes_colour(mode):
    format = "JPEG" if mode == "CMYK" else "PNG"

    kept = read(safe_jpeg(encoded(Image.new(mode, (60, 40)), format)))

    assert (kept.mode, kept.size) == ("RGB", (60, 40))


def test_what_was_transparent_is_white():
    kept = read(safe_jpeg(encoded(drawn(colour=(0, 0, 0, 0), mode="RGBA"), "PNG")))

    assert near(kept.getpixel((30, 20)), (255, 255, 255))


def test_sixteen_bits_of_grey_keep_their_middle():
    kept = read(safe_jpeg(encoded(Image.new("I;16", (60, 40), 32768), "PNG")))

    assert near(kept.getpixel((30, 20)), (128, 128, 128))


def png_head(width: int, height: int) -> io.BytesIO:
    """A PNG of a few bytes that claims a size (PNG specification, third edition, sections 5.2 and 11.2.1)."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return io.BytesIO(b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0")) + chunk(b"IEND", b""))


@pytest.mark.parametrize("size", [(40_001, 1000), (10_000, 9_500), (30_000, 30_000)])
def test_a_bomb_is_refused_before_it_is_decoded(size, monkeypatch):
    monkeypatch.setattr(pictures, "_encoded", lambda *_: pytest.fail("decoded"))

    assert sentence(png_head(*size)) == "This picture has more than 40 million pixels. Send a smaller one."


def test_too_many_bytes_are_refused(settings):
    settings.PHOTO_MAX_BYTES = 1024**2

    assert sentence(io.BytesIO(b"\xff" * (1024**2 + 1))) == "This photograph is larger than 1 MB. Send a smaller one."


# 29 × 100 pixels from blue to yellow in HEVC; from the tests of pi-heif (BSD-3-Clause), made by another encoder than its decoder.
HEIC = (Path(__file__).parent / "blue_to_yellow.heic").read_bytes()


def test_a_photograph_in_heic_becomes_a_jpeg_of_its_pixels():
    photo = read(safe_jpeg(io.BytesIO(HEIC)))

    assert (photo.format, photo.size) == ("JPEG", (29, 100))
    assert photo.getpixel((5, 5))[2] > 200  # blue
    red, green, blue = photo.getpixel((26, 97))
    assert min(red, green) > 200 > 60 > blue  # yellow
    assert not photo.getexif()


@pytest.mark.parametrize("kept", [0.3, 0.6, 0.9])
def test_heic_that_was_cut_off_or_only_says_so_is_refused(kept):
    assert sentence(io.BytesIO(HEIC[: int(len(HEIC) * kept)]))
    assert sentence(io.BytesIO(struct.pack(">I", 24) + b"ftypheic" + b"\0\0\0\0mif1heic" + b"\0" * 40))


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<html><script>alert(1)</script>",
        b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        b"%PDF-1.7 ...",
        b"GIF89a\x01\0\x01\0\x80\0\0\0\0\0\xff\xff\xff!\xf9\x04\0\0\0\0\0,\0\0\0\0\x01\0\x01\0\0\x02\x02D\x01\0;",
        b"MZ\x90\0 not a picture",
        b"\xff\xd8\xff",
        b"\x89PNG\r\n\x1a\n",
        b"RIFF\x10\0\0\0WEBPVP8 ",
    ],
)
def test_a_disguised_file_is_refused(content):
    assert sentence(io.BytesIO(content)).startswith("This is not a photograph that can be read here.")


def test_a_photograph_cut_off_on_the_way_is_refused():
    whole = encoded(half_red_half_blue().resize((800, 400)), quality=95).getvalue()

    assert sentence(io.BytesIO(whole[: len(whole) // 2])).startswith("This photograph is damaged or not complete.")


def test_the_small_size_fits_a_list():
    assert read(pictures.small(encoded(drawn((2000, 1000))))).size == (320, 160)


def test_the_same_photograph_gives_the_same_bytes():
    assert safe_jpeg(encoded(half_red_half_blue())) == safe_jpeg(encoded(half_red_half_blue()))


def test_a_camera_that_saves_two_pictures_in_one_file_gives_the_first():
    upload = encoded(drawn(), "MPO", save_all=True, append_images=[drawn(colour=BLUE)])

    assert near(read(safe_jpeg(upload)).getpixel((30, 20)), RED)

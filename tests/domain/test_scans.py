"""Diagnostic pictures from ordinary files: grey levels survive to the last bit, everything else goes."""

import io

import numpy
import pytest
from django.core.exceptions import ValidationError
from PIL import Image

from hospital.pictures import grey_levels, grey_scan, safe_scan, windowed


def slope() -> numpy.ndarray:
    """Every 16-bit level once, in 256 rows."""
    return numpy.arange(65536, dtype=numpy.uint16).reshape(256, 256)


def encoded(image: Image.Image, format: str = "PNG", **options) -> bytes:
    file = io.BytesIO()
    image.save(file, format, **options)
    return file.getvalue()


def opened(data: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


def test_sixteen_bits_come_through_unchanged():
    scan = safe_scan(encoded(Image.fromarray(slope())))

    assert (numpy.asarray(opened(scan.data)) == slope()).all()
    assert grey_levels(io.BytesIO(scan.data)) == slope().astype("<u2").tobytes()
    assert (scan.lowest, scan.highest, scan.top_level, scan.is_grey) == (0, 65535, 65535, True)


def test_levels_become_the_same_picture():
    assert safe_scan(encoded(Image.fromarray(slope()))) == grey_scan(slope().tobytes(), 256, 256)


def test_eight_bits_of_grey_stay_eight():
    scan = safe_scan(encoded(Image.fromarray(slope().astype(numpy.uint8))))

    assert (scan.highest, scan.top_level) == (255, 255)
    assert grey_levels(io.BytesIO(scan.data)) == (slope() % 256).astype("<u2").tobytes()


def test_a_window_is_black_below_white_above_and_even_between():
    scan = safe_scan(encoded(Image.fromarray(slope())))

    shown = numpy.asarray(opened(windowed(io.BytesIO(scan.data), 16384, 49152))).astype(int)

    assert shown[:60].max() <= 3
    assert shown[200:].min() >= 252
    assert abs(shown[128].mean() - 127.5) < 3


def test_colours_become_a_jpeg():
    scan = safe_scan(encoded(Image.new("RGB", (64, 48), (200, 30, 30))))

    assert (scan.is_grey, scan.width_px, scan.height_px) == (False, 64, 48)
    assert opened(scan.data).format == "JPEG"


def test_place_and_camera_are_gone_and_the_picture_is_upright():
    exif = Image.Exif()
    exif[0x0112] = 6  # turn by a quarter: Exif 2.32, 4.6.4
    exif[0x010F] = "MakerOfCameras"
    exif.get_ifd(0x8825)[1] = "N"
    grey = Image.new("L", (40, 20), 90)

    for data in (encoded(grey, "JPEG", exif=exif), encoded(grey, "PNG", exif=exif)):
        scan = safe_scan(data)

        assert b"MakerOfCameras" in data
        assert b"MakerOfCameras" not in scan.data
        assert not opened(scan.data).getexif()
        assert (scan.width_px, scan.height_px) == (20, 40)


def test_what_hangs_behind_the_picture_is_gone():
    scan = safe_scan(encoded(Image.new("L", (40, 20), 90)) + b"<script>alert(1)</script>PK\x03\x04")

    assert b"script" not in scan.data
    assert b"PK\x03\x04" not in scan.data


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "photograph that can be read"),
        (b"%PDF-1.7", "photograph that can be read"),
        (b"\x00\x00\x00\x18ftypheic" + bytes(40), "HEIC"),
        (encoded(Image.new("1", (9000, 9000))), "40 million"),
        (encoded(Image.fromarray(slope()))[:400], "damaged"),
        (encoded(Image.new("RGB", (300, 300), "red"), "JPEG")[:700], "damaged"),
    ],
    ids=["svg", "pdf", "heic", "too many pixels", "cut off, grey", "cut off, colours"],
)
def test_what_is_no_sound_picture_is_refused(data, words):
    with pytest.raises(ValidationError) as refused:
        safe_scan(data)

    assert words in refused.value.message

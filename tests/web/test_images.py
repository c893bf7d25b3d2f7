"""Images: sent, made safe, looked at, measured, withdrawn; who sees what."""

import gzip
import io
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.urls import reverse
from PIL import Image as Picture
from pydicom.data import get_testdata_file

from hospital.audit.models import AuditEntry
from hospital.clock import today
from hospital.images import actions
from hospital.images.models import Image, Measurement
from hospital.images.queries import readings_of
from hospital.pictures import grey_scan
from tests import make

pytestmark = pytest.mark.django_db
D = Decimal
LEVELS = b"".join((n * 3).to_bytes(2, "little") for n in range(200 * 100))  # 200 wide, 100 high


def url(name, patient, *args):
    return reverse(f"images:{name}", args=[patient.case_number, *args])


def grey_png() -> SimpleUploadedFile:
    file = io.BytesIO()
    Picture.new("L", (60, 40), 120).save(file, "PNG")
    return SimpleUploadedFile("leg.png", file.getvalue(), content_type="image/png")


def dicom() -> SimpleUploadedFile:
    return SimpleUploadedFile("any", Path(get_testdata_file("CT_small.dcm", download=False)).read_bytes())


def sent(**fields) -> dict:
    data = {"kind": "", "taken_on": str(today()), "body_part": "", "view_position": "", "note": ""}
    return {name: value for name, value in (data | fields).items() if value is not None}


@pytest.fixture
def radiograph(patient, vet):
    picture = grey_scan(LEVELS, 200, 100)
    return actions.add_image(
        patient, by=vet, picture=picture, kind="radiograph", taken_on=today(), body_part="Carpus", view_position="DV", note=""
    )


def spaced(image, rows, columns, kind="detector"):
    image.rows_mm, image.columns_mm, image.spacing_kind = D(rows), D(columns), kind
    image.save()
    return image


def drawn(image, by, kind, *points, mm=None, words=""):
    tenths = [[x * 10, y * 10] for x, y in points]
    return actions.draw(image, by=by, kind=kind, points=tenths, marker_mm=mm and D(mm), words=words)


def next_day(image):
    """The same picture of the next day."""
    return Image.objects.create(**{
        each.attname: getattr(image, each.attname) for each in Image._meta.concrete_fields if each.name not in ("id", "key", "taken_on")
    } | {"taken_on": image.taken_on + timedelta(days=1)})  # fmt: skip


def values(image) -> list[str]:
    return [each.value for each in readings_of(image)]


# --- sent in ------------------------------------------------------------------------------------------------------


def test_a_picture_is_kept_encoded_anew(client, patient, nurse):
    client.force_login(nurse)

    answer = client.post(url("add", patient), sent(picture=grey_png(), kind="radiograph", body_part="Carpus"))

    image = Image.objects.get()
    assert answer.url == url("image", patient, image.key)
    assert (image.width_px, image.height_px, image.kind, image.added_by) == (60, 40, "radiograph", nurse)
    assert image.file.name == f"images/{image.key}.png"
    assert AuditEntry.objects.filter(table="hospital_image", row_id=image.pk).exists()


def test_a_dicom_file_fills_in_what_it_states(client, vet):
    patient = make.patient(vet, days_ago=12000)  # the shipped file is from 1997
    client.force_login(vet)

    answer = client.post(url("add", patient), sent(picture=dicom(), taken_on=""))

    image = Image.objects.get()
    assert answer.status_code == 302
    assert (image.kind, image.taken_on, image.spacing_kind) == ("ct", date(1997, 4, 30), "body")
    assert (image.rows_mm, image.columns_mm) == (D("0.661468"), D("0.661468"))
    with image.file.open() as kept:
        assert b"CompressedSamples" not in kept.read()  # the name of its patient


def test_what_was_typed_goes_before_what_the_file_states(client, vet, patient):
    client.force_login(vet)

    client.post(url("add", patient), sent(picture=dicom(), kind="other", body_part="Head"))

    image = Image.objects.get()
    assert (image.kind, image.body_part, image.taken_on) == ("other", "Head", today())


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "This file is empty"),
        (b"<html><script>", "not a photograph that can be read here"),
        (bytes(128) + b"DICM" + b"#" * 50, "DICOM file"),
        (b"\x00\x00\x00\x18ftypheic" + bytes(40), "HEIC"),
    ],
)
def test_a_file_that_cannot_be_read_is_refused_at_its_field_and_nothing_is_lost(client, patient, vet, content, words):
    client.force_login(vet)

    answer = client.post(url("add", patient), sent(picture=SimpleUploadedFile("x.jpg", content), note="left wing"))

    assert answer.status_code == 422
    assert words in str(answer.context["form"].errors["picture"])
    assert "left wing" in answer.content.decode()
    assert "Choose it again" in answer.content.decode()
    assert not Image.objects.exists()


def test_a_file_that_is_too_large_is_refused(client, patient, vet, settings):
    settings.IMAGE_MAX_BYTES = 100
    client.force_login(vet)

    assert "larger than" in str(client.post(url("add", patient), sent(picture=dicom())).context["form"].errors["picture"])


def test_a_day_is_needed_and_must_be_possible(client, patient, vet):
    client.force_login(vet)

    without = client.post(url("add", patient), sent(picture=grey_png(), taken_on=""))
    ahead = client.post(url("add", patient), sent(picture=grey_png(), taken_on="2999-01-01"))

    assert "Give the day" in str(without.context["form"].errors["taken_on"])
    assert "future" in str(ahead.context["form"].errors["taken_on"])


# --- looked at ----------------------------------------------------------------------------------------------------


def test_the_list_the_viewer_and_the_chart_show_it(client, patient, radiograph, coordinator):
    client.force_login(coordinator)

    for page in (url("all", patient), url("image", patient, radiograph.key), reverse("chart:patient", args=[patient.case_number])):
        text = client.get(page).content.decode()
        assert url("small", patient, radiograph.key) in text or url("picture", patient, radiograph.key) in text
        assert "Radiograph Carpus DV" in text


def test_a_patient_without_images_says_so(client, patient, vet):
    client.force_login(vet)

    assert "There is no image of this animal yet." in client.get(url("all", patient)).content.decode()


def test_the_levels_are_sent_whole_and_the_picture_as_a_jpeg(client, patient, radiograph, vet):
    client.force_login(vet)

    levels = client.get(url("levels", patient, radiograph.key))
    picture = client.get(url("picture", patient, radiograph.key))

    assert levels["Content-Encoding"] == "gzip"
    assert gzip.decompress(levels.content) == bytes((n * 3 >> shift) & 255 for n in range(20000) for shift in (0, 8))
    assert picture["Content-Type"] == "image/jpeg"
    assert all("sandbox" in each["Content-Security-Policy"] for each in (levels, picture))


def test_two_dates_stand_side_by_side(client, patient, radiograph, vet):
    other = actions.add_image(
        patient, by=vet, picture=grey_scan(LEVELS, 200, 100), kind="", taken_on=today(), body_part="", view_position="", note=""
    )
    drawn(radiograph, vet, "length", (10, 10), (40, 50))
    client.force_login(vet)

    page = client.get(url("compare", patient), {"first": radiograph.key, "second": other.key})

    assert page.content.decode().count("data-viewer") == 2
    assert "50 pixels" in page.content.decode().replace(".0", "")
    assert client.get(url("compare", patient), {"first": radiograph.key, "second": "x"}).status_code == 422
    assert client.get(url("compare", patient)).status_code == 200


# --- measured -----------------------------------------------------------------------------------------------------


def test_without_a_marker_a_length_is_in_pixels(radiograph, vet):
    drawn(radiograph, vet, "length", (10, 10), (40, 50))  # legs of 30 and 40

    assert values(radiograph) == ["50.0 pixels"]


def test_a_marker_gives_millimetres_to_what_is_drawn_after_it(radiograph, vet):
    drawn(radiograph, vet, "length", (10, 10), (40, 50))
    drawn(radiograph, vet, "marker", (0, 90), (100, 90), mm=25)
    drawn(radiograph, vet, "length", (10, 10), (40, 50))

    assert values(radiograph) == ["50.0 pixels", "25 mm", "12.5 mm"]


def test_the_spacing_of_rows_and_columns_may_differ(radiograph, vet):
    spaced(radiograph, rows="0.5", columns="0.25")
    drawn(radiograph, vet, "length", (0, 0), (160, 60))  # legs of 40 and 30 mm
    drawn(radiograph, vet, "angle", (160, 0), (0, 0), (160, 80))  # legs of 40 and 40 mm

    assert values(radiograph) == ["50.0 mm", "45.0°"]
    assert "detector" in readings_of(radiograph)[0].rests_on


def test_a_marker_goes_before_the_spacing_at_the_detector(radiograph, vet):
    spaced(radiograph, rows="0.5", columns="0.25")
    drawn(radiograph, vet, "marker", (0, 90), (80, 90), mm=16)  # 20 mm at the detector: enlarged by 1.25
    drawn(radiograph, vet, "length", (0, 0), (160, 60))

    assert values(radiograph)[1] == "40.0 mm"


def test_a_withdrawn_marker_says_so_at_what_was_measured_by_it(radiograph, vet):
    marker = drawn(radiograph, vet, "marker", (0, 90), (100, 90), mm=25)
    drawn(radiograph, vet, "length", (10, 10), (40, 50))

    actions.withdraw_measurement(marker, by=vet)

    assert "withdrawn: measure again" in readings_of(radiograph)[1].rests_on
    with pytest.raises(ValidationError, match="withdrawn already"):
        actions.withdraw_measurement(marker, by=vet)


@pytest.mark.parametrize(
    ("kind", "points", "more", "field"),
    [
        ("length", [(1, 1), (1, 1)], {}, "points"),
        ("length", [(1, 1)], {}, "points"),
        ("length", [(1, 1), (300, 1)], {}, "points"),
        ("marker", [(1, 1), (5, 1)], {"mm": 5}, "points"),
        ("marker", [(1, 1), (50, 1)], {}, "marker_mm"),
        ("angle", [(1, 1), (1, 1), (9, 9)], {}, "points"),
        ("words", [(1, 1)], {}, "words"),
    ],
)
def test_what_cannot_be_measured_is_refused_at_its_field(radiograph, vet, kind, points, more, field):
    with pytest.raises(ValidationError) as refused:
        drawn(radiograph, vet, kind, *points, **more)

    assert list(refused.value.message_dict) == [field]


def test_the_page_keeps_what_was_drawn(client, patient, radiograph, nurse):
    client.force_login(nurse)

    answer = client.post(
        url("draw", patient, radiograph.key),
        {"kind": "length", "points": "[[100, 100], [400, 500]]", "marker_mm": "", "words": ""},
        headers={"HX-Request": "true"},
    )

    assert answer.status_code == 200
    assert "50.0 pixels" in answer.content.decode()
    assert "<html" not in answer.content.decode()
    assert Measurement.objects.get().drawn_by == nurse


@pytest.mark.parametrize("points", ["", "[]", "[[1]]", '[["a", 2]]', "[[1.5, 2]]", "{", "[[true, 1]]", "[" * 150, "null", "5"])
def test_points_that_are_none_are_refused(client, patient, radiograph, vet, points):
    client.force_login(vet)

    answer = client.post(url("draw", patient, radiograph.key), {"kind": "length", "points": points})

    assert answer.status_code == 422
    assert "Draw on the picture first." in answer.content.decode()


def test_a_withdrawn_image_stands_apart_with_its_reason_and_takes_no_measurement(client, patient, radiograph, vet):
    client.force_login(vet)

    client.post(url("withdraw", patient, radiograph.key), {"why": "Another animal"})

    page = client.get(url("all", patient))
    assert page.context["images"] == []
    assert "1 withdrawn" in page.content.decode()
    assert "Another animal" in page.content.decode()
    assert url("image", patient, radiograph.key) not in client.get(reverse("chart:patient", args=[patient.case_number])).content.decode()
    assert "Another animal" in client.get(url("image", patient, radiograph.key)).content.decode()
    with pytest.raises(ValidationError, match="withdrawn"):
        drawn(radiograph, vet, "length", (1, 1), (50, 1))


def test_an_image_under_the_wrong_animal_goes_to_the_right_one_with_all_that_was_measured(client, patient, radiograph, vet, nurse):
    right = make.patient(vet)
    drawn(radiograph, vet, "marker", (0, 90), (100, 90), mm=25)
    drawn(radiograph, vet, "length", (0, 0), (100, 0), words="humerus")
    was = values(radiograph)
    client.force_login(nurse)

    page = client.post(url("withdraw", patient, radiograph.key), {"why": "Cassettes mixed up", "to": right.case_number}, follow=True)

    moved = right.images.get()
    assert values(moved) == was
    assert {each.drawn_by for each in moved.measurements.all()} == {vet}
    assert (moved.added_by, moved.taken_on, moved.moved_from) == (radiograph.added_by, radiograph.taken_on, radiograph)
    assert f"Recorded at first under {patient} by mistake" in page.content.decode()
    assert client.get(url("levels", right, moved.key)).content == client.get(url("levels", patient, radiograph.key)).content
    assert f"Now recorded under {right}" in client.get(url("image", patient, radiograph.key)).content.decode()
    assert values(Image.objects.get(pk=radiograph.pk)) == was  # the former stays as it was


def test_an_image_goes_to_no_animal_of_another_hospital(client, patient, radiograph, vet, stranger):
    other = make.patient(stranger)
    client.force_login(vet)

    answer = client.post(url("withdraw", patient, radiograph.key), {"why": "Mixed up", "to": other.case_number})

    assert answer.status_code == 422
    assert not other.images.exists()
    assert not Image.objects.get(pk=radiograph.pk).is_withdrawn


def test_the_table_refuses_a_marker_without_a_size(radiograph, vet):
    marker = drawn(radiograph, vet, "marker", (0, 90), (100, 90), mm=25)

    with pytest.raises(IntegrityError), transaction.atomic():
        Measurement.objects.filter(pk=marker.pk).update(marker_mm=None)


# --- two dates ----------------------------------------------------------------------------------------------------


def test_what_carries_the_same_words_on_both_dates_stands_side_by_side_with_its_change(client, patient, radiograph, vet):
    """Markers of 25 mm over 100 and over 50 pixels: gaps of 40 and 10 pixels are 10 mm and 5 mm; an angle of 90 and one of 45 degrees."""
    later = next_day(radiograph)
    drawn(radiograph, vet, "marker", (0, 90), (100, 90), mm=25)
    drawn(later, vet, "marker", (0, 90), (50, 90), mm=25)
    drawn(radiograph, vet, "length", (0, 0), (40, 0), words="Gap")
    drawn(later, vet, "length", (0, 0), (10, 0), words="gap ")
    drawn(radiograph, vet, "angle", (50, 10), (10, 10), (10, 50), words="axis")
    drawn(later, vet, "angle", (50, 10), (10, 10), (50, 50), words="axis")
    drawn(later, vet, "length", (0, 0), (20, 0), words="only here")
    client.force_login(vet)

    page = client.get(url("compare", patient), {"first": radiograph.key, "second": later.key})

    assert [(each.name, each.first.value, each.second.value, each.change) for each in page.context["both"]] == [
        ("Length: Gap", "10.0 mm", "5.0 mm", "−5.0\xa0mm"),
        ("Angle: axis", "90.0°", "45.0°", "−45.0°"),
    ]
    assert "data-link-viewers" in page.content.decode()


def test_a_length_in_pixels_is_not_compared(client, patient, radiograph, vet):
    later = next_day(radiograph)
    for image in (radiograph, later):
        drawn(image, vet, "length", (0, 0), (40, 0), words="gap")
    client.force_login(vet)

    page = client.get(url("compare", patient), {"first": radiograph.key, "second": later.key})

    assert [each.change for each in page.context["both"]] == [""]
    assert "not comparable" in page.content.decode()


# --- who ----------------------------------------------------------------------------------------------------------


def everything(patient, image):
    return [url("all", patient), url("add", patient), url("compare", patient)] + [
        url(name, patient, image.key) for name in ("image", "picture", "small", "levels", "withdraw")
    ]


def test_a_carer_sees_none(client, patient, radiograph, carer):
    make.placement(patient, carer)
    client.force_login(carer.person)

    assert {client.get(each).status_code for each in everything(patient, radiograph)} == {403}


def test_for_another_hospital_there_is_nothing(client, patient, radiograph, stranger):
    client.force_login(stranger)

    assert {client.get(each).status_code for each in everything(patient, radiograph)} == {404}


def test_a_coordinator_looks_and_does_not_draw(client, patient, radiograph, coordinator):
    client.force_login(coordinator)

    assert client.get(url("image", patient, radiograph.key)).status_code == 200
    assert client.post(url("draw", patient, radiograph.key), {}).status_code == 403
    assert "draw-form" not in client.get(url("image", patient, radiograph.key)).content.decode()


def test_an_image_of_another_animal_is_not_found_here(client, radiograph, vet):
    other = make.patient(vet)
    client.force_login(vet)

    assert client.get(url("image", other, radiograph.key)).status_code == 404


def test_a_closed_case_takes_no_image(client, patient, vet):
    patient.closed_on = today()
    patient.save()
    client.force_login(vet)

    answer = client.post(url("add", patient), sent(picture=grey_png()))

    assert "This case was closed" in str(answer.context["form"].errors)

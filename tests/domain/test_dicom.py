"""DICOM files are read and made safe: held beside pydicom's own arrays, on the test files that it ships."""

import io
import warnings
from datetime import date
from decimal import Decimal
from pathlib import Path

import numpy
import pydicom
import pytest
from django.core.exceptions import ValidationError
from PIL import Image
from pydicom.data import get_testdata_file
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRLittleEndian,
    JPEG2000Lossless,
    JPEGExtended12Bit,
    JPEGLosslessSV1,
    RLELossless,
)

from hospital import pictures
from hospital.images.dicom import looks_like_dicom, read_dicom

CT, MR, MR_RLE, J2K = "CT_small.dcm", "MR_small.dcm", "MR_small_RLE.dcm", "JPEG2000.dcm"


def shipped(name: str) -> bytes:
    return Path(get_testdata_file(name, download=False)).read_bytes()


def changed(name: str, change) -> bytes:
    dataset = pydicom.dcmread(io.BytesIO(shipped(name)))
    change(dataset)
    file = io.BytesIO()
    dataset.save_as(file)
    return file.getvalue()


def kept(radiograph) -> numpy.ndarray:
    """The stored picture, read by Pillow alone."""
    return numpy.asarray(Image.open(io.BytesIO(radiograph.scan.data))).astype(int)


def sentence(data: bytes) -> str:
    with pytest.raises(ValidationError) as refused:
        read_dicom(data)
    return refused.value.message


@pytest.mark.parametrize("name", [CT, MR, MR_RLE, J2K])
def test_every_level_is_that_of_the_file(name):
    expected = pydicom.dcmread(io.BytesIO(shipped(name))).pixel_array.astype(int)

    assert looks_like_dicom(shipped(name))
    assert (kept(read_dicom(shipped(name))) == expected - min(expected.min(), 0)).all()


def test_a_packed_file_and_its_plain_twin_give_the_same_picture():
    assert (kept(read_dicom(shipped(MR_RLE))) == kept(read_dicom(shipped(MR)))).all()


def test_levels_go_to_the_viewer_as_they_are():
    levels = pictures.grey_levels(io.BytesIO(read_dicom(shipped(CT)).scan.data))

    assert levels == pydicom.dcmread(io.BytesIO(shipped(CT))).pixel_array.astype("<u2").tobytes()


@pytest.mark.parametrize("name", [CT, MR])
def test_kind_day_and_spacing_are_those_that_pydicom_reads(name):
    dataset, read = pydicom.dcmread(io.BytesIO(shipped(name))), read_dicom(shipped(name))

    assert read.kind == dataset.Modality.lower()
    assert read.taken_on == date.fromisoformat(dataset.AcquisitionDate or dataset.StudyDate)
    assert read.spacing_mm == tuple(round(Decimal(str(each)), 6) for each in dataset.PixelSpacing)
    assert read.spacing_kind == "body"


def test_nothing_of_the_person_or_the_place_is_kept():
    private = [
        str(each.value).encode()
        for each in pydicom.dcmread(io.BytesIO(shipped(CT)))
        if each.keyword in ("PatientName", "PatientID", "InstitutionName", "StationName", "StudyInstanceUID")
    ]
    assert len(private) > 3

    assert not any(each in read_dicom(shipped(CT)).scan.data for each in private)
    with Image.open(io.BytesIO(read_dicom(shipped(CT)).scan.data)) as png:
        png.load()
        assert png.info == {}


def radiograph_tags(dataset):
    dataset.Modality, dataset.BodyPartExamined, dataset.ViewPosition = "DX", "ELBOW", "LL"
    dataset.ImagerPixelSpacing = [0.2, 0.1]
    del dataset.PixelSpacing


def test_the_spacing_of_a_projection_is_at_the_detector():
    read = read_dicom(changed(CT, radiograph_tags))

    assert (read.spacing_mm, read.spacing_kind) == ((Decimal("0.2"), Decimal("0.1")), "detector")
    assert (read.kind, read.body_part, read.view_position) == ("radiograph", "Elbow", "LL")


def test_a_calibrated_projection_is_in_the_body():
    def calibrated(dataset):
        dataset.Modality, dataset.PixelSpacingCalibrationType = "DX", "FIDUCIAL"

    assert read_dicom(changed(CT, calibrated)).spacing_kind == "body"


def test_the_window_is_taken_back_to_stored_levels():
    """PS3.3 C.11.2.1.2.1: black at c − 0.5 − (w − 1) / 2, white at c − 0.5 + (w − 1) / 2, of rescaled values."""

    def windowed(dataset):
        dataset.WindowCenter, dataset.WindowWidth, dataset.RescaleSlope, dataset.RescaleIntercept = "100.5", "201", "2", "-1000"

    assert read_dicom(changed(CT, windowed)).window == (500, 600)


def test_levels_below_nothing_are_lifted_and_the_window_with_them():
    def below(dataset):
        dataset.PixelRepresentation = 1
        dataset.PixelData = (dataset.pixel_array.astype(int) - 1000).astype("<i2").tobytes()
        dataset.WindowCenter, dataset.WindowWidth, dataset.RescaleSlope, dataset.RescaleIntercept = "0.5", "101", "1", "0"

    read, before = read_dicom(changed(CT, below)), kept(read_dicom(shipped(CT)))

    assert (kept(read) == before - before.min()).all() or (kept(read) == before - 1000 + (1000 - before.min())).all()
    assert read.window == (1000 - before.min() - 50, 1000 - before.min() + 50)


def test_monochrome1_is_turned_so_that_dense_is_white():
    """PS3.3 C.7.6.3.1.2: with MONOCHROME1 the lowest value is shown as white."""
    turned = changed(CT, lambda dataset: setattr(dataset, "PhotometricInterpretation", "MONOCHROME1"))

    assert (kept(read_dicom(turned)) == 65535 - kept(read_dicom(shipped(CT)))).all()


@pytest.mark.parametrize("syntax", [JPEGExtended12Bit, JPEGLosslessSV1])
def test_a_packing_without_a_reader_is_refused_by_its_name(syntax):
    packed = changed(J2K, lambda dataset: setattr(dataset.file_meta, "TransferSyntaxUID", syntax))

    assert syntax.name in sentence(packed)


def test_a_deflated_file_is_not_unpacked():
    def deflated(dataset):
        dataset.file_meta.TransferSyntaxUID = DeflatedExplicitVRLittleEndian

    assert "Deflated" in sentence(changed(CT, deflated))


def test_a_stream_larger_than_the_file_says_is_not_decoded():
    """ISO/IEC 15444-1 A.5.1: the SIZ segment states the picture's own size."""
    bomb = shipped(J2K)
    siz = bomb.index(b"\xff\x4f\xff\x51")
    bomb = bomb[: siz + 8] + (60000).to_bytes(4, "big") * 2 + bomb[siz + 16 :]

    assert "damaged" in sentence(bomb)


def test_too_many_pixels_are_refused_before_any_is_read():
    def huge(dataset):
        dataset.Rows = dataset.Columns = 60000

    assert "24 million" in sentence(changed(CT, huge))


@pytest.mark.parametrize("name", [CT, MR_RLE, J2K])
@pytest.mark.parametrize("kept_share", [0.3, 0.7, 0.95])
def test_a_file_cut_off_is_refused(name, kept_share):
    data = shipped(name)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # as on a hospital's server, where a warning stops nothing
        if name == J2K and kept_share == 0.95:
            data = data[: data.index(b"\xff\x4f\xff\x51") + 60]
        assert sentence(data[: int(len(data) * kept_share)])


def test_several_pictures_or_colours_in_one_file_are_refused():
    assert "several" in sentence(changed(CT, lambda dataset: setattr(dataset, "NumberOfFrames", "3")))
    assert "coloured" in sentence(changed(CT, lambda dataset: setattr(dataset, "PhotometricInterpretation", "PALETTE COLOR")))
    assert "coloured" in sentence(shipped("examples_jpeg2k.dcm"))


def test_a_file_without_a_picture_is_refused():
    assert "no picture" in sentence(changed(CT, lambda dataset: dataset.__delattr__("PixelData")))


def test_letters_alone_make_no_dicom_file():
    assert "no picture" in sentence(bytes(128) + b"DICM" + b"\x89PNG" * 50)


def test_the_plain_syntaxes_are_the_ones_of_the_test_files():
    """Else the tests above would hold fewer ways of packing than they say."""
    read = {pydicom.dcmread(io.BytesIO(shipped(name))).file_meta.TransferSyntaxUID for name in (CT, MR_RLE, J2K)}

    assert {ExplicitVRLittleEndian, RLELossless} < read
    assert read & {JPEG2000Lossless, "1.2.840.10008.1.2.4.91"}

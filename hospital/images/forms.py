"""Forms about images: the file, what it shows, and what is drawn on it."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from hospital.admissions.days import day_field
from hospital.admissions.forms import words_field
from hospital.admissions.models import Patient
from hospital.images.dicom import Radiograph, looks_like_dicom, read_dicom
from hospital.images.models import Image, ImageKind, MeasurementKind
from hospital.images.queries import images_of
from hospital.pictures import PhotoField, Scan, safe_scan

MOST_POINTS = 3


class PictureField(PhotoField):
    """An image file: its value is a Scan, or a Radiograph if it was a DICOM file."""

    default_error_messages = {
        "required": _("Choose an image."),
        "missing": _("No image arrived. Choose it again."),
        "invalid": _("No image arrived. Choose it again."),
    }

    def __init__(self, **kwargs: Any):
        box = forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp,image/heic,application/dicom,.dcm"})
        super().__init__(widget=box, label=_("Image file"), help_text=_("JPEG, PNG, WebP, HEIC or DICOM."), **kwargs)

    def clean(self, data: Any, initial: Any = None) -> Scan | Radiograph | None:
        upload = forms.FileField.clean(self, data, initial)
        if not upload:
            return None
        content = upload.read(settings.IMAGE_MAX_BYTES + 1)
        if len(content) > settings.IMAGE_MAX_BYTES:
            most = settings.IMAGE_MAX_BYTES // 1024**2
            raise ValidationError(_now("This image is larger than %(most)d MB. Send a smaller one.") % {"most": most})
        return read_dicom(content) if looks_like_dicom(content) else safe_scan(content)


class ImageForm(forms.Form):
    """What is left empty is read from a DICOM file's own tags."""

    picture = PictureField()
    kind = forms.ChoiceField(label=_("Kind of image"), required=False, choices=[("", _("As the file says")), *ImageKind.choices])
    taken_on = day_field(_("Taken on"), required=False, help_text=_("Left empty, it is the day that a DICOM file states."))
    body_part = words_field(_("Part of the body"), 60)
    view_position = words_field(_("View"), 60, help_text=_("For example dorsoventral, lateral."))
    note = words_field(_("Note"), 250)


class PointsField(forms.CharField):
    """Points in whole tenths of a pixel, as the drawing script sends them: [[x, y], …]."""

    def to_python(self, value: Any) -> list[list[int]]:
        try:
            points = json.loads(super().to_python(value) or "[]")
            right = 0 < len(points) <= MOST_POINTS and all(len(p) == 2 and all(type(n) is int for n in p) for p in points)
        except (TypeError, ValueError, RecursionError):
            right = False
        if not right:
            raise ValidationError(_now("Draw on the picture first."))
        return points


class DrawForm(forms.Form):
    kind = forms.ChoiceField(choices=MeasurementKind, widget=forms.HiddenInput)
    points = PointsField(max_length=200, required=False, widget=forms.HiddenInput)
    marker_mm = forms.DecimalField(
        label=_("The marker's true length"), required=False, min_value=Decimal("0.1"), max_value=Decimal(1000), decimal_places=2,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "w-6", "autocomplete": "off"}),
        error_messages={"invalid": _("Give millimetres as a number, for example 25 or 12.7.")},
    )  # fmt: skip
    words = words_field(_("Words"), 160)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["marker_mm"].unit = "mm"
        self.fields["marker_mm"].says_optional = True  # shown for a marker only, and the action asks for it


class CompareForm(forms.Form):
    """Two images of one animal."""

    first = forms.ModelChoiceField(Image.objects.none(), to_field_name="key", label=_("Left"))
    second = forms.ModelChoiceField(Image.objects.none(), to_field_name="key", label=_("Right"))

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name in ("first", "second"):
            self.fields[name].queryset = images_of(patient)
            self.fields[name].label_from_instance = lambda image: f"{image.taken_on:%d-%b-%Y} {image}"

"""GeoJSON as in RFC 7946: longitude first, WGS 84, no other reference system, a feature without a place has a null geometry."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any, BinaryIO
from zoneinfo import ZoneInfo

from hospital.admissions.models import Patient
from hospital.exports.models import Export
from hospital.exports.places import found_place
from hospital.exports.tables import end_of


def write_geojson(file: BinaryIO, export: Export, patients: Iterable[Patient]) -> None:
    """Feature by feature, so that a long file needs no memory."""
    zone = ZoneInfo(export.hospital.zone)
    file.write(b'{"type": "FeatureCollection", "features": [')
    for place, patient in enumerate(patients):
        file.write(b",\n" if place else b"\n")
        file.write(json.dumps(_feature(patient, zone), ensure_ascii=False).encode())
    file.write(b"\n]}\n")


def _feature(patient: Patient, zone: ZoneInfo) -> dict[str, Any]:
    place = found_place(patient, is_exact=False)
    point = None
    if place.latitude is not None and place.longitude is not None:
        point = {"type": "Point", "coordinates": [float(place.longitude), float(place.latitude)]}
    told = {
        "admitted_on": patient.admitted_at.astimezone(zone).date().isoformat(),
        "species": patient.species.common_name,
        "scientific_name": patient.species.scientific_name,
        "cause": patient.cause.name if patient.cause else None,
        "outcome": end_of(patient) or None,
        "place": place.words or None,
        "uncertainty_m": place.uncertainty_m,
        "generalised": place.generalised or None,
        "withheld": place.withheld or None,
    }
    return {"type": "Feature", "id": str(patient.key), "geometry": point, "properties": told}

"""Reading what a hospital keeps beside its tables."""

from __future__ import annotations

import json
from pathlib import Path

from django.conf import settings

from hospital.sites.models import Hospital


def outline_file(hospital: Hospital) -> Path:
    """Where a hospital may keep the outline of its land as GeoJSON, so that the map needs nobody else's server."""
    return settings.DATA_DIR / "maps" / f"{hospital.slug}.geojson"


def outline(hospital: Hospital) -> bytes:
    """The outline as GeoJSON (RFC 7946). A hospital without one gets itself as a point, so that the map is not empty."""
    file = outline_file(hospital)
    return file.read_bytes() if file.is_file() else _only(hospital)


def _only(hospital: Hospital) -> bytes:
    at = {"type": "Point", "coordinates": [float(hospital.longitude), float(hospital.latitude)]}
    feature = {"type": "Feature", "properties": {"name": hospital.name}, "geometry": at}
    return json.dumps({"type": "FeatureCollection", "features": [feature]}).encode()

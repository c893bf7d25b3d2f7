"""Reading what a hospital keeps beside its tables."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings

from hospital.sites.models import Hospital

NO_OUTLINE = b'{"type": "FeatureCollection", "features": []}'


def outline_file(hospital: Hospital) -> Path:
    """Where a hospital may keep the outline of its land as GeoJSON, so that the map needs nobody else's server."""
    return settings.DATA_DIR / "maps" / f"{hospital.slug}.geojson"


def outline(hospital: Hospital) -> bytes:
    """The outline as GeoJSON (RFC 7946); one without features when the hospital has none."""
    file = outline_file(hospital)
    return file.read_bytes() if file.is_file() else NO_OUTLINE

"""Start-up checks, each with a hint."""

from __future__ import annotations

from django.conf import settings
from django.core.checks import Error, register
from django.db import connections
from django.db.utils import DatabaseError


@register("database")
def triggers_are_in_place(app_configs, databases=None, **kwargs) -> list[Error]:
    """The audit and the append-only tables live in triggers; a database without them must not be used."""
    from hospital.audit import triggers

    found = []
    for alias in databases or []:
        try:
            tables = set(connections[alias].introspection.table_names())
            missing = triggers.expected_names() - triggers.names_in(connections[alias])
        except DatabaseError as error:
            return [Error(f"The database cannot be read: {error}", hint="Check DATABASE_URL.", id="hospital.E004")]
        if "hospital_auditentry" in tables and missing:
            hint = "Run: python3 manage.py migrate"
            found.append(
                Error(f"{len(missing)} triggers are missing, such as {min(missing)}.", hint=hint, id="hospital.E003")
            )
    return found


@register()
def media_is_not_served(app_configs, **kwargs) -> list[Error]:
    """Photographs and packs are private: never below the folder of static files."""
    if settings.MEDIA_ROOT.is_relative_to(settings.STATIC_ROOT):
        return [Error("MEDIA_ROOT lies below STATIC_ROOT.", hint="Choose another DATA_DIR layout.", id="hospital.E005")]
    return []

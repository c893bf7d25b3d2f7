"""The app of facts: what happened to which animal."""

from django import forms
from django.apps import AppConfig
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate
from django.utils.translation import gettext_lazy as _


class HospitalConfig(AppConfig):
    name = "hospital"
    verbose_name = "Hospital"

    def ready(self) -> None:
        from hospital import checks  # noqa: F401
        from hospital.audit.acting import teach_sqlite

        # An empty box is told what to do; a form that knows better says so itself.
        forms.Field.default_error_messages["required"] = _("Fill this in, or choose one.")
        connection_created.connect(teach_sqlite)
        post_migrate.connect(install_triggers)


def install_triggers(sender: AppConfig, using: str, plan: list = (), **kwargs) -> None:
    """After the last of our apps has migrated, make the triggers anew."""
    from django.db import connections

    from hospital.audit import triggers

    tables = set(connections[using].introspection.table_names())
    if sender.name == "handover" and all(m._meta.db_table in tables for m in triggers.audited_models()):
        triggers.install(connections[using])

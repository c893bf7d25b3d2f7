"""Standing people, and makers for what tests need. Say in a test only what matters there."""

import tempfile
from pathlib import Path

import pytest
from django.conf import settings as all_settings
from django.db import connection

from handover.protocols.actions import adopt_group
from handover.protocols.models import LibraryRow
from handover.protocols.reference import load_protocols
from hospital.admissions.models import Cause, Species, TaxonGroup
from hospital.admissions.reference import load_reference
from hospital.audit.triggers import append_only_models
from hospital.clock import now
from tests import make


def pytest_configure() -> None:
    """Cheap passwords, static files straight from their folders, and photographs that nobody keeps."""
    all_settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    all_settings.STORAGES = all_settings.STORAGES | {
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    }
    all_settings.WHITENOISE_AUTOREFRESH = all_settings.WHITENOISE_USE_FINDERS = True
    all_settings.MEDIA_ROOT = Path(tempfile.mkdtemp(prefix="media-"))


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """The tests' database with the shipped rows in it: loading them for each test took as long as the tests."""
    with django_db_blocker.unblock():
        load_reference()
        load_protocols()


@pytest.fixture
def reference(db):
    """The shipped rows: there already, unless a test that commits has emptied the tables since."""
    if not Species.objects.exists():
        load_reference()
        load_protocols()


@pytest.fixture
def no_reference(db):
    """For a test that makes its own species and causes."""
    for each in (LibraryRow, Species, Cause):
        each.objects.all().delete()
    TaxonGroup.objects.update(parent=None)
    TaxonGroup.objects.all().delete()


@pytest.fixture
def adopted(reference, hospital, vet):
    """A hospital whose vet has adopted what concerns a freshwater turtle."""
    for group in ("animal", "reptile", "chelonian", "turtle-freshwater"):
        adopt_group(TaxonGroup.objects.get(pk=group), hospital=hospital, by=vet, at=now())


@pytest.fixture
def hospital(db):
    return make.hospital()


@pytest.fixture
def vet(hospital):
    return make.person("Vera Vet", hospital, "vet")


@pytest.fixture
def nurse(hospital):
    return make.person("Nina Nurse", hospital, "nurse")


@pytest.fixture
def coordinator(hospital):
    return make.person("Cora Coordinator", hospital, "coordinator")


@pytest.fixture
def carer(hospital):
    """A carer's profile; `carer.person` signs in."""
    return make.carer("Carl Carer", hospital)


@pytest.fixture
def stranger(db):
    """A vet of another hospital on the same installation."""
    return make.person("Stan Stranger", make.hospital(name="Elsewhere", slug="elsewhere"), "vet")


@pytest.fixture
def patient(vet):
    return make.patient(vet)


@pytest.fixture
def rows_may_go(request):
    """After a test that really commits, everything is removed; the triggers that forbid it come back with the next migrate."""
    yield
    for model in append_only_models():
        table = model._meta.db_table
        for action in ("update", "delete", *(["truncate"] if connection.vendor == "postgresql" else [])):
            where = f'"keep_rows_{action}" ON "{table}"' if connection.vendor == "postgresql" else f'"keep_rows_{action}_on_{table}"'
            with connection.cursor() as cursor:
                cursor.execute(f"DROP TRIGGER {where}")

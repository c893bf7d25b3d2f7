"""Standing people, and makers for what tests need. Say in a test only what matters there."""

import tempfile
from pathlib import Path

import pytest
from django.conf import settings as all_settings

from tests import make


def pytest_configure() -> None:
    """Cheap passwords, static files straight from their folders, and photographs that nobody keeps."""
    all_settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    all_settings.STORAGES = all_settings.STORAGES | {
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    }
    all_settings.WHITENOISE_AUTOREFRESH = all_settings.WHITENOISE_USE_FINDERS = True
    all_settings.MEDIA_ROOT = Path(tempfile.mkdtemp(prefix="media-"))


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

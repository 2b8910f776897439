"""What the tests of the site share: quick passwords and a browser session of a signed-in person."""

import pytest
from django.conf import LazySettings
from django.contrib.auth.models import User
from django.test import Client


@pytest.fixture(autouse=True)
def _quick_passwords(settings: LazySettings) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def signed_in(client: Client, person: User) -> Client:
    """A browser in which ``person`` is signed in."""
    client.force_login(person)
    return client

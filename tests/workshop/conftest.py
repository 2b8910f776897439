"""What the tests of the site share: a browser session of a signed-in person."""

import pytest
from django.contrib.auth.models import User
from django.test import Client


@pytest.fixture
def signed_in(client: Client, person: User) -> Client:
    """A browser in which ``person`` is signed in."""
    client.force_login(person)
    return client

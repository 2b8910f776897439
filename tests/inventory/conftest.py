"""What the tests of inventory share."""

import pytest
from django.contrib.auth.models import User
from django.test import Client


@pytest.fixture
def signed_in(client: Client, person: User) -> Client:
    client.force_login(person)
    return client

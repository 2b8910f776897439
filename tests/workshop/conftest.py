"""What the tests of the site share: a browser session of a signed-in person."""

import pytest
from django.contrib.auth.models import User
from django.test import Client

from workshop.people.rights import ROUTES, Asks, Right

STAND_INS = {"spools", "plain", "drop", "malformed", "forbidden", "broken"}


@pytest.fixture(autouse=True)
def _stand_ins_are_open_to_whoever_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in STAND_INS:
        monkeypatch.setitem(ROUTES, name, Asks(Right.SEE, Right.SEE))


@pytest.fixture
def signed_in(client: Client, person: User) -> Client:
    """A browser in which ``person`` is signed in."""
    client.force_login(person)
    return client

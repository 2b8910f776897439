"""Every page that can be looked at has its row in the walk over the large shelf, and every row its page."""

import pytest
from django.contrib.auth.models import User
from django.test import Client

from tests.benchmarks.large_shelf.api_rows import OPERATIONS, reading_operations
from tests.benchmarks.large_shelf.page_walk import LOOKED_AT, OF_NOBODY, OF_PROGRAMS, SENT_TO
from tests.workshop.conftest import STAND_INS
from tests.workshop.people.test_rights import address, every_route


def test_every_page_has_a_row() -> None:
    rows = set(LOOKED_AT) | SENT_TO | OF_NOBODY
    pages = {route for route in every_route() if route in rows or not route.startswith(OF_PROGRAMS)}
    assert pages - rows == set()
    assert rows - set(every_route()) - STAND_INS == set()


def test_every_operation_that_reads_has_a_row() -> None:
    assert set(OPERATIONS) == reading_operations()


@pytest.mark.django_db
def test_what_only_takes_what_is_sent_refuses_to_be_looked_at(client: Client) -> None:
    client.force_login(User.objects.create_superuser("morgan"))
    refused = {name: client.get(address(name)).status_code for name in sorted(SENT_TO)}
    assert {name: status for name, status in refused.items() if status != 405} == {}

"""An owner makes tokens, sees each once, and ends them; a command does the same."""

import io
import re

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.test import Client
from pytest_django.asserts import assertContains, assertNotContains

from tests.workshop.api.conftest import Program, a_member
from workshop.models import Role, Token
from workshop.people.rights import Right

pytestmark = pytest.mark.django_db
ASKED = {"name": "scale at the wall", "right": int(Right.STITCH), "station": "", "days": 30}


def secret_in(text: str) -> str:
    found = re.search(r"thread_[\w-]{40,}", text)
    assert found, text
    return found.group()


def test_a_token_is_shown_once_and_lets_a_program_in_until_it_is_ended(
    signed_in: Client, person: User
) -> None:
    made = signed_in.post("/people/tokens/", ASKED | {"user": person.pk})
    secret = secret_in(made.content.decode())
    assert "no-store" in made["Cache-Control"]
    page = signed_in.get("/people/tokens/")
    assertContains(page, "scale at the wall")
    assertNotContains(page, secret)
    program = Program(Client(), secret, None)
    assert program.get("stock").status_code == 200
    signed_in.post(f"/people/tokens/{Token.objects.get().pk}/end/")
    assert program.get("stock").status_code == 401


def test_a_token_that_would_reach_farther_than_its_person_is_refused(signed_in: Client) -> None:
    viewer = a_member("sam", Role.VIEWER)
    assertContains(
        signed_in.post("/people/tokens/", ASKED | {"user": viewer.pk}), "sam may not", status_code=422
    )
    assert not Token.objects.exists()


@pytest.mark.parametrize("wrong", [{"days": 0}, {"days": 9999}, {"right": 5}, {"right": 0}, {"name": " "}])
def test_what_makes_no_token_is_said_beside_the_field(
    signed_in: Client, person: User, wrong: dict[str, object]
) -> None:
    assert signed_in.post("/people/tokens/", ASKED | {"user": person.pk} | wrong).status_code == 422


def test_the_command_makes_lists_and_ends_tokens(person: User) -> None:
    def answer(*words: str) -> str:
        out = io.StringIO()
        call_command("token", *words, stdout=out)
        return out.getvalue()

    secret = secret_in(answer("scale", "--person", "morgan", "--right", "stitch", "--days", "7"))
    program = Program(Client(), secret, None)
    assert program.get("stock").status_code == 200
    assert "scale" in answer()
    answer("scale", "--end")
    assert program.get("stock").status_code == 401


def test_the_help_shows_how_a_spool_is_weighed_to_whoever_asks(client: Client) -> None:
    page = client.get("/help/api/")
    assertContains(page, "curl --silent")
    assertContains(page, "http://testserver/api/1")

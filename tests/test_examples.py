"""Every command says by an example how it is typed, and the example is one that it takes."""

import shlex

import pytest
from django.core.management import get_commands, load_command_class

from inventory.management.examples import CALLED, WithExample

OURS = {"inventory", "planning", "workshop"}
# Django's own, which this site only adds a word to.
NOT_OURS = {"migrate", "runserver"}
COMMANDS = sorted(name for name, app in get_commands().items() if app in OURS and name not in NOT_OURS)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_example_of_a_command_is_one_that_it_takes(name):
    command = load_command_class(get_commands()[name], name)
    assert isinstance(command, WithExample)
    called, *given = shlex.split(command.example)
    assert called == name
    parser = command.create_parser("manage.py", name)
    parser.parse_args(given)  # an argument that it does not know ends the test with what is wrong
    assert parser.format_help().endswith(f"Example:\n  {CALLED}{command.example}\n")

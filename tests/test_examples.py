"""Every command says by an example how it is typed, and what is shown anywhere is what commands take."""

import re
import shlex
from pathlib import Path

import pytest
from django.core.management import CommandError, get_commands, load_command_class

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


HOUSE = Path(__file__).resolve().parent.parent
WRITTEN = [
    HOUSE / "README.md",
    HOUSE / "workshop" / "deploy" / "README.md",
    *sorted((HOUSE / "workshop" / "handbook").rglob("*.md")),
]
# What is said of other programs, and of tests.
OTHER_PROGRAMS = {"test", "help"}
FENCED = re.compile(r"^```\w*\n(.*?)^```", re.MULTILINE | re.DOTALL)


def typed_in(written: str) -> list[str]:
    """Return what a page says to type: the lines of its blocks, and what stands in backticks in its sentences."""
    lines = [line for block in FENCED.findall(written) for line in block.splitlines()]
    return lines + re.findall(r"`([^`\n]+)`", FENCED.sub("", written))


def parser_of(name: str):
    return load_command_class(get_commands()[name], name).create_parser("manage.py", name)


def every_option() -> set[str]:
    parsers = [parser_of(name) for name in COMMANDS]
    return {option for parser in parsers for action in parser._actions for option in action.option_strings}


def not_taken(typed: str, options: set[str]) -> str:
    """Return what no command takes of something that is typed; nothing where all of it is, or it is no command."""
    words = shlex.split(typed, comments=True)
    if "manage.py" in words:
        words = words[words.index("manage.py") + 1 :]
    if words and words[0] in COMMANDS and (len(words) > 1 or "manage.py" in typed):
        try:
            parser_of(words[0]).parse_args(words[1:])
        except (CommandError, SystemExit) as refused:
            return f"{typed}: {refused}"
        return ""
    if "manage.py" in typed and words and words[0] not in OTHER_PROGRAMS | NOT_OURS:
        return f"{typed}: there is no command {words[0]}"
    alone = words and words[0].startswith("--") and words[0].partition("=")[0] not in options | {"--help"}
    return f"{typed}: no command has it" if alone else ""


@pytest.mark.parametrize("path", WRITTEN, ids=lambda path: path.relative_to(HOUSE).as_posix())
def test_what_the_handbook_and_the_readme_say_to_type_is_what_commands_take(path):
    options = every_option()
    said = [not_taken(typed, options) for typed in typed_in(path.read_text(encoding="utf-8"))]
    assert [each for each in said if each] == []


def test_an_option_that_no_command_has_is_told():
    options = every_option()
    assert not_taken("--json", options)
    assert not_taken("python3 manage.py plan badge.pes --pieces 24 --json", options)
    assert not_taken("python3 manage.py plann badge.pes", options)
    assert not not_taken("--format json", options)
    assert not not_taken("12.5 m", options)

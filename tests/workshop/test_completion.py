"""Bash completes commands and options from words that stand in its script: no Tab starts Python."""

import subprocess
from io import StringIO

import pytest
from django.core.management import ManagementUtility, call_command

from workshop.listing import commands_listed


@pytest.fixture(scope="module")
def script() -> str:
    out = StringIO()
    call_command("completion", stdout=out)
    return out.getvalue()


def completed(script: str, *words: str) -> list[str]:
    """Return what a Tab after the last of these words offers, in a shell that finds no program at all."""
    typed = " ".join(f"'{word}'" for word in words)
    asked = f"COMP_WORDS=({typed}); COMP_CWORD={len(words) - 1}; _enough_thread; printf '%s\\n' \"${{COMPREPLY[@]}}\""
    done = subprocess.run(
        ["/bin/bash", "--norc", "-c", f"{script}\n{asked}"],
        env={"PATH": ""},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    return done.stdout.split()


def test_the_beginning_of_a_command_becomes_its_name(script: str) -> None:
    assert completed(script, "./manage.py", "weig") == ["weigh"]
    assert {"use", "weigh", "match", "plan", "backup"} <= set(completed(script, "manage.py", ""))
    assert completed(script, "python3", "manage.py", "check_l") == ["check_ledger"]


def test_options_are_those_of_the_command(script: str) -> None:
    assert "--empty" in completed(script, "./manage.py", "weigh", "S0001", "--")
    assert "--empty" not in completed(script, "./manage.py", "match", "--")
    assert completed(script, "enough-thread", "match", "#c41e3a", "--lim") == ["--limit"]


def test_names_of_files_are_left_to_the_shell(script: str) -> None:
    assert completed(script, "./manage.py", "plan", "gul") == []
    assert completed(script, "python3", "other.py", "weig") == []
    assert "-o default" in script


def test_help_lists_what_django_would_list() -> None:
    listed = ManagementUtility(["manage.py", "help"]).main_help_text()
    assert commands_listed("manage.py").split("\n") == listed.split("\n")

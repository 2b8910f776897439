"""README and DEVELOPERS.md say what is so: paths exist, commands parse, and the answer quoted is the demo's."""

import re
import shlex
from pathlib import Path

import pytest
from django.conf import LazySettings
from django.core.management import get_commands, load_command_class
from django.core.management.base import CommandError

from fixtures.pictures import PICTURES, answer_in_readme, demo_answer, quoted_answer

HOUSE = Path(__file__).resolve().parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
TOP = ("workshop", "inventory", "planning", "tests", "fixtures", ".ci")
PATH = re.compile(rf"(?<![\w/])((?:{'|'.join(map(re.escape, TOP))})/[\w./-]*\w/?)")
LEAST_QUESTIONS = 30
# Not ours: Django's own, and the worker's, which parses only where a database backend is set up.
OTHERS = {"migrate", "runserver"}


def told(name: str) -> str:
    return (HOUSE / name).read_text(encoding="utf-8")


def paths_in(text: str) -> list[str]:
    """Return what is written as a path below the house: in back ticks, or as the target of a link."""
    marked = re.findall(r"`([^`\n]+)`", text) + re.findall(r"\]\(([^)\s]+)\)", text)
    return [path for words in marked if " " not in words for path in PATH.findall(words)]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_every_path_that_is_named_exists(name: str) -> None:
    paths = paths_in(told(name))
    assert paths
    assert [path for path in paths if not (HOUSE / path).exists()] == []


def test_the_map_answers_the_questions_of_a_newcomer() -> None:
    table = told("DEVELOPERS.md").partition("| question | where |")[2].partition("\n## ")[0]
    rows = [line.split("|")[1:3] for line in table.splitlines() if line.startswith("| ") and "**" not in line]
    assert len(rows) >= LEAST_QUESTIONS
    assert [question for question, where in rows if not paths_in(where)] == []


def test_every_room_has_a_line_of_the_map() -> None:
    rooms = told("DEVELOPERS.md").partition("| room, bottom to top |")[2].partition("| question |")[0]
    named = {path.rstrip("/") for path in paths_in(rooms)}
    packages = {
        str(path.parent.relative_to(HOUSE))
        for app in ("inventory", "planning")
        for path in (HOUSE / app).glob("*/__init__.py")
    }
    assert packages - named == {"inventory/migrations", "inventory/templatetags"} | {
        "planning/migrations",
        "planning/templatetags",
    }


def command_lines() -> list[str]:
    return [
        line
        for document in DOCUMENTS
        for line in re.findall(r"python3 manage\.py [^`\n]+", told(document))
        if not line.endswith("…")
    ]


def security_rows() -> list[list[str]]:
    table = told("DEVELOPERS.md").partition("## Security, chapter by chapter")[2]
    return [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in table.splitlines()
        if line.startswith("| V")
    ]


def test_every_test_that_the_table_of_security_names_is_there_once() -> None:
    named = {name for row in security_rows() for name in re.findall(r"`([\w/]*test_\w+\.py)`", row[2])}
    assert len(named) > 10
    there = [path.relative_to(HOUSE).as_posix() for path in (HOUSE / "tests").rglob("test_*.py")]
    found = {name: sum(path == name or path.endswith(f"/{name}") for path in there) for name in named}
    assert found == dict.fromkeys(named, 1)


def test_the_table_of_security_has_every_chapter_and_says_what_is_not_met() -> None:
    rows = security_rows()
    assert {row[0].split(".")[0].split()[0] for row in rows} == {f"V{number}" for number in range(1, 15)}
    for chapter, stands, why in rows:
        assert stands in ("met", "met in part", "does not apply"), chapter
        assert why
        assert ("Not met" in why) == (stands == "met in part"), chapter


@pytest.mark.parametrize("line", command_lines())
def test_every_command_line_parses(line: str) -> None:
    _, _, name, *words = shlex.split(line)
    if name in {
        "test",
        "help",
    }:  # the first is answered by manage.py, the second by Django, before any command
        return
    assert name in get_commands()
    if name in OTHERS:
        return
    app = get_commands()[name]
    command = load_command_class(app, name) if isinstance(app, str) else app
    try:
        command.create_parser("manage.py", name).parse_args(words)
    except (CommandError, SystemExit) as problem:
        pytest.fail(f"{line}: {problem}")


def test_the_pictures_of_readme_are_kept_where_the_handbooks_lie() -> None:
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", told("README.md"))
    assert {(HOUSE / path).parent for path in shown} == {PICTURES, PICTURES / "en"}
    assert [path for path in shown if not (HOUSE / path).exists()] == []


@pytest.mark.django_db
def test_the_answer_in_readme_is_the_demos(settings: LazySettings, tmp_path: Path) -> None:
    """If this fails, the demo answers otherwise than README says: run ``python3 fixtures/pictures.py``."""
    settings.DATA_FOLDER = tmp_path
    settings.MEDIA_ROOT = tmp_path / "files"
    _, _, plan = demo_answer()
    assert answer_in_readme() == quoted_answer(plan)
    assert plan.verdict in answer_in_readme().lower()

"""Templates that a person can edit: short lines, nothing told twice, and blocks of one name in every base."""

import re
from collections import defaultdict
from itertools import combinations
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[1]
TEMPLATES = sorted(
    path
    for app in ("workshop", "inventory", "planning")
    for path in (HOUSE / app / "templates").rglob("*.html")
)
MOST_COLUMNS = 120
# A run of lines that two templates share; lines that only open or close something say nothing.
LONGEST_SHARED, LEAST_TELLING = 6, 5
ONLY_FRAME = re.compile(
    r"(</?(?:table|thead|tbody|tr|td|th|ul|li|div|section|p|dl|details)>|\{% (end\w+|else) %\})+"
)


def lines(path: Path) -> list[str]:
    return [line.strip() for line in path.read_text(encoding="utf-8").splitlines() if line.strip()]


def runs(said: list[str]) -> set[tuple[str, ...]]:
    """Return every run of so many lines of which enough tell something."""
    found = {tuple(said[i : i + LONGEST_SHARED]) for i in range(len(said) - LONGEST_SHARED + 1)}
    return {run for run in found if sum(not ONLY_FRAME.fullmatch(line) for line in run) >= LEAST_TELLING}


def test_no_line_is_wider_than_a_screen() -> None:
    wide = [
        f"{path.relative_to(HOUSE)}:{number}: {len(line)}"
        for path in TEMPLATES
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if len(line) > MOST_COLUMNS
    ]
    assert TEMPLATES
    assert wide == []


def test_what_stands_in_two_templates_is_one_partial() -> None:
    by_run: defaultdict[tuple[str, ...], list[str]] = defaultdict(list)
    for path in TEMPLATES:
        for run in runs(lines(path)):
            by_run[run].append(path.name)
    shared = {pair for names in by_run.values() for pair in combinations(sorted(names), 2)}
    assert shared == set()


def test_the_finder_of_shared_lines_finds_them() -> None:
    told = [f"<p>{number}</p>" for number in range(LONGEST_SHARED)]
    assert runs(["<div>", *told]) & runs([*told, "</div>"])
    assert not runs(["</div>", "</div>", "</tr>", "</table>", "<p>1</p>", "<p>2</p>"])


def test_every_block_that_a_page_fills_is_one_that_the_bases_name() -> None:
    """A block with a name of its own would silently be left out of the page."""
    named = set()
    for base in ("base.html", "plain.html"):
        path = HOUSE / "workshop" / "templates" / "workshop" / base
        named |= set(re.findall(r"\{% block (\w+) %\}", path.read_text(encoding="utf-8")))
    filled = {
        name: path.name
        for path in TEMPLATES
        for name in re.findall(r"\{% block (\w+) %\}", path.read_text(encoding="utf-8"))
    }
    assert {name: page for name, page in filled.items() if name not in named} == {}

"""The pages of the handbook, as they are written: Markdown, a folder for each language.

A link may name a page (``page:plan``), a route (``route:buying``) or a picture (``picture:run-sheet``); a block that is
called ``example`` holds commands as they are typed.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext_noop as N_

WRITTEN = Path(__file__).resolve().parent
FIRST = "en"
CALLED = "python3 manage.py "
CHAPTERS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (N_("Beginning"), ("first-answer", "spools", "lists", "stocktake")),
    (N_("Planning"), ("designs", "plan", "colours", "short", "jobs", "money")),
    (N_("Doing"), ("cutting", "machine", "names", "finish")),
    (N_("Buying"), ("buying", "shop")),
    (N_("Looking after it"), ("people", "safe", "commands", "care")),
)
ORDER = tuple(slug for _chapter, slugs in CHAPTERS for slug in slugs)

_LINK = re.compile(r"\]\((page|route|picture):([\w-]+)(#[\w-]+)?\)")
_EXAMPLE = re.compile(r"^```example\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class HandbookPage:
    """One page: ``written`` is its Markdown without the title, in ``language``, the folder that it lies in."""

    language: str
    slug: str
    title: str
    written: str

    @property
    def plain(self) -> str:
        """What it says, without marks and commands, in one line."""
        without = re.sub(r"!?\[([^\]]*)\]\([^)]*\)", r"\1", _EXAMPLE.sub("", self.written))
        unmarked = " ".join(re.sub(r"[*_`|>#]|^[-\d]+[.\s]|-{3,}", " ", without, flags=re.MULTILINE).split())
        return re.sub(r" ([,.;:!?])(?=\s|$)", r"\1", unmarked)

    @property
    def examples(self) -> list[str]:
        """Commands that it shows, without what calls them."""
        return [line for block in _EXAMPLE.findall(self.written) for line in block.splitlines()]

    @property
    def pictures(self) -> list[str]:
        """Names of the pictures that it shows."""
        return [name for kind, name, _place in self.links if kind == "picture"]

    @property
    def links(self) -> list[tuple[str, str, str]]:
        """What it leads to: *page*, *route* or *picture*, the name, and a place on the page."""
        return _LINK.findall(self.written)


def languages() -> list[str]:
    """Return the languages in which there is a handbook."""
    return sorted(path.name for path in WRITTEN.iterdir() if (path / f"{ORDER[0]}.md").exists())


@cache
def handbook(language: str) -> dict[str, HandbookPage]:
    """Return the pages by their names, in order; in English where the language (such as *de* or *en-gb*) has none."""
    folder = WRITTEN / language.partition("-")[0]
    folder = folder if folder.name in languages() else WRITTEN / FIRST
    return {slug: _read(folder / f"{slug}.md") for slug in ORDER}


def _read(path: Path) -> HandbookPage:
    title, _, written = path.read_text(encoding="utf-8").partition("\n")
    return HandbookPage(path.parent.name, path.stem, title.removeprefix("# "), written.strip() + "\n")


def as_html(page: HandbookPage, *, address: Callable[[str, str], str]) -> SafeString:
    """Return a page as HTML; ``address`` is asked where a link of a kind and name leads to."""
    from markdown import markdown  # only where somebody reads the handbook

    called = _EXAMPLE.sub(lambda found: _typed(found[1]), page.written)
    led = _LINK.sub(lambda found: f"]({address(found[1], found[2])}{found[3] or ''})", called)
    # The pages are our own, no stranger's words are in them.
    return mark_safe(markdown(led, extensions=["tables", "fenced_code", "sane_lists"], output_format="html"))


def _typed(commands: str) -> str:
    lines = "".join(f"{CALLED}{line}\n" for line in commands.splitlines())
    return f"```\n{lines}```"

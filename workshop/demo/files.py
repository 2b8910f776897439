"""The demo's files, read once and handed on as rows."""

import csv
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from planning.stitch_files.formats import FORMATS
from workshop.environment import HOUSE

FIXTURES = HOUSE / "fixtures"

Row = dict[str, str]


class DemoMissing(WorkshopError):
    """The demo's files are part of a checkout and this is none."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            _(
                "The demo's files are not here: there is no {path}. They come with the project's source, "
                "not with the installed package; run the demo from a copy of the source: python3 "
                "manage.py demo."
            ).format(path=path)
        )


@dataclass(frozen=True)
class Batch:
    """The batch that the demo plans."""

    design: str
    what: str
    pieces: int
    machine: str
    fabric: str
    hoop: str
    needed_in_days: int


@dataclass(frozen=True)
class DemoFiles:
    """``workshop`` as its TOML has it; the rest are rows of text, one a shade, a spool, and a use of a spool."""

    workshop: dict[str, Any]
    shades: list[Row]
    spools: list[Row]
    uses: list[Row]

    @property
    def batch(self) -> Batch:
        return Batch(**self.workshop["batch"])


def demo_files(fixtures: Path = FIXTURES) -> DemoFiles:
    """Return the content of the demo's files. Raises DemoMissing."""
    folder = fixtures / "demo"
    try:
        return DemoFiles(
            workshop=tomllib.loads((folder / "workshop.toml").read_text(encoding="utf-8")),
            shades=_rows(folder / "shades.csv"),
            spools=_rows(folder / "spools.csv"),
            uses=_rows(folder / "uses.csv"),
        )
    except FileNotFoundError as problem:
        raise DemoMissing(Path(problem.filename)) from None


def demo_designs(fixtures: Path = FIXTURES) -> list[Path]:
    """Return one stitch file for each of the demo's designs, in the format that says most of its colours.

    Raises DemoMissing where there is none.
    """
    folder = fixtures / "designs"
    known = [path for path in folder.glob("*.*") if path.suffix[1:].lower() in FORMATS]
    if not known:
        raise DemoMissing(folder)
    by_name: dict[str, list[Path]] = {}
    for path in known:
        by_name.setdefault(path.stem, []).append(path)
    return [min(paths, key=_says_least) for _, paths in sorted(by_name.items())]


def _says_least(path: Path) -> tuple[int, str]:
    """Sort formats with colours of their own first, those with a fixed palette next, then those without any."""
    return ("rgb", "palette", "none").index(FORMATS[path.suffix[1:].lower()].colours), path.name


def _rows(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))

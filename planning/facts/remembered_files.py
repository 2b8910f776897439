"""Remembered colours as a table: written for a spreadsheet, and read from one."""

import csv
import io

from django.utils.translation import gettext as _

from inventory.catalogue.equivalents import NoOneShade, one_shade
from inventory.compute.colour.lab import ColourNotUnderstood
from inventory.tables.cells import guarded, shown
from inventory.tables.problems import CellProblem
from inventory.tables.tables import read_table
from planning.facts.remembered import ColourAnswer, colour_written, remembered_now
from planning.models import Design

COLUMNS = ("colour", "shade", "design", "block")


def remembered_as_csv() -> str:
    """Return what is remembered now, a line each, as ``answers_in_file`` reads it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for each in remembered_now():
        cells = (
            each.hex,
            f"{each.shade.range} {each.shade.code}",
            each.design.sha256 if each.design else "",
            str(each.block or ""),
        )
        writer.writerow([guarded(cell) for cell in cells])
    return out.getvalue()


def answers_in_file(content: bytes) -> tuple[list[ColourAnswer], list[CellProblem]]:
    """Return the answers of a CSV file or workbook, and what is wrong with its other rows. Raises FileNotRead.

    ``design`` is the SHA-256 of a design's file or its name, and empty for every file.
    """
    table = read_table(content, columns=COLUMNS, essential=[("colour",), ("shade",)])
    answers: list[ColourAnswer] = []
    problems: list[CellProblem] = []
    for row in table.rows:
        cells = {name: (shown(row.cells.get(name) or "")).strip() for name in COLUMNS}
        try:
            hex = colour_written(cells["colour"]) if cells["colour"] else ""
        except ColourNotUnderstood as problem:
            problems.append(CellProblem(row.number, "colour", cells["colour"], str(problem)))
            continue
        try:
            shade = one_shade(cells["shade"])
        except NoOneShade as problem:
            problems.append(CellProblem(row.number, "shade", cells["shade"], str(problem)))
            continue
        designs = list(_designs(cells["design"])) if cells["design"] else [None]
        if len(designs) != 1:
            words = _("No design is called so.") if not designs else _("Several designs are called so.")
            problems.append(CellProblem(row.number, "design", cells["design"], words))
            continue
        if cells["block"] and not cells["block"].isdecimal():
            problems.append(
                CellProblem(row.number, "block", cells["block"], _("Give the number of a block."))
            )
            continue
        answers.append(ColourAnswer(hex, shade, designs[0], int(cells["block"]) if cells["block"] else None))
    return answers, problems


def _designs(written: str) -> list[Design]:
    return list(Design.objects.filter(sha256=written.lower()) or Design.objects.filter(name=written)[:2])

"""Put the spools of a person's own list on the shelf, or say what of it is not understood."""

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import parse_length
from inventory.compute.spoken import N_
from inventory.files.listening.landing import land_list, usual_reading
from inventory.files.listening.meanings import LEFT_OUT, MEANINGS
from inventory.files.listening.reading import KeptList, read_kept_list
from inventory.files.listening.rows import ListedRow, Reading, column_words, understand
from inventory.management.base import WorkshopCommand


class Command(WorkshopCommand):
    help = N_(
        "Put the spools of FILE, a list with columns and words of its own, on the shelf: all of "
        "it or nothing. Exits 1 where a row is not understood."
    )
    example = 'import_list wall.xlsx --column "Colour no=code"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", metavar="FILE", type=Path)
        parser.add_argument("--sheet", default="", help=_("The sheet of a workbook; else the likeliest."))
        parser.add_argument(
            "--column",
            action="append",
            default=[],
            metavar="HEADING=MEANING",
            help=_(
                "What a column is, where it was guessed wrongly: {names}, or nothing to leave it out."
            ).format(names=", ".join(MEANINGS)),
        )
        parser.add_argument("--unit", choices=["m", "yd"], help=_("The unit of bare lengths."))
        parser.add_argument("--maker", help=_("The maker where the list names none."))
        parser.add_argument("--weight", help=_("The thickness where the list names none, such as '40 wt'."))
        parser.add_argument(
            "--full", help=_("What a full spool holds where the list does not say, such as 1000m.")
        )
        parser.add_argument(
            "--unsaid-is-full", action="store_true", help=_("Take a spool of which nothing is said for full.")
        )
        parser.add_argument("--leave-out", type=int, action="append", default=[], metavar="ROW")
        parser.add_argument("--dry-run", action="store_true", help=_("Only say what was understood."))

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            content = options["file"].read_bytes()
        except OSError as problem:
            raise WorkshopError(
                _("{path} cannot be read: {problem}.").format(path=options["file"], problem=problem.strerror)
            ) from None
        kept = read_kept_list(content, sheet=options["sheet"])
        reading = _reading(kept, options)
        rows = understand(kept, reading, left_out=options["leave_out"])
        asked = [row for row in rows if row.asked]
        spools = sum(len(row.spools) for row in rows)
        landed = None
        if not asked and not options["dry_run"]:
            landed = land_list(
                kept,
                rows,
                reading=reading,
                at=timezone.now(),
                by=None,
                reference=f"list {options['file'].name}",
            )
        if options["format"] == "json":
            self.write_json(
                {
                    "columns": {column_words(kept, at): each for at, each in enumerate(reading.meanings)},
                    "rows": len(rows),
                    "spools": spools,
                    "landed": landed is not None,
                    "landed_before": landed is not None and landed.before,
                    "asked": [_asked(kept, row) for row in asked],
                }
            )
        else:
            self._tell(kept, reading, rows, spools=spools, before=landed is not None and landed.before)
        if asked:
            sys.exit(1)

    def _tell(
        self, kept: KeptList, reading: Reading, rows: list[ListedRow], *, spools: int, before: bool
    ) -> None:
        for at, meaning in enumerate(reading.meanings):
            words = _(MEANINGS[meaning].words) if meaning else _("left out")
            self.stdout.write(f"{column_words(kept, at)}: {words}")
        for note in kept.notes:
            self.stdout.write(note)
        asked = [row for row in rows if row.asked]
        for row in asked:
            for each in row.asked:
                self.stdout.write(
                    _('Row {number}, {column} "{text}": {reason}').format(
                        number=row.number,
                        column=column_words(kept, each.column),
                        text=each.text,
                        reason=each.reason,
                    )
                )
        rows_said = ngettext("{number} row", "{number} rows", len(rows)).format(number=len(rows))
        spools_said = ngettext("{number} spool", "{number} spools", spools).format(number=spools)
        said = _("Understood: {understood} of {rows}, {spools}.")
        if before:
            said = _("Understood: {understood} of {rows}, {spools}. All of it came before.")
        self.stdout.write(said.format(understood=len(rows) - len(asked), rows=rows_said, spools=spools_said))


def _asked(kept: KeptList, row: ListedRow) -> dict[str, object]:
    return {
        "row": row.number,
        "cells": [
            {"column": column_words(kept, each.column), "text": each.text, "reason": each.reason}
            for each in row.asked
        ],
    }


def _reading(kept: KeptList, options: dict[str, Any]) -> Reading:
    usual, _again = usual_reading(kept, unit="m")
    meanings = list(usual.meanings)
    names = [column_words(kept, at).casefold() for at in range(len(meanings))]
    for written in options["column"]:
        heading, _equals, meaning = written.rpartition("=")
        if heading.casefold() not in names or (meaning and meaning not in MEANINGS):
            columns = ", ".join(column_words(kept, at) for at in range(len(names)))
            raise WorkshopError(
                _("{written} is not understood. Columns: {columns}. Meanings: {meanings}.").format(
                    written=written, columns=columns, meanings=", ".join(MEANINGS)
                )
            )
        if meaning in meanings:
            meanings[meanings.index(meaning)] = LEFT_OUT
        meanings[names.index(heading.casefold())] = meaning
    return Reading(
        tuple(meanings),
        unit=options["unit"] or usual.unit,
        maker=usual.maker if options["maker"] is None else options["maker"],
        weight_label=usual.weight_label if options["weight"] is None else options["weight"],
        full_mm=parse_length(options["full"]) if options["full"] else usual.full_mm,
        unsaid_is_full=options["unsaid_is_full"] or usual.unsaid_is_full,
    )

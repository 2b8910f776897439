"""Move the workshop to a database of the other kind, or take everything out for good."""

import csv
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from django.db import DatabaseError, connections
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.files.export import export_csv
from inventory.files.importing import KINDS
from inventory.kept_files import DamagedFile, FileNotKept, read_kept
from inventory.models import LongWork, WorkProcess
from planning.library.designs import kept_file
from planning.library.photos import photo_bytes
from planning.models import Design, StitchOutNote
from workshop.backup.routing import migrate_database
from workshop.backup.rows import (
    all_models,
    another_database,
    copy_rows,
    differences,
    rows_of,
    waiting_migrations,
)

# What is nobody's business outside: signs-in, and what passwords are kept as.
NOT_TAKEN_OUT = ("sessions", "axes", "admin", "contenttypes", "django_tasks_database")
# What a new database has once its tables are made, and a move that was interrupted leaves.
FILLED_BY_THEMSELVES = {"django_migrations", "django_content_type", "auth_permission"}
SECRET_COLUMNS = {("auth_user", "password")}


class CannotMove(WorkshopError):
    """Nothing was moved; the workshop is where it was."""


@dataclass(frozen=True)
class Moved:
    """How many rows are now in the other database, every one compared."""

    rows: int
    url: str


def move_database(url: str) -> Moved:
    """Copy everything into the empty database at ``url`` and compare it row by row. This one is not changed.

    An interrupted move leaves the other database empty, and can be done again. Raises CannotMove.
    """
    if urlsplit(url).scheme not in ("sqlite", "postgres", "postgresql"):
        raise CannotMove(
            _(
                "{url!r} is no address of a database. Give postgres://PERSON@SERVER/NAME or sqlite:////PATH."
            ).format(url=url[:40])
        )
    if waiting := waiting_migrations("default"):
        raise CannotMove(
            _("This database waits for {waiting}. Run first: python3 manage.py migrate").format(
                waiting=waiting[0]
            )
        )
    try:
        with another_database(url) as alias:
            _refuse_one_in_use(alias)
            migrate_database(alias)
            rows = copy_rows("default", alias)
            unequal = differences("default", alias)
    except DatabaseError as problem:
        raise CannotMove(
            _("The other database does not take it: {problem!s:.300}").format(problem=problem)
        ) from problem
    if unequal:
        raise CannotMove(
            _(
                "Somebody wrote while it was copied ({unequal:.200}). Stop the site, empty the other "
                "database, and move again."
            ).format(unequal=unequal[0])
        )
    return Moved(rows, url)


def _refuse_one_in_use(alias: str) -> None:
    """Raise CannotMove where any row would be replaced, of a workshop of whatever version or of another program."""
    connection = connections[alias]
    with connection.cursor() as cursor:
        for table in sorted(set(connection.introspection.table_names(cursor)) - FILLED_BY_THEMSELVES):
            cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(table)} LIMIT 1")
            if cursor.fetchone():
                raise CannotMove(
                    _(
                        "The other database has something in it already (in {table}). Name one that is empty."
                    ).format(table=table)
                )


def export_all(folder: Path) -> dict[str, int]:
    """Write everything in open formats for whoever leaves; return how many files of each kind.

    ``lists/`` has the lists that can be imported again, ``tables/`` every table as CSV with its own columns (SI units
    in the names), ``designs/`` the stitch files as they came, ``photographs/`` those of test pieces.
    """
    if folder.exists() and any(folder.iterdir()):
        raise CannotMove(_("{folder} is not empty. Name a new folder.").format(folder=folder))
    try:
        for part in ("lists", "tables", "designs", "photographs"):
            (folder / part).mkdir(parents=True, exist_ok=True)
        for kind in KINDS:
            (folder / "lists" / f"{kind}.csv").write_bytes(export_csv(kind))
        tables = _write_tables(folder / "tables")
        designs, missing = _write_designs(folder / "designs")
        photographs, missing_too = _write_photographs(folder / "photographs")
        missing += missing_too
    except OSError as problem:
        shutil.rmtree(folder, ignore_errors=True)
        raise CannotMove(
            _("{folder} cannot be written: {cause}. Make room first.").format(
                folder=folder, cause=problem.strerror or problem
            )
        ) from problem
    (folder / "README.txt").write_text(
        _(
            "Everything that this workshop kept in Enough Thread.\n\n"
            "lists/    what can be imported again, as the program's own lists\n"
            "tables/   every table, one row a line, UTF-8; lengths in mm, weights in mg, times in UTC\n"
            "designs/  the stitch files as they came; the number before the name is that of the table of designs\n"
            "photographs/  of test pieces, by the number of their note\n"
        )
        + "".join(_("\nNot there any more, or damaged: {name}").format(name=name) for name in missing)
    )
    return {
        "lists": len(KINDS), "tables": tables, "designs": designs, "photographs": photographs,
        "missing": len(missing),
    }  # fmt: skip


def _write_tables(folder: Path) -> int:
    written = 0
    for model in all_models():
        table = model._meta.db_table
        if model._meta.app_label in NOT_TAKEN_OUT or model in (LongWork, WorkProcess):
            continue
        columns = [field.column for field in model._meta.local_concrete_fields]
        shown = [place for place, column in enumerate(columns) if (table, column) not in SECRET_COLUMNS]
        with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
            lines = csv.writer(file)
            lines.writerow([columns[place] for place in shown])
            for row in rows_of(model, "default"):
                lines.writerow([_as_text(row[place]) for place in shown])
        written += 1
    return written


def _as_text(value: Any) -> Any:
    return value.isoformat() if hasattr(value, "isoformat") else value


def _write_designs(folder: Path) -> tuple[int, list[str]]:
    written, missing = 0, []
    for design in Design.objects.order_by("pk").iterator():
        name = "".join(letter if letter.isalnum() or letter in " ._-" else "_" for letter in design.file_name)
        try:
            (folder / f"{design.pk} {name[:120]}").write_bytes(read_kept(kept_file(design)))
            written += 1
        except (FileNotKept, DamagedFile):
            missing.append(design.file_name)
    return written, missing


def _write_photographs(folder: Path) -> tuple[int, list[str]]:
    written, missing = 0, []
    for note in StitchOutNote.objects.exclude(photo="").select_related("design").order_by("pk").iterator():
        try:
            (folder / f"{note.pk}.jpg").write_bytes(photo_bytes(note.photo))
            written += 1
        except (FileNotKept, DamagedFile):
            missing.append(_("the photograph of {design}, {note}").format(design=note.design, note=note))
    return written, missing

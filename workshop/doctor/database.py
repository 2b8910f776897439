"""The database itself: does it answer, is it whole, is it of this version, and who may read the file."""

import hashlib
import stat
from collections.abc import Iterator
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import Any

from django.db import DatabaseError, connection, transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.spoken import N_
from inventory.ledger.check import GUARDS, GUARDS_THERE
from inventory.schema.columns import column_problems
from inventory.schema.tables import columns_of, wanted_columns
from workshop.backup.rows import all_models, migrations_of, unknown_migrations, waiting_migrations
from workshop.doctor.finding import DoctorFinding

AREA = "database"
MIGRATE = N_("Mend it with: python3 manage.py migrate")
RESTORE = N_("Restore a backup: python3 manage.py restore FILE")


def database_findings() -> Iterator[DoctorFinding]:
    """Yield what is wrong with the database. After one that does not answer there is nothing else to look at."""
    try:
        connection.ensure_connection()
        yield from _whole()
        yield from _version()
        yield from _takes_a_write()
        yield from _triggers()
        yield from _modes()
    except DatabaseError as problem:
        yield DoctorFinding(
            AREA, _("The database does not answer ({problem!s:.200}).").format(problem=problem), _(RESTORE)
        )


def _whole() -> Iterator[DoctorFinding]:
    if connection.vendor != "sqlite":
        return
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA quick_check(3)")
        rows = [row[0] for row in cursor.fetchall()]
        if rows != ["ok"]:
            yield DoctorFinding(
                AREA, _("The database file is damaged ({damage:.120}).").format(damage=rows[0]), _(RESTORE)
            )
        cursor.execute("PRAGMA foreign_key_check")
        for table, row, parent, _index in cursor.fetchmany(5):
            yield DoctorFinding(
                AREA,
                _("Row {row} of {table} points to a row of {parent} that is not there.").format(
                    row=row, table=table, parent=parent
                ),
                _(RESTORE),
            )


def _version() -> Iterator[DoctorFinding]:
    for app, name in unknown_migrations(migrations_of("default")):
        yield DoctorFinding(
            AREA,
            _("The database is of a newer version: it knows {app} {name}.").format(app=app, name=name),
            _("Update Enough Thread itself."),
        )
    waiting = waiting_migrations("default")
    if waiting:
        yield DoctorFinding(
            AREA,
            ngettext(
                "The database waits for {count} change, {first}.",
                "The database waits for {count} changes, first {first}.",
                len(waiting),
            ).format(count=len(waiting), first=waiting[0]),
            _(MIGRATE),
        )
        return
    written = _as_written()
    if written and written in _found_right:
        return  # nothing to find: taking the tables apart is most of the work
    problems = list(_tables())
    if written and not problems:
        _found_right.add(written)
    yield from problems


# Tables, as the database has them written down, in which nothing was wrong.
_found_right: set[str] = set()


def _as_written() -> str:
    """Return a hash of all that SQLite has written down of its tables; empty where the engine has no such text."""
    if connection.vendor != "sqlite":
        return ""
    with connection.cursor() as cursor:
        cursor.execute("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name")
        return hashlib.sha256(repr(cursor.fetchall()).encode()).hexdigest()


def _tables() -> Iterator[DoctorFinding]:
    for model in all_models():
        wanted = wanted_columns(model)
        there = columns_of(connection, model)
        for column in sorted(wanted ^ there):
            what = (
                _("{table} has no column {column}.")
                if column in wanted
                else _("{table} has a needless column {column}.")
            )
            yield DoctorFinding(AREA, what.format(table=model._meta.db_table, column=column), _(RESTORE))
        for problem in column_problems(connection, model):
            yield DoctorFinding(AREA, problem, _(RESTORE))
        yield from _constraints(model)


def _constraints(model: Any) -> Iterator[DoctorFinding]:
    with connection.cursor() as cursor:
        there = connection.introspection.get_constraints(cursor, model._meta.db_table)
    for each in (*model._meta.constraints, *model._meta.indexes):
        if each.name not in there:
            yield DoctorFinding(
                AREA,
                _("{table} has lost {name}.").format(table=model._meta.db_table, name=each.name),
                _(RESTORE),
            )


def try_a_write() -> None:
    """Write one row and take it back. Raises DatabaseError where the database takes none."""
    from django.contrib.sessions.models import Session
    from django.utils import timezone

    with transaction.atomic():
        Session.objects.create(session_key="a-try", session_data="", expire_date=timezone.now())
        transaction.set_rollback(True)


def _takes_a_write() -> Iterator[DoctorFinding]:
    try:
        try_a_write()
    except DatabaseError as problem:
        yield DoctorFinding(
            AREA,
            _("The database takes no change ({problem!s:.120}).").format(problem=problem),
            _("See that its disk has room, and that its file and folder may be written."),
        )


def _triggers() -> Iterator[DoctorFinding]:
    with connection.cursor() as cursor:
        cursor.execute(GUARDS_THERE[connection.vendor])
        there = {name for (name,) in cursor.fetchall()}
    for name in GUARDS[connection.vendor]:
        if name not in there:
            yield DoctorFinding(
                AREA,
                _("Nothing keeps entries of the ledger from being changed: {name} is not in force.").format(
                    name=name
                ),
                _("Mend it with: python3 manage.py doctor --mend"),
                mend_now=_put_triggers_back,
            )


def _put_triggers_back() -> None:
    mending = import_module("inventory.migrations.0008_every_earlier_shelf")
    with connection.schema_editor() as schema_editor:
        mending.keep_entries_for_good(schema_editor)


def _modes() -> Iterator[DoctorFinding]:
    if connection.vendor != "sqlite":
        return
    place = Path(str(connection.settings_dict["NAME"]))
    for path in (place, place.with_name(f"{place.name}-wal")):
        if path.is_file() and stat.S_IMODE(path.stat().st_mode) & 0o077:
            yield DoctorFinding(
                AREA,
                _("Others on this computer may read {name}, and everything in it.").format(name=path.name),
                _("Mend it with: python3 manage.py doctor --mend (or chmod 600 {path})").format(path=path),
                mend_now=partial(path.chmod, 0o600),
            )

"""All rows of one database put into another of either kind, as values, so that nothing depends on the engine."""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any

from django.apps import apps
from django.core.management.color import no_style
from django.db import connections, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from workshop.environment import database_settings
from workshop.upgrading.history import FORMER, LANDED_AS

ROWS_AT_ONCE = 500


class CannotCopy(WorkshopError):
    """One database cannot be copied into the other."""


@contextmanager
def another_database(url: str, *, alias: str = "elsewhere") -> Iterator[str]:
    """Give the alias of a database beside the site's own for as long as the block runs."""
    given = connections.configure_settings({"default": database_settings(url)})
    connections.settings[alias] = given["default"]
    try:
        yield alias
    finally:
        connections[alias].close()
        del connections[alias]
        del connections.settings[alias]


@contextmanager
def one_moment(alias: str) -> Iterator[None]:
    """Read everything in the block as it was at one moment, while others go on writing."""
    connection = connections[alias]
    with transaction.atomic(using=alias, durable=False):
        if connection.vendor == "postgresql" and len(connection.savepoint_ids) == 0:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        yield


def migrations_of(alias: str) -> list[tuple[str, str]]:
    """Return the migrations that the database says are done, in order of their names."""
    return sorted(MigrationRecorder(connections[alias]).applied_migrations())


def unknown_migrations(done: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Return those that this version does not know of: they are from a newer one."""
    from django.db.migrations.loader import MigrationLoader

    known = {*MigrationLoader(None).disk_migrations, *FORMER, *LANDED_AS}
    ours = {app.label for app in apps.get_app_configs()}
    return [name for name in done if name[0] in ours and name not in known]


def waiting_migrations(alias: str) -> list[str]:
    """Return the names of migrations that are still to be done."""
    executor = MigrationExecutor(connections[alias])
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    return [f"{migration.app_label} {migration.name}" for migration, _backwards in plan]


def all_models() -> list[type[models.Model]]:
    """Return every model with a table, those of many-to-many fields too."""
    found = apps.get_models(include_auto_created=True)
    return [model for model in found if model._meta.managed and not model._meta.proxy]


def rows_of(model: type[models.Model], alias: str) -> Iterator[tuple[Any, ...]]:
    """Yield the rows of a table as Python values, in the order of their keys."""
    rows = model._base_manager.using(alias).order_by("pk")
    yield from rows.values_list(*_columns(model)).iterator(chunk_size=ROWS_AT_ONCE)


def _columns(model: type[models.Model]) -> list[str]:
    return [field.attname for field in model._meta.local_concrete_fields]


def copy_rows(source: str, target: str) -> int:
    """Put all rows of ``source`` into ``target`` in one transaction, in place of what is there. Return how many.

    Both must be at this version's migrations. Numbers that were given out and deleted are not given out again.
    """
    copied = 0
    with one_moment(source), transaction.atomic(using=target):
        _empty(target)
        for model in all_models():
            waiting = rows_of(model, source)
            while rows := list(islice(waiting, ROWS_AT_ONCE)):
                _insert(model, rows, target)
                copied += len(rows)
        _carry_counters(source, target)
        _count_rows(target)
    return copied


def _empty(alias: str) -> None:
    connection = connections[alias]
    tables = [model._meta.db_table for model in all_models()]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # No trigger of the ledger stands in the way of this: it forbids the change of single entries.
            cursor.execute(
                f"TRUNCATE {', '.join(map(connection.ops.quote_name, tables))} RESTART IDENTITY CASCADE"
            )
            return
        for table in tables:
            cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(table)} LIMIT 1")
            if cursor.fetchone() and table == "inventory_entry":
                raise CannotCopy(_("The other database has stock in it already. Name one that is empty."))
        for table in tables:
            cursor.execute(f"DELETE FROM {connection.ops.quote_name(table)}")


def _insert(model: type[models.Model], rows: list[tuple[Any, ...]], alias: str) -> None:
    connection = connections[alias]
    fields = list(model._meta.local_concrete_fields)
    quote = connection.ops.quote_name
    columns = ", ".join(quote(str(field.column)) for field in fields)
    places = ", ".join(["%s"] * len(fields))
    with connection.cursor() as cursor:
        cursor.executemany(
            f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({places})",
            [
                [field.get_db_prep_save(value, connection) for field, value in zip(fields, row, strict=True)]
                for row in rows
            ],
        )


def _carry_counters(source: str, target: str) -> None:
    counters = _counters(source)
    connection = connections[target]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for statement in connection.ops.sequence_reset_sql(no_style(), all_models()):
                cursor.execute(statement)
            for table, last in counters.items():
                cursor.execute(
                    "SELECT setval(pg_get_serial_sequence(%s, 'id'), %s)"
                    " WHERE pg_get_serial_sequence(%s, 'id') IS NOT NULL",
                    [f'"{table}"', last, f'"{table}"'],
                )
            return
        for table, last in counters.items():
            cursor.execute("UPDATE sqlite_sequence SET seq = max(seq, %s) WHERE name = %s", [last, table])
            if cursor.rowcount == 0:
                cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, last])


def _count_rows(alias: str) -> None:
    """Have PostgreSQL count its rows now: for a minute or so it would plan as for those that were there before."""
    connection = connections[alias]
    if connection.vendor == "postgresql":
        tables = [connection.ops.quote_name(model._meta.db_table) for model in all_models()]
        with connection.cursor() as cursor:
            cursor.execute(f"ANALYZE {', '.join(tables)}")


def _counters(alias: str) -> dict[str, int]:
    """Return the highest number that each table ever gave out."""
    connection = connections[alias]
    tables = {model._meta.db_table for model in all_models()}
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name, seq FROM sqlite_sequence")
            return {name: seq for name, seq in cursor.fetchall() if name in tables and seq}
        found = {}
        for model in all_models():
            if model._meta.pk is None or model._meta.pk.column != "id":
                continue
            cursor.execute("SELECT pg_get_serial_sequence(%s, 'id')", [f'"{model._meta.db_table}"'])
            (name,) = cursor.fetchone()
            if name:
                cursor.execute(f"SELECT last_value, is_called FROM {name}")
                last, called = cursor.fetchone()
                if called:
                    found[model._meta.db_table] = last
        return found


def differences(one: str, other: str) -> list[str]:
    """Return the tables that are not equal row by row, value by value."""
    found = []
    for model in all_models():
        rows, others = rows_of(model, one), rows_of(model, other)
        nothing = object()
        while True:
            left, right = next(rows, nothing), next(others, nothing)
            if left is nothing and right is nothing:
                break
            if left != right:
                found.append(f"{model._meta.db_table}: {left!r:.200} against {right!r:.200}")
                break
    return found

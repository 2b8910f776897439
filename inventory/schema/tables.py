"""Tables brought to the shape that a migration's models have, whatever shape they were left in.

``widen`` adds what is missing and removes nothing; then whoever knows what the old columns meant carries their
values over; ``settle`` removes what is too much and makes every constraint and index as the models say.
Only a migration's frozen models belong here: the models of the day would rewrite history.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

Model = type[models.Model]
Missing = dict[str, set[str]]


class CannotMend(Exception):
    """A column is missing for which no value can be made up."""


def tables_of(apps: Any, app_label: str) -> list[Model]:
    """Return the app's models that have a table of their own, those of many-to-many fields too."""
    found = apps.get_app_config(app_label).get_models(include_auto_created=True)
    return [model for model in found if model._meta.managed and not model._meta.proxy]


def missing_columns(connection: Any, wanted: Iterable[Model]) -> Missing:
    """Return the columns that are not there, by table. A table that is not there misses all of its columns."""
    found: Missing = {}
    for model in wanted:
        lacks = wanted_columns(model) - columns_of(connection, model)
        if lacks:
            found[model._meta.db_table] = lacks
    return found


def wanted_columns(model: Model) -> set[str]:
    """Return the names of the columns that the model's table should have."""
    return {str(field.column) for field in model._meta.local_concrete_fields}


def columns_of(connection: Any, model: Model) -> set[str]:
    """Return the names of the columns that the model's table has; none where there is no table."""
    with connection.cursor() as cursor:
        if model._meta.db_table not in connection.introspection.table_names(cursor):
            return set()
        description = connection.introspection.get_table_description(cursor, model._meta.db_table)
    return {column.name for column in description}


def widen(schema_editor: BaseDatabaseSchemaEditor, wanted: Iterable[Model]) -> Missing:
    """Make missing tables, and add missing columns with their defaults. Return what columns were missing."""
    wanted = list(wanted)
    connection = schema_editor.connection
    missing = missing_columns(connection, wanted)
    for model in wanted:
        there = columns_of(connection, model)
        if not there:
            schema_editor.create_model(model)
            continue
        for field in model._meta.local_concrete_fields:
            if field.column not in there:
                _add(schema_editor, model, field)
    return missing


def _add(schema_editor: BaseDatabaseSchemaEditor, model: Model, field: Any) -> None:
    value = schema_editor.effective_default(field)
    if value is None and not field.null and _has_rows(schema_editor.connection, model):
        raise CannotMend(f"{model._meta.db_table}.{field.column} is missing, and has no value to begin with.")
    if schema_editor.connection.vendor != "sqlite":
        schema_editor.add_field(model, field)
        return
    # Bare, without its constraints: the table is made anew by ``settle`` once the old columns were read.
    default = "" if value is None else f" DEFAULT {schema_editor.prepare_default(value)}"
    kind = field.db_parameters(schema_editor.connection)["type"]
    schema_editor.execute(
        f"ALTER TABLE {_quoted(schema_editor, model._meta.db_table)}"
        f" ADD COLUMN {_quoted(schema_editor, field.column)} {kind}{default}",
        params=None,
    )


def _has_rows(connection: Any, model: Model) -> bool:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(model._meta.db_table)} LIMIT 1")
        return cursor.fetchone() is not None


def settle(schema_editor: BaseDatabaseSchemaEditor, wanted: Iterable[Model]) -> list[str]:
    """Make every table exactly what its model says, rows kept. Return the tables that were not."""
    settled = []
    for model in wanted:
        if schema_editor.connection.vendor == "sqlite":
            changed = _settle_sqlite(schema_editor, model)
        else:
            changed = _settle_postgresql(schema_editor, model)
        if changed:
            settled.append(model._meta.db_table)
    return settled


def _settle_sqlite(schema_editor: Any, model: Model) -> bool:
    if _sqlite_shape(schema_editor, model) == _sqlite_shape_there(schema_editor.connection, model):
        return False
    schema_editor._remake_table(model)
    return True


def _sqlite_shape(schema_editor: Any, model: Model) -> tuple[frozenset[str], frozenset[str]]:
    """Return the clauses of the table as the model would have it made, and its indexes."""
    waiting, schema_editor.deferred_sql = schema_editor.deferred_sql, []
    try:
        statement, _ = schema_editor.table_sql(model)
        indexes = [*schema_editor.deferred_sql, *schema_editor._model_indexes_sql(model)]
    finally:
        schema_editor.deferred_sql = waiting
    return frozenset(_clauses(statement)), frozenset(_plain(str(index)) for index in indexes if index)


def _sqlite_shape_there(connection: Any, model: Model) -> tuple[frozenset[str], frozenset[str]]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT type, sql FROM sqlite_master WHERE tbl_name = %s AND sql IS NOT NULL"
            " AND type IN ('table', 'index')",
            [model._meta.db_table],
        )
        rows = cursor.fetchall()
    tables = [sql for kind, sql in rows if kind == "table"]
    return (
        frozenset(clause for sql in tables for clause in _clauses(sql)),
        frozenset(_plain(sql) for kind, sql in rows if kind == "index"),
    )


def _clauses(statement: str) -> Iterator[str]:
    """Give the parts between the outermost parentheses, parted at their commas.

    >>> list(_clauses('CREATE TABLE "a" ("id" integer NOT NULL, CHECK ("id" IN (1, 2)))'))
    ['"id" integer not null', 'check ("id" in (1, 2))']
    """
    depth, start, quote = 0, 0, ""
    for place, letter in enumerate(statement):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "'\"":
            quote = letter
        elif letter == "(":
            depth += 1
            start = place + 1 if depth == 1 else start
        elif letter in "),":
            if depth == 1:
                yield _plain(statement[start:place])
                start = place + 1
            depth -= letter == ")"


def _plain(sql: str) -> str:
    return re.sub(r"\s+", " ", sql).strip().lower()


def _settle_postgresql(schema_editor: Any, model: Model) -> bool:
    table = model._meta.db_table
    too_many = sorted(columns_of(schema_editor.connection, model) - wanted_columns(model))
    for column in too_many:
        schema_editor.execute(
            f"ALTER TABLE {_quoted(schema_editor, table)} DROP COLUMN {_quoted(schema_editor, column)} CASCADE"
        )
    with schema_editor.connection.cursor() as cursor:
        there = schema_editor.connection.introspection.get_constraints(cursor, table)
    waiting = {str(statement) for statement in schema_editor.deferred_sql}
    lacking: list[Any] = [
        *(each for each in model._meta.constraints if _is_missing(each.name, there, waiting)),
        *(each for each in model._meta.indexes if _is_missing(each.name, there, waiting)),
    ]
    for each in lacking:
        add = schema_editor.add_index if isinstance(each, models.Index) else schema_editor.add_constraint
        add(model, each)
    return bool(too_many or lacking)


def _is_missing(name: str, there: dict[str, Any], waiting: set[str]) -> bool:
    return name not in there and not any(f'"{name}"' in statement for statement in waiting)


def _quoted(schema_editor: BaseDatabaseSchemaEditor, name: str) -> str:
    return schema_editor.connection.ops.quote_name(name)

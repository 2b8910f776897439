"""What kind each column of a table is, whether it may be empty, and what stands in it by itself."""

import re
from typing import Any, NamedTuple

from django.db import models
from django.db.models.fields import NOT_PROVIDED

# How each engine calls what Django calls otherwise.
_AS_TOLD = (
    (re.compile(r"\s+"), ""),
    (re.compile("^varchar"), "charactervarying"),
    (re.compile("^(?:small|big)?serial"), "integer"),
)
_NUMBER = {"integer", "bigint"}


class ColumnKind(NamedTuple):
    """A column as the database has it: ``default`` is its own text for it, None where there is none."""

    kind: str
    may_be_empty: bool
    default: str | None


def kinds_there(connection: Any, table: str) -> dict[str, ColumnKind]:
    """Return the columns of ``table`` as the database tells of them."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f"PRAGMA table_info({connection.ops.quote_name(table)})")
            return {
                name: ColumnKind(kind, not filled, default)
                for _, name, kind, filled, default, _ in cursor.fetchall()
            }
        cursor.execute(
            "SELECT attname, format_type(atttypid, atttypmod), NOT attnotnull, pg_get_expr(adbin, adrelid)"
            " FROM pg_attribute LEFT JOIN pg_attrdef ON adrelid = attrelid AND adnum = attnum"
            " WHERE attrelid = to_regclass(%s) AND attnum > 0 AND NOT attisdropped",
            [connection.ops.quote_name(table)],
        )
        return {name: ColumnKind(*told) for name, *told in cursor.fetchall()}


def column_problems(connection: Any, model: type[models.Model]) -> list[str]:
    """Return in words which columns are not of the kind that the model says, one by one.

    Columns that are missing or needless are not told of here.
    """
    table = model._meta.db_table
    there = kinds_there(connection, table)
    found = []
    for field in model._meta.local_concrete_fields:
        column = there.get(str(field.column))
        if column is None:
            continue
        wanted = str(field.db_parameters(connection)["type"])
        if not _alike(wanted, column.kind, numbered=field.primary_key):
            found.append(f"{table}.{field.column} is {column.kind}, not {wanted}.")
        if column.may_be_empty != field.null and not field.primary_key:
            may = "may be empty" if column.may_be_empty else "may not be empty"
            found.append(f"{table}.{field.column} {may}, against what the program says.")
        by_itself = column.default is not None and not str(column.default).startswith("nextval(")
        if by_itself != (getattr(field, "db_default", NOT_PROVIDED) is not NOT_PROVIDED):
            found.append(f"{table}.{field.column} is filled by itself with {column.default}.")
    return found


def _alike(wanted: str, there: str, *, numbered: bool) -> bool:
    """Return whether two names are those of one kind; numbers of rows may be of either width.

    >>> _alike("varchar(12)", "character varying(12)", numbered=False)
    True
    >>> _alike("numeric(10, 2)", "numeric(8,2)", numbered=False), _alike("integer", "bigint", numbered=True)
    (False, True)
    """
    one, other = _told(wanted), _told(there)
    return one == other or (numbered and {one, other} <= _NUMBER)


def _told(kind: str) -> str:
    kind = kind.lower()
    for sign, word in _AS_TOLD:
        kind = sign.sub(word, kind)
    return kind

"""Rows as the database gives them: making models, days and decimals of many would be most of the work."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import numpy as np
from django.core.exceptions import EmptyResultSet
from django.db import connection
from django.db.models import QuerySet


def plain_rows(query: QuerySet[Any], *, at_a_time: int = 5_000) -> Iterator[list[tuple[Any, ...]]]:
    """Yield the rows of a query of ``values_list`` so many at a time, none of their values converted."""
    try:
        statement, given = query.query.sql_with_params()
    except EmptyResultSet:  # it asks for rows among none
        return
    with connection.cursor() as cursor:
        cursor.execute(statement, given)
        while rows := cursor.fetchmany(at_a_time):
            yield rows


def seconds_of(stored: list[Any]) -> np.ndarray:
    """Return plain times, which SQLite gives as text and PostgreSQL as times, in seconds since 1970 UTC: (n,).

    >>> seconds_of(["1970-01-02 00:00:00", "1970-01-01 00:00:00.500000"]).tolist()
    [86400.0, 0.5]
    """
    if stored and isinstance(stored[0], str):
        return np.array(stored, dtype="datetime64[us]").astype(np.int64) / 1e6
    return np.array([each.timestamp() for each in stored], dtype=np.float64)


def moment_of(stored: Any) -> datetime:
    """Return one plain time.

    >>> moment_of("2026-03-09 08:00:00").isoformat()
    '2026-03-09T08:00:00+00:00'
    """
    if isinstance(stored, str):
        return datetime.fromisoformat(stored).replace(tzinfo=UTC)
    moment: datetime = stored
    return moment

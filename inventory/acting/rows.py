"""Rows locked in one order: the only place that locks any.

Items come before whatever belongs to them, each kind by its number; labels, orders and stocktakes come before items.
Jobs, and what is set aside for them, are locked by acts that have the shelf alone.
"""

from typing import TypeVar

from django.db import models

Row = TypeVar("Row", bound=models.Model)


def held(rows: models.QuerySet[Row]) -> models.QuerySet[Row]:
    """Return ``rows`` as they stand, in the order of their numbers, locked until the transaction ends."""
    if rows.model._meta.parents:
        raise TypeError(f"{rows.model.__name__} lies in two tables; lock what it is kept in.")
    return rows.order_by("pk").select_for_update(no_key=True, of=("self",))

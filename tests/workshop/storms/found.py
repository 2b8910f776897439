"""What the acts of a storm find in its workshop by name, and the key and moment that they are given."""

from typing import Any

from inventory.models import Order, Spool, StockItem
from planning.models import Design, Job, Machine
from tests.planning.acting.scene import NOW, fresh

KEY = "the-act"
HOW: dict[str, Any] = {"key": KEY, "at": NOW, "by": None}


def the_job(what: str) -> Job:
    return fresh(Job.objects.get(what=what))


def the_spool(code: str) -> StockItem:
    return Spool.objects.filter(shade__code=code, retired_at=None).earliest("pk")


def the_order(name: str) -> Order:
    return Order.objects.get(key__startswith=name)


def the_machine() -> Machine:
    """Return the first machine, of one needle."""
    return Machine.objects.earliest("pk")


def the_badge() -> Design:
    """Return the first design, of one colour."""
    return Design.objects.earliest("pk")

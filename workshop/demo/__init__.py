"""The demo workshop *Gull & Halyard*: loaded from ``fixtures``, by the same acts that a person's stock comes in by."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure
from inventory.models import Entry, StockItem
from workshop.demo.catalogue import lay_out_catalogue
from workshop.demo.files import FIXTURES, Batch, demo_files
from workshop.demo.machines import set_up_machines
from workshop.demo.stock import KEY_PREFIX, bring_in

__all__ = ["LoadedDemo", "OtherStock", "load_demo", "refuse_beside_other_stock"]


class OtherStock(WorkshopError):
    """The shelf holds stock of a real workshop."""


@dataclass(frozen=True)
class LoadedDemo:
    """What the demo laid on the shelf, whenever it did; ``is_new`` tells if it was now."""

    is_new: bool
    spools: int
    part_used: int
    shades: int
    ranges: int
    bobbins: int
    rolls: int
    offcuts: int
    batch: Batch


@transaction.atomic
def load_demo(*, at: datetime, by: Any, fixtures: Path = FIXTURES) -> LoadedDemo:
    """Return what the demo workshop has, after laying on the shelf what is not there yet.

    Loading twice moves nothing twice, brings back nothing that was used up, and undoes nothing that was edited.
    Raises DemoMissing where the demo's files are not installed.
    """
    files = demo_files(fixtures)
    catalogue = lay_out_catalogue(files)
    set_up_machines(files, catalogue)
    brought = bring_in(files, catalogue, at=at, by=by)
    workshop = files.workshop
    return LoadedDemo(
        is_new=brought > 0,
        spools=len(files.spools),
        part_used=sum(bool(row["known"]) for row in files.spools),
        shades=len(files.shades),
        ranges=len(workshop["ranges"]),
        bobbins=sum(row["count"] for row in workshop["bobbins"]),
        rolls=len(workshop["rolls"]),
        offcuts=len(workshop["offcuts"]),
        batch=files.batch,
    )


def refuse_beside_other_stock() -> None:
    """Raise OtherStock if there is stock and the demo was never loaded here."""
    if Entry.objects.filter(key__startswith=KEY_PREFIX).exists():
        return
    count = StockItem.objects.count()
    if count:
        raise OtherStock(
            _(
                "This workshop already has stock of its own ({count} items), and the demo's invented "
                "spools would mix with it. Give the demo a folder of its own by setting "
                "ENOUGH_THREAD_DATA, or add --force to mix them."
            ).format(count=figure(count))
        )

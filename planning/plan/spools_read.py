"""The spools of needle thread as plans read them: once for every shelf that is made of them."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from inventory.models import Place, Spool, StockItem
from inventory.schema.unchanged import while_unchanged
from planning.compute.colour.choice import OwnedSpool


class SpoolRow(NamedTuple):
    """What plans read of a spool: a shelf of ten thousand is read as rows, for records of them are most of the work."""

    pk: int
    label: str
    on_hand: int
    reserved: int
    sigma: float | None
    known: str
    price_paid: Decimal | None
    quantity_paid: int | None
    place: Place | None
    lot: str
    opened_on: date | None
    shade_id: int

    @property
    def free(self) -> int:
        return self.on_hand - self.reserved

    @property
    def is_known(self) -> bool:
        return self.known != StockItem.Known.UNKNOWN


class SpoolsRead(NamedTuple):
    """The spools on the shelf in shelf order, with what is free for everybody, and the shade of each.

    ``reserved`` is what is set aside of those of which something is, by their number; of the ``unknown`` nobody has
    said how much is on them.
    """

    spools: tuple[OwnedSpool, ...]
    shades: tuple[int, ...]
    reserved: dict[int, int]
    unknown: frozenset[int]

    def for_holder(self, own: Mapping[int, int]) -> Iterator[tuple[int, OwnedSpool]]:
        """Yield each spool and its shade, what is the holder's ``own`` free for it; all others are these themselves."""
        for spool, shade in zip(self.spools, self.shades, strict=True):
            its = own.get(spool.id, 0)
            yield shade, replace(spool, free_mm=spool.free_mm + its) if its else spool


def spools_on_the_shelf() -> SpoolsRead:
    """Return the spools on the shelf, read once for as long as nothing is committed: every shelf is made of them.

    Those that are as they were when they were read last are the same ones, which what is kept of then has too.
    """
    return while_unchanged("spools on the shelf", _read_again)


def _read_again() -> SpoolsRead:
    read, last = _read_spools(), _last_read[0]
    if last is not None:
        as_it_was = {spool.id: spool for spool in last.spools}
        read = read._replace(
            spools=tuple(
                was if (was := as_it_was.get(spool.id, spool)) == spool else spool for spool in read.spools
            )
        )
    _last_read[0] = read
    return read


_last_read: list[SpoolsRead | None] = [None]


def _read_spools() -> SpoolsRead:
    places = Place.objects.in_bulk()
    columns = [name if name != "place" else "place_id" for name in SpoolRow._fields]
    at = columns.index("place_id")
    query = Spool.objects.on_the_shelf().in_shelf_order().values_list(*columns)
    spools, shades, reserved, unknown = [], [], {}, set()
    # Lots, prices and doubts are the same of many: one of each is kept.
    lots: dict[str, str] = {}
    numbers: dict[float | None, float | None] = {}
    for values in query.iterator(chunk_size=2_000):
        row = SpoolRow._make([*values[:at], places.get(values[at]), *values[at + 1 :]])
        spool = owned(row, {})
        spools.append(
            replace(
                spool,
                sigma_mm=numbers.setdefault(spool.sigma_mm, spool.sigma_mm),
                price_per_mm=numbers.setdefault(spool.price_per_mm, spool.price_per_mm),
                lot=lots.setdefault(spool.lot, spool.lot),
            )
        )
        shades.append(row.shade_id)
        if row.reserved:
            reserved[row.pk] = row.reserved
        if not row.is_known:
            unknown.add(row.pk)
    return SpoolsRead(tuple(spools), tuple(shades), reserved, frozenset(unknown))


def owned(item: StockItem | SpoolRow, own: Mapping[int, int]) -> OwnedSpool:
    """Return a spool, or a part-used bobbin, as the planner sees it."""
    return OwnedSpool(
        id=item.pk,
        label=item.label,
        free_mm=item.free + own.get(item.pk, 0),
        sigma_mm=item.sigma if item.is_known else None,
        price_per_mm=unit_price(item),
        place=item.place.name if item.place else "",
        lot=item.lot,
        is_open=item.opened_on is not None,
    )


def unit_price(item: StockItem | SpoolRow) -> float | None:
    """The price paid for one mm or piece, or None where it is not known."""
    if item.price_paid is None or not item.quantity_paid:
        return None
    return float(item.price_paid) / item.quantity_paid

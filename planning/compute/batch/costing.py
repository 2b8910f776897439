"""What a batch costs in material and time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from planning.compute.batch.sentences import BOBBINS, COLOUR_WITHOUT_THREAD, said_of_plan
from planning.compute.buying.packs import PackOffer
from planning.compute.colour.choice import OwnedShade
from planning.compute.spools.turns import SpoolUse
from planning.compute.stabilizer.supply import LayerPlan

CENT = Decimal("0.01")


class CostOfPieces:
    """What ``pieces`` ordered ones cost: material, and time at the machine and hands on."""

    pieces: int
    machine: Decimal
    hands_on: Decimal
    material: Decimal

    @property
    def time(self) -> Decimal:
        return self.machine + self.hands_on

    @property
    def total(self) -> Decimal:
        return self.material + self.time

    @property
    def total_per_piece(self) -> Decimal:
        """Tests and spoiled pieces are borne by the pieces that were ordered."""
        return per_piece(self.total, self.pieces)


@dataclass(frozen=True)
class BatchCost(CostOfPieces):
    """Money for the batch; ``unpriced`` names what has no known price and is not in the sum.

    ``pieces`` are those ordered, ``stitched`` all that are stitched for them. ``thread_per_mm`` is what a mm of
    each thread costs over the batch, 0 where no price is known.
    """

    currency: str
    thread: Decimal
    bobbins: Decimal
    stabilizer: Decimal
    material: Decimal
    machine: Decimal
    hands_on: Decimal
    pieces: int
    stitched: int
    no_price: tuple[str, ...]
    thread_per_mm: tuple[float, ...] = ()

    @property
    def unpriced(self) -> tuple[str, ...]:
        return tuple(map(said_of_plan, self.no_price))

    @property
    def material_per_piece(self) -> Decimal:
        """Tests and spoiled pieces are borne by the pieces that were ordered."""
        return per_piece(self.material, self.pieces)

    @property
    def tests_and_spoilage(self) -> Decimal:
        """What of the total goes into pieces that nobody ordered, all pieces bearing alike."""
        return (self.total * (self.stitched - self.pieces) / self.stitched).quantize(CENT, ROUND_HALF_UP)


def batch_cost(
    *,
    threads: Sequence[tuple[OwnedShade | None, Sequence[SpoolUse], int]],
    thread_offers: Mapping[int, Sequence[PackOffer]],
    bobbins: tuple[int, float | None],
    layers: Sequence[LayerPlan],
    pieces: int,
    currency: str,
    machine_min: float,
    hands_on_min: float,
    machine_rate: float,
    hands_on_rate: float,
    stitched: int | None = None,
    part_bobbins: Sequence[float | None] = (),
) -> BatchCost:
    """Return the cost of a batch at the prices paid; what the shelf does not hold at the cheapest offer.

    ``bobbins`` are full ones and what each costs, ``part_bobbins`` what the thread on each part one that is used up
    did; None where no price is known. Rates are by the hour. Without ``stitched`` no piece is stitched but those
    ordered.
    """
    unpriced = []
    thread = 0.0
    rates = []
    for shade, uses, needed_mm in threads:
        price = None if shade is None else _thread_price(shade, uses, needed_mm, thread_offers)
        if price is None:
            unpriced.append(COLOUR_WITHOUT_THREAD if shade is None else f"{shade.maker} {shade.code}")
        else:
            thread += price
        rates.append((price or 0.0) / needed_mm if needed_mm else 0.0)
    count, each = bobbins
    if (each is None and count) or None in part_bobbins:
        unpriced.append(BOBBINS)
    unpriced += [layer.product or layer.kind for layer in layers if layer.cost is None]
    of_parts = sum(part or 0.0 for part in part_bobbins)
    parts = thread, count * (each or 0.0) + of_parts, sum(layer.cost or 0.0 for layer in layers)
    of_thread, of_bobbins, of_stabilizer = map(money, parts)
    return BatchCost(
        currency=currency,
        thread=of_thread,
        bobbins=of_bobbins,
        stabilizer=of_stabilizer,
        material=of_thread + of_bobbins + of_stabilizer,
        machine=money(machine_min / 60 * machine_rate),
        hands_on=money(hands_on_min / 60 * hands_on_rate),
        pieces=pieces,
        stitched=pieces if stitched is None else stitched,
        no_price=tuple(dict.fromkeys(unpriced)),
        thread_per_mm=tuple(rates),
    )


def _thread_price(
    shade: OwnedShade, uses: Sequence[SpoolUse], needed_mm: int, offers: Mapping[int, Sequence[PackOffer]]
) -> float | None:
    """Return the price of the thread needed, spool by spool, or None where no price is known at all."""
    by_label = {spool.label: spool.price_per_mm for spool in shade.spools}
    cheapest = min((float(offer.price) / offer.holds for offer in offers.get(shade.id, ())), default=None)
    paid = [price for price in by_label.values() if price is not None]
    otherwise = cheapest if cheapest is not None else (max(paid) if paid else None)
    if otherwise is None:
        return None
    total = 0.0
    from_spools_mm = 0
    for use in uses:
        price = by_label[use.label]
        total += use.needed_mm * (otherwise if price is None else price)
        from_spools_mm += use.needed_mm
    return total + max(0, needed_mm - from_spools_mm) * otherwise


def per_piece(amount: Decimal, pieces: int) -> Decimal:
    """Return the amount for one piece, to the cent.

    >>> per_piece(Decimal("10.00"), 24)
    Decimal('0.42')
    """
    return (amount / pieces).quantize(CENT, ROUND_HALF_UP)


def money(amount: float) -> Decimal:
    """Return an amount to the cent, halves upwards.

    >>> money(1.005)
    Decimal('1.01')
    """
    return Decimal(str(amount)).quantize(CENT, ROUND_HALF_UP)

"""The bobbins of a batch: how many, changed where, and how sure that those owned do."""

from collections.abc import Callable
from dataclasses import dataclass

from planning.compute.asked import BobbinStock, Terms
from planning.compute.bobbins import BobbinChange, p_enough_bobbins, run_of_bobbins
from planning.compute.carrying import Carried
from planning.compute.certainty import verdict
from planning.compute.packs import PackPurchase, cheapest_purchase


@dataclass(frozen=True)
class PlannedBobbins:
    """``thread`` is empty and the verdict unknown where no bobbin of the machine's style is known."""

    thread: str
    needed_mm: int
    count: int
    owned: int
    p_enough: float
    verdict: str
    changes: tuple[BobbinChange, ...]
    inside_blocks: int
    purchase: PackPurchase | None
    # Full bobbins that surely do, whether they are there or not.
    wanted: int = 0


def plan_bobbins(carried: Carried, stock: BobbinStock | None, terms: Terms) -> PlannedBobbins:
    """Return the bobbins for all pieces, changed at block boundaries."""
    pieces_mm = carried.bobbin_pieces()
    needed = round(sum(map(sum, pieces_mm)))
    if stock is None:
        return PlannedBobbins("", needed, 0, 0, 0.0, "unknown", (), 0, None)
    run = run_of_bobbins(pieces_mm, bobbin_mm=stock.length_mm)
    geometry_mm = carried.bobbin_pieces(scale=1 / terms.bobbin_factor.median)

    def sure(bobbins: int) -> float:
        return p_enough_bobbins(
            geometry_mm, bobbin_mm=stock.length_mm, bobbins=bobbins, factor=terms.bobbin_factor
        )

    p = sure(stock.count)
    word = verdict(p, enough_at=terms.enough_at, tight_at=terms.tight_at)
    purchase = None
    wanted = _surely(run.count, sure, terms.enough_at)
    if word != "enough":
        wanted = max(wanted, stock.count + 1)
        purchase = cheapest_purchase(wanted - stock.count, stock.offers)
    return PlannedBobbins(
        thread=stock.thread,
        needed_mm=needed,
        count=run.count,
        owned=stock.count,
        p_enough=p,
        verdict=word,
        changes=run.changes,
        inside_blocks=run.inside_blocks,
        purchase=purchase,
        wanted=wanted,
    )


def _surely(count: int, sure: Callable[[int], float], enough_at: float) -> int:
    """Return the fewest bobbins, ``count`` or more, of which it is sure that they do."""
    low, high = count, max(1, count)
    while sure(high) < enough_at:
        low, high = high + 1, 2 * high
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if sure(middle) >= enough_at else (middle + 1, high)
    return high

"""The bobbins of a batch: how many, changed where, and how sure that those owned do."""

from dataclasses import dataclass, replace

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


def plan_bobbins(carried: Carried, stock: BobbinStock | None, terms: Terms) -> PlannedBobbins:
    """Return the bobbins for all pieces, changed at block boundaries."""
    loads_mm = carried.bobbin_loads()
    needed = round(sum(map(sum, loads_mm)))
    if stock is None:
        return PlannedBobbins("", needed, 0, 0, 0.0, "unknown", (), 0, None)
    run = run_of_bobbins(loads_mm, bobbin_mm=stock.length_mm)
    geometry_mm = carried.bobbin_loads(scale=1 / terms.bobbin_factor.median)

    def sure(bobbins: int) -> float:
        return p_enough_bobbins(
            geometry_mm, bobbin_mm=stock.length_mm, bobbins=bobbins, factor=terms.bobbin_factor
        )

    p = sure(stock.count)
    word = verdict(p, enough_at=terms.enough_at, tight_at=terms.tight_at)
    purchase = None
    if word != "enough":
        wanted = stock.count + 1
        while sure(wanted) < terms.enough_at:
            wanted += 1
        purchase = cheapest_purchase(wanted - stock.count, stock.offers)
    return PlannedBobbins(
        thread=stock.thread,
        needed_mm=needed,
        count=run.count,
        owned=stock.count,
        p_enough=p,
        verdict=word,
        changes=tuple(
            replace(change, piece=carried.loads[change.piece - 1][0] + 1) for change in run.changes
        ),
        inside_blocks=run.inside_blocks,
        purchase=purchase,
    )

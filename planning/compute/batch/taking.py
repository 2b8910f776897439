"""The shelf after a batch has claimed what it needs, for the batches that come after it."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace

from inventory.compute.left_out import also_left_out, spools_of
from planning.compute.batch.asked import Shelf
from planning.compute.batch.plan import BatchPlan
from planning.compute.colour.choice import OwnedShade
from planning.compute.stabilizer.cutting import Flat, Roll
from planning.compute.stabilizer.supply import LayerPlan, StabilizerStock

# More than any one thing holds: a part bobbin is claimed whole.
ALL_OF_IT = 10**12


def claims(plan: BatchPlan) -> dict[str, int]:
    """Return how much of each labelled thing a batch sets aside: mm of spools and rolls, mg of cans, the rest by one.

    Of a spool it is what its pieces take at the certainty that the plan was made for, so far as it goes; bobbins
    are not labelled one by one and are told by ``plan.bobbins.sure_count``.
    """
    claimed: Counter[str] = Counter()
    for thread in plan.threads:
        for use in thread.spools:
            claimed[use.label] += min(use.sure_mm, use.needed_mm + max(use.left_mm, 0))
    claimed += layer_claims(plan.stabilizer)
    for label in plan.bobbins.parts:
        claimed[label] = ALL_OF_IT
    return {label: quantity for label, quantity in claimed.items() if quantity > 0}


def layer_claims(layers: Iterable[LayerPlan]) -> Counter[str]:
    """Return what layers take of each thing: mm of rolls, mg of cans, sheets and offcuts by one."""
    claimed: Counter[str] = Counter()
    layers = tuple(layers)
    cuts = {id(layer.cut.product_cut): layer.cut.product_cut for layer in layers if layer.cut}
    for cut in cuts.values():
        for source in cut.sources:
            claimed[source.label] += source.roll_mm if source.is_roll else 1
    for layer in layers:
        for label, mg in layer.spray.takes if layer.spray else ():
            claimed[label] += mg
    return claimed


def shelf_after(shelf: Shelf, claimed: Mapping[str, int], *, bobbins: int) -> Shelf:
    """Return ``shelf`` without what was claimed of it; things that are used up are gone.

    What is claimed of spools is set aside for others, and told as left out, although their rest may be used.

    >>> from planning.compute.colour.choice import OwnedSpool
    >>> red = OwnedShade(1, 1, "", "", "R", "", "", None, (OwnedSpool(1, "S0001", 900, 0.0),))
    >>> left = shelf_after(Shelf((red,), None, ()), {"S0001": 400}, bobbins=0)
    >>> left.shades[0].spools[0].free_mm
    500
    """
    stock = shelf.bobbins
    return replace(
        shelf,
        shades=tuple(_shade_after(shade, claimed) for shade in shelf.shades),
        bobbins=replace(
            stock,
            count=max(stock.count - bobbins, 0),
            parts=tuple(part for part in stock.parts if part.label not in claimed),
        )
        if stock
        else None,
        stabilizer=tuple(_product_after(product, claimed) for product in shelf.stabilizer),
        left_out=also_left_out(shelf.left_out, _claimed_spools(shelf, claimed), why="set aside"),
    )


def _claimed_spools(shelf: Shelf, claimed: Mapping[str, int]) -> dict[str, list[str]]:
    """Return the labels of the spools of which something is claimed, by what they are spools of."""
    found: dict[str, list[str]] = {}
    for shade in shelf.shades:
        for spool in shade.spools:
            if claimed.get(spool.label, 0) > 0:
                found.setdefault(spools_of(shade.maker, shade.range), []).append(spool.label)
    return found


def _shade_after(shade: OwnedShade, claimed: Mapping[str, int]) -> OwnedShade:
    if not any(spool.label in claimed for spool in shade.spools):
        return shade
    return replace(
        shade,
        spools=tuple(
            replace(spool, free_mm=max(spool.free_mm - claimed.get(spool.label, 0), 0))
            for spool in shade.spools
        ),
    )


def _product_after(product: StabilizerStock, claimed: Mapping[str, int]) -> StabilizerStock:
    labels = {each.label for each in product.rolls} | {each.label for each in product.flats}
    labels |= {each.label for each in product.cans}
    if labels.isdisjoint(claimed):
        return product
    rolls = (_roll_after(roll, claimed.get(roll.label, 0)) for roll in product.rolls)
    flats = (_flat_after(flat, claimed.get(flat.label, 0)) for flat in product.flats)
    return replace(
        product,
        rolls=tuple(roll for roll in rolls if roll.free_mm > 0),
        flats=tuple(flat for flat in flats if flat.count > 0),
        cans=tuple(
            replace(can, free_mg=max(can.free_mg - claimed.get(can.label, 0), 0)) for can in product.cans
        ),
    )


def _roll_after(roll: Roll, taken: int) -> Roll:
    return replace(roll, free_mm=roll.free_mm - taken) if taken else roll


def _flat_after(flat: Flat, taken: int) -> Flat:
    return replace(flat, count=flat.count - taken) if taken else flat

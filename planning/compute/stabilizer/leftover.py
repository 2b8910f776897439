"""What is left once a cut is made, and what cutting jobs one after another takes of it."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from planning.compute.stabilizer.cutting import CutPlan, CutStock, Flat
from planning.compute.stabilizer.layers import JobLayers
from planning.compute.stabilizer.sentences import REST
from planning.compute.stabilizer.supply import (
    NO_LOSSES,
    LayerPlan,
    Losses,
    StabilizerStock,
    plan_layers_together,
)


def left_after(stock: CutStock, cut: CutPlan) -> CutStock:
    """Return the stock once ``cut`` is made of it, with the rests worth keeping as offcuts.

    >>> from planning.compute.stabilizer.cutting import CutOrder, PieceNeed, Roll, plan_cut
    >>> stock = CutStock((Roll("R1", 500, 2_000),))
    >>> left = left_after(stock, plan_cut(CutOrder((PieceNeed(180, 240, 3),)), stock))
    >>> left.rolls[0].free_mm, [(each.width_mm, each.height_mm) for each in left.flats]
    (1640, [(260, 180)])
    """
    taken = {each.label: each.roll_mm for each in cut.rolls}
    used = Counter(each.label for each in cut.flats)
    rests = [
        Flat(REST.format(label=source.label, number=number, place=place), rest.width_mm, rest.height_mm)
        for number, source in enumerate(cut.sources, 1)
        for place, rest in enumerate(source.useful_rests, 1)
    ]
    return CutStock(
        tuple(replace(roll, free_mm=roll.free_mm - taken.get(roll.label, 0)) for roll in stock.rolls),
        (
            *(
                replace(flat, count=flat.count - used[flat.label])
                for flat in stock.flats
                if flat.count > used[flat.label]
            ),
            *rests,
        ),
    )


@dataclass(frozen=True)
class Comparison:
    """The area of roll that jobs take together and one after another, and how many pieces each way lacks."""

    together_mm2: int
    apart_mm2: int
    missing_together: int
    missing_apart: int

    @property
    def saved_mm2(self) -> int:
        """What cutting together saves; 0 where it lacks more pieces or takes as much."""
        if self.missing_together > self.missing_apart:
            return 0
        return max(0, self.apart_mm2 - self.together_mm2)

    @property
    def pays(self) -> bool:
        """Whether together is better: more pieces come out of the stock, or as many out of less roll."""
        return (self.missing_together, self.together_mm2) < (self.missing_apart, self.apart_mm2)


def compare_apart(
    jobs: Sequence[JobLayers],
    stock: Sequence[StabilizerStock],
    together: Sequence[Sequence[LayerPlan]],
    *,
    losses: Losses = NO_LOSSES,
) -> Comparison:
    """Return ``together`` beside the jobs cut in their order, each from what the one before left, rests included."""
    left = list(stock)
    apart = []
    for job in jobs:
        plans = plan_layers_together([job], left, losses=losses)[0]
        apart.append(plans)
        cuts = {plan.product: plan.cut.product_cut for plan in plans if plan.cut}
        left = [
            _with_stock(each, left_after(each.stock, cuts[each.product])) if each.product in cuts else each
            for each in left
        ]
    return Comparison(
        together_mm2=_roll_mm2([plan for plans in together for plan in plans]),
        apart_mm2=sum(_roll_mm2(plans) for plans in apart),
        missing_together=_missing(together),
        missing_apart=_missing(apart),
    )


def _with_stock(product: StabilizerStock, stock: CutStock) -> StabilizerStock:
    return replace(product, rolls=stock.rolls, flats=stock.flats)


def _roll_mm2(plans: Sequence[LayerPlan]) -> int:
    cuts = {plan.product: plan.cut.product_cut for plan in plans if plan.cut}
    return sum(cut.roll_mm2 for cut in cuts.values())


def _missing(by_job: Sequence[Sequence[LayerPlan]]) -> int:
    return sum(plan.missing_pieces for plans in by_job for plan in plans)

"""The stabilizer of one job or several: which product each layer takes, and how all of it is cut."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import accumulate
from typing import TYPE_CHECKING

from inventory.compute.knowing import NOTHING_CUT, StripsCut, of_rolls_together, sigma_after_cut, strips_of
from inventory.compute.later import later
from planning.compute.buying.packs import PackOffer, PackPurchase, cheapest_purchase
from planning.compute.certainty.enough import verdict
from planning.compute.stabilizer.cautions import cautions_said
from planning.compute.stabilizer.cutting import (
    CutOrder,
    CutPlan,
    CutStock,
    Flat,
    PieceNeed,
    Roll,
    SourceCut,
    plan_cut,
)
from planning.compute.stabilizer.layers import JobLayers, LayerNeed, LayerPieces, Size, pieces_of
from planning.compute.stabilizer.spraying import Can, SprayUse, coats_mg, share_cans

if TYPE_CHECKING:
    from scipy.special import ndtr
else:
    ndtr = later("scipy.special", "ndtr")

__all__ = [
    "NO_LOSSES",
    "LayerCut",
    "LayerNeed",
    "LayerPlan",
    "Losses",
    "StabilizerStock",
    "layer_cuts",
    "plan_layers_together",
]


@dataclass(frozen=True)
class StabilizerStock:
    """A product with what is free of it. ``price_per_mm2`` is None where nobody knows what was paid."""

    product: str
    kind: str
    weight_g_m2: float | None
    has_grain: bool
    rolls: tuple[Roll, ...]
    flats: tuple[Flat, ...] = ()
    roll_offers: tuple[tuple[int, PackOffer], ...] = ()  # roll width in mm, and the offer in mm of roll
    price_per_mm2: float | None = None
    product_id: int = 0
    holds_by: str = ""
    comes_off: str = ""
    cans: tuple[Can, ...] = ()

    @property
    def free_mm(self) -> int:
        return sum(roll.free_mm for roll in self.rolls)

    @property
    def stock(self) -> CutStock:
        return CutStock(self.rolls, self.flats)

    def suits(self, layer: LayerNeed) -> bool:
        """Whether the layer may be of it: by kind and weight, or because it is the very product that was named."""
        if layer.product_id:
            return layer.product_id == self.product_id
        if self.kind != layer.kind:
            return False
        # Where nobody has said a weight, or it is that of a coat, the kind decides.
        if self.weight_g_m2 is None or layer.is_sprayed:
            return True
        return layer.weight_from_g_m2 <= self.weight_g_m2 <= layer.weight_to_g_m2


@dataclass(frozen=True)
class Losses:
    """What each cut loses, and what is trimmed off both edges of a roll."""

    kerf_mm: int = 0
    edge_mm: int = 0


NO_LOSSES = Losses()


@dataclass(frozen=True)
class LayerCut:
    """What of a product's cut is for one layer; strips shared with other layers count by area.

    ``product_cut`` is the whole cut of the product, for all that is cut from it, and ``order`` what it was asked
    for; ``needs`` are the layer's places in it.
    """

    product_cut: CutPlan
    order: CutOrder
    needs: tuple[int, ...]
    pieces: int
    flat_pieces: int
    roll_mm: int
    bound_mm: int
    missing: int
    cost: float | None


@dataclass(frozen=True)
class LayerPlan:
    """What one layer takes over the batch. ``product`` is empty where none of its kind is on the shelf.

    ``pieces`` are those still to be cut; ``cut_before`` more are cut already. A layer out of a can has its ``spray``
    and no ``cut``: each piece is a coat.
    """

    product: str
    kind: str
    method: str
    pieces: int
    piece_mm: Size
    cut: LayerCut | None
    free_mm: int
    p_enough: float
    verdict: str
    cost: float | None
    missing_mm: int
    purchase: PackPurchase | None
    job: str = ""
    cut_before: int = 0
    product_id: int = 0
    words: str = ""
    free_sigma_mm: float = 0.0  # of all rolls together
    holds_by: str = ""
    comes_off: str = ""
    spray: SprayUse | None = None

    @property
    def name(self) -> str:
        return f"{self.kind}, {self.words or self.method}"

    @property
    def needed_mm(self) -> int:
        """The length of roll that it takes, what is still to be bought with it."""
        return (self.cut.roll_mm if self.cut else 0) + self.missing_mm

    @property
    def needed_sigma_mm(self) -> float:
        """One sigma of that: how long the strips will really be cut."""
        cut = self.cut.product_cut.rolls if self.cut else ()
        heights = [strip.height_mm for part in cut for strip in part.strips] or [self.piece_mm[1]]
        usual_mm = max(1.0, sum(heights) / len(heights))
        return strips_of(self.needed_mm, strips=max(1, round(self.needed_mm / usual_mm))).sigma_mm

    @property
    def is_planned(self) -> bool:
        """Whether it is known what it is taken of, if anything is still wanted."""
        return self.cut is not None or self.spray is not None or not self.pieces

    @property
    def missing_pieces(self) -> int:
        """Pieces for which there is nothing; of a spray, none are told: a can that ends is no piece."""
        if self.spray is not None:
            return 0
        return self.cut.missing if self.cut else self.pieces

    @property
    def cautions(self) -> tuple[str, ...]:
        """What a person should mind where it is used."""
        return cautions_said(
            kind=self.kind, method=self.method, holds_by=self.holds_by, comes_off=self.comes_off
        )


def plan_layers_together(
    jobs: Sequence[JobLayers], stock: Sequence[StabilizerStock], *, losses: Losses = NO_LOSSES
) -> tuple[tuple[LayerPlan, ...], ...]:
    """Return for each job how its layers are cut, each from the product that alone leaves least missing of it.

    All that is cut of one product is cut together, from what is there once. The verdict weighs how well the
    rolls' lengths are known. Grain is kept where product and layer mind it. Without a piece size (no hoop holds
    the design) or a product of the kind, the answer is unknown.
    """
    rows = [[*pieces_of(job)] for job in jobs]
    known: dict[tuple[LayerNeed, Size, int], StabilizerStock | None] = {}
    orders: dict[int, list[LayerPieces]] = {}  # by the place of a product in the stock
    sprayed: dict[int, list[LayerPieces]] = {}
    places = {id(product): place for place, product in enumerate(stock)}
    product_of: list[list[StabilizerStock | None]] = []
    for own in rows:
        product_of.append([])
        for pieces in own:
            key = (pieces.layer, pieces.piece_mm, pieces.to_cut)
            if key not in known:
                known[key] = _product_for(pieces, stock, losses)
            product = known[key]
            product_of[-1].append(product)
            if product is not None:
                wanted = sprayed if pieces.layer.is_sprayed else orders
                wanted.setdefault(places[id(product)], []).append(pieces)
    coats = {place: iter(_coats(stock[place], own)) for place, own in sprayed.items()}
    shares = {place: iter(_shares(stock[place], wanted, losses)) for place, wanted in orders.items()}
    plans: list[tuple[LayerPlan, ...]] = []
    for job, own, products in zip(jobs, rows, product_of, strict=True):
        unsized = job.layers if job.piece_mm is None else ()
        found = [_unknown(job, each, each.count * job.hoopings, (0, 0)) for each in unsized]
        for pieces, product in zip(own, products, strict=True):
            if product is None:
                found.append(_without_product(job, pieces))
            elif pieces.layer.is_sprayed:
                found.append(_sprayed_plan(pieces, product, next(coats[places[id(product)]])))
            else:
                found.append(_layer_plan(pieces, product, next(shares[places[id(product)]]), losses))
        plans.append(tuple(found))
    return tuple(plans)


def _coats(product: StabilizerStock, wanted: Sequence[LayerPieces]) -> list[SprayUse]:
    """Return what the coats of each of the ``wanted`` take of the product's cans, of what is there once."""
    needs = [coats_mg(each.piece_mm, each.to_cut, coat_g_m2=product.weight_g_m2) for each in wanted]
    return share_cans(product.cans, needs)


def _sprayed_plan(pieces: LayerPieces, product: StabilizerStock, use: SprayUse) -> LayerPlan:
    return LayerPlan(
        product=product.product,
        kind=pieces.layer.kind,
        method=pieces.layer.method,
        pieces=pieces.to_cut,
        piece_mm=pieces.piece_mm,
        cut=None,
        free_mm=0,
        p_enough=use.p_enough,
        verdict=verdict(use.p_enough),
        cost=use.cost,
        missing_mm=0,
        purchase=None,
        job=pieces.job,
        product_id=product.product_id,
        words=pieces.layer.words,
        spray=use,
    )


def _unknown(job: JobLayers, layer: LayerNeed, pieces: int, size: Size) -> LayerPlan:
    return LayerPlan(
        "",
        layer.kind,
        layer.method,
        pieces,
        size,
        None,
        0,
        0.0,
        "unknown",
        None,
        0,
        None,
        job=job.job,
        words=layer.words,
    )


def _without_product(job: JobLayers, pieces: LayerPieces) -> LayerPlan:
    found = _unknown(job, pieces.layer, pieces.to_cut, pieces.piece_mm)
    if pieces.to_cut:
        return found
    # What is cut already does not need the roll it came from.
    return replace(found, p_enough=1.0, verdict="enough", cost=0.0, cut_before=pieces.before)


def _product_for(
    pieces: LayerPieces, stock: Sequence[StabilizerStock], losses: Losses
) -> StabilizerStock | None:
    """Return the product that alone leaves fewest pieces missing, then takes least roll."""
    fitting = [each for each in stock if each.suits(pieces.layer)]
    if len(fitting) < 2:
        return fitting[0] if fitting else None
    if pieces.layer.is_sprayed:
        return max(fitting, key=lambda product: sum(can.free_mg for can in product.cans))

    def merit(product: StabilizerStock) -> tuple[int, int, str]:
        cut = _cut(_order(pieces.needs(has_grain=product.has_grain), losses), product.stock)
        return sum(cut.missing), cut.roll_mm2, product.product

    return min(fitting, key=merit)


def _cut(order: CutOrder, stock: CutStock) -> CutPlan:
    """Return the cut of an order, whatever its pieces are for."""
    return _cut_of(replace(order, pieces=tuple(replace(each, label="") for each in order.pieces)), stock)


@lru_cache(maxsize=256)
def _cut_of(order: CutOrder, stock: CutStock) -> CutPlan:
    """Return the cut, found once for what is asked of what is there: jobs are asked about again and again."""
    return plan_cut(order, stock)


def _order(needs: Sequence[PieceNeed], losses: Losses) -> CutOrder:
    return CutOrder(tuple(needs), kerf_mm=losses.kerf_mm, edge_mm=losses.edge_mm)


def _shares(product: StabilizerStock, wanted: Sequence[LayerPieces], losses: Losses) -> list[LayerCut]:
    """Return what each of the ``wanted`` pieces has of the one cut of their product."""
    needs = [pieces.needs(has_grain=product.has_grain) for pieces in wanted]
    order = _order([need for own in needs for need in own], losses)
    ends = list(accumulate(len(own) for own in needs))
    groups = [tuple(range(end - len(own), end)) for own, end in zip(needs, ends, strict=True)]
    return layer_cuts(_cut(order, product.stock), order, groups, product)


def layer_cuts(
    cut: CutPlan, order: CutOrder, groups: Sequence[tuple[int, ...]], product: StabilizerStock
) -> list[LayerCut]:
    """Return what of a product's cut is for each group of needs; lengths and costs add up to those of the cut."""
    on_rolls = [_count(cut.rolls, needs) for needs in groups]
    on_flats = [_count(cut.flats, needs) for needs in groups]
    areas = [
        sum(
            piece.width_mm * piece.height_mm
            for source in cut.rolls for piece in source.pieces if piece.need in needs
        )
        for needs in groups
    ]  # fmt: skip
    flats_cost = [
        sum((each.price or 0.0) * _count([each], needs) / len(each.pieces) for each in cut.flats)
        for needs in groups
    ]
    roll_mm, bound_mm, roll_mm2 = (
        _shared(total, areas) for total in (cut.roll_mm, cut.bound_mm, cut.roll_mm2)
    )
    missing = [sum(cut.missing[need] for need in needs) for needs in groups]
    return [
        LayerCut(
            product_cut=cut,
            order=order,
            needs=needs,
            pieces=on_flats[at] + on_rolls[at] + missing[at],
            flat_pieces=on_flats[at],
            roll_mm=roll_mm[at],
            bound_mm=bound_mm[at],
            missing=missing[at],
            cost=None
            if roll_mm2[at] and product.price_per_mm2 is None
            else flats_cost[at] + roll_mm2[at] * (product.price_per_mm2 or 0.0),
        )
        for at, needs in enumerate(groups)
    ]


def _count(sources: Sequence[SourceCut], needs: tuple[int, ...]) -> int:
    return sum(piece.need in needs for source in sources for piece in source.pieces)


def _shared(total: int, weights: Sequence[int]) -> list[int]:
    """Return ``total`` in whole parts as large as their weights, which add up to it exactly."""
    whole = sum(weights)
    if not whole:
        return [0] * len(weights)
    ends = [round(total * sum(weights[: at + 1]) / whole) for at in range(len(weights))]
    return [end - start for start, end in zip([0, *ends], ends, strict=False)]


def _layer_plan(pieces: LayerPieces, product: StabilizerStock, cut: LayerCut, losses: Losses) -> LayerPlan:
    piece_mm = pieces.piece_mm
    p = 0.0 if cut.missing else p_cut(cut.product_cut, product.rolls)
    lacking = _roll_to_buy(cut.missing, product, piece_mm, losses) if cut.missing else 0
    offers = [offer for width, offer in product.roll_offers if width >= piece_mm[0]]
    return LayerPlan(
        product=product.product,
        kind=pieces.layer.kind,
        method=pieces.layer.method,
        pieces=pieces.to_cut,
        piece_mm=piece_mm,
        cut=cut,
        free_mm=product.free_mm,
        p_enough=p,
        verdict="short" if cut.missing else verdict(p),
        cost=cut.cost,
        missing_mm=lacking,
        purchase=cheapest_purchase(lacking, offers) if lacking else None,
        job=pieces.job,
        cut_before=pieces.before,
        product_id=product.product_id,
        words=pieces.layer.words,
        free_sigma_mm=of_rolls_together((roll.sigma_mm, roll.cut_so_far) for roll in product.rolls),
        holds_by=product.holds_by,
        comes_off=product.comes_off,
    )


def p_cut(cut: CutPlan, rolls: Sequence[Roll]) -> float:
    """Return the least chance that the rolls together hold what is cut, however their lengths turn out.

    Either each roll holds what is laid on it, or strips that one lacks come off another: as many rolls as serve best
    hold what is cut even if each of them ends in a rest just too short for the longest strip. Both are ways to have
    enough, so that the better of the two is never too hopeful.
    """
    if not cut.rolls:
        return 1.0
    own = {part.label: strips_of(part.roll_mm, strips=len(part.strips)) for part in cut.rolls}
    # As they will be known once it is cut: the hand that cuts long cuts what is planned long as well.
    cut_by_then = {roll.label: roll.cut_so_far + own.get(roll.label, NOTHING_CUT) for roll in rolls}
    sigma_mm = {
        roll.label: sigma_after_cut(roll.sigma_mm, before=roll.cut_so_far, after=cut_by_then[roll.label])
        for roll in rolls
    }
    free_mm = {roll.label: roll.free_mm for roll in rolls}
    each_its_own = 1.0
    for part in cut.rolls:
        each_its_own *= _p_holds(free_mm[part.label] - part.roll_mm, sigma_mm[part.label])
    widest = max(part.width_mm for part in cut.rolls)
    needed = sum(part.roll_mm for part in cut.rolls)
    longest = max(strip.height_mm for part in cut.rolls for strip in part.strips)
    # The surest first: the more rolls serve, the more ends are lost.
    serving = sorted(
        (roll for roll in rolls if roll.width_mm >= widest and roll.free_mm > longest),
        key=lambda roll: 2 * sigma_mm[roll.label] - roll.free_mm,
    )
    together, held = 0.0, 0.0
    so_far: list[tuple[float, StripsCut]] = []
    for roll in serving:
        held += roll.free_mm - longest
        so_far.append((sigma_mm[roll.label], cut_by_then[roll.label]))
        together = max(together, _p_holds(held - needed, of_rolls_together(so_far)))
    return max(each_its_own, together)


def _p_holds(spare_mm: float, sigma_mm: float) -> float:
    if not sigma_mm:
        return 1.0 if spare_mm >= 0 else 0.0
    return float(ndtr(spare_mm / sigma_mm))


def _roll_to_buy(missing: int, product: StabilizerStock, piece_mm: Size, losses: Losses) -> int:
    """Return the length of a new roll that gives the missing pieces, none of them turned."""
    widths = [width for width, _ in product.roll_offers] + [roll.width_mm for roll in product.rolls]
    kerf_mm = losses.kerf_mm
    across = max(
        ((width - 2 * losses.edge_mm + kerf_mm) // (piece_mm[0] + kerf_mm) for width in widths), default=0
    )
    return -(-missing // max(1, across)) * (piece_mm[1] + kerf_mm)

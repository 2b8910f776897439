"""The stabilizer of a batch, layer by layer."""

from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtr

from planning.compute.certainty import verdict
from planning.compute.cutting import EqualCut, Flat, Roll, cut_equal_pieces
from planning.compute.packs import PackOffer, PackPurchase, cheapest_purchase


@dataclass(frozen=True)
class LayerNeed:
    """One kind of layer a fabric asks for, ``count`` pieces of it a hooping."""

    kind: str
    weight_from_g_m2: float
    weight_to_g_m2: float
    method: str
    count: int
    grain_matters: bool = False


@dataclass(frozen=True)
class StabilizerStock:
    """A product with what is free of it. ``price_per_mm2`` is None where nobody knows what was paid."""

    product: str
    kind: str
    weight_g_m2: float
    has_grain: bool
    rolls: tuple[Roll, ...]
    flats: tuple[Flat, ...] = ()
    roll_offers: tuple[tuple[int, PackOffer], ...] = ()  # roll width in mm, and the offer in mm of roll
    price_per_mm2: float | None = None

    @property
    def free_mm(self) -> int:
        return sum(roll.free_mm for roll in self.rolls)


@dataclass(frozen=True)
class LayerPlan:
    """What one layer takes over the batch. ``product`` is empty where none of its kind is on the shelf."""

    product: str
    kind: str
    method: str
    pieces: int
    piece_mm: tuple[int, int]
    cut: EqualCut | None
    free_mm: int
    p_enough: float
    verdict: str
    cost: float | None
    missing_mm: int
    purchase: PackPurchase | None


def plan_layer(
    layer: LayerNeed, stock: Sequence[StabilizerStock], *, piece_mm: tuple[int, int] | None, hoopings: int
) -> LayerPlan:
    """Return how the layer's pieces are cut, from the product of its kind and weight that leaves least missing.

    The verdict weighs how well the rolls' lengths are known. Grain is kept where product and layer mind it.
    Without a piece size (no hoop holds the design) or a product of the kind, the answer is unknown.
    """
    pieces = layer.count * hoopings
    fitting = [
        each
        for each in stock
        if each.kind == layer.kind and layer.weight_from_g_m2 <= each.weight_g_m2 <= layer.weight_to_g_m2
    ]
    if not fitting or piece_mm is None:
        size = piece_mm or (0, 0)
        return LayerPlan("", layer.kind, layer.method, pieces, size, None, 0, 0.0, "unknown", None, 0, None)

    def cut_from(product: StabilizerStock) -> EqualCut:
        return cut_equal_pieces(
            width_mm=piece_mm[0],
            height_mm=piece_mm[1],
            pieces=pieces,
            rolls=product.rolls,
            flats=product.flats,
            may_turn=not (layer.grain_matters and product.has_grain),
        )

    cuts = [(product, cut_from(product)) for product in fitting]
    product, cut = min(cuts, key=lambda pair: (pair[1].missing, pair[1].roll_mm, pair[0].product))
    p = _p_cut(cut, product.rolls)
    lacking = _roll_to_buy(cut, product, piece_mm) if cut.missing else 0
    offers = [offer for width, offer in product.roll_offers if width >= piece_mm[0]]
    area_mm2 = sum(each.roll_mm * _width(product.rolls, each.label) for each in cut.from_rolls)
    return LayerPlan(
        product=product.product,
        kind=layer.kind,
        method=layer.method,
        pieces=pieces,
        piece_mm=piece_mm,
        cut=cut,
        free_mm=product.free_mm,
        p_enough=p,
        verdict="short" if cut.missing else verdict(p),
        cost=_cost(cut, product, area_mm2),
        missing_mm=lacking,
        purchase=cheapest_purchase(lacking, offers) if lacking else None,
    )


def _cost(cut: EqualCut, product: StabilizerStock, area_mm2: int) -> float | None:
    if area_mm2 and product.price_per_mm2 is None:
        return None
    return cut.flats_cost + area_mm2 * (product.price_per_mm2 or 0.0)


def _p_cut(cut: EqualCut, rolls: Sequence[Roll]) -> float:
    """The chance that every roll really holds what is cut from it."""
    if cut.missing:
        return 0.0
    p = 1.0
    for part in cut.from_rolls:
        roll = next(each for each in rolls if each.label == part.label)
        if roll.sigma_mm:
            p *= float(ndtr((roll.free_mm - part.roll_mm) / roll.sigma_mm))
    return p


def _roll_to_buy(cut: EqualCut, product: StabilizerStock, piece_mm: tuple[int, int]) -> int:
    """Return the length of a new roll that gives the missing pieces, cut the same way."""
    widths = [width for width, _ in product.roll_offers] + [roll.width_mm for roll in product.rolls]
    across = max((width // piece_mm[0] for width in widths), default=0)
    return -(-cut.missing // across) * piece_mm[1] if across else cut.missing * piece_mm[1]


def _width(rolls: Sequence[Roll], label: str) -> int:
    return next(roll.width_mm for roll in rolls if roll.label == label)

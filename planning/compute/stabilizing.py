"""The stabilizer of a batch: which product each layer takes, and how all of it is cut."""

from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import ndtr

from planning.compute.certainty import verdict
from planning.compute.cutting import CutOrder, CutPlan, CutStock, Flat, PieceNeed, Roll, plan_cut
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

    def suits(self, layer: LayerNeed) -> bool:
        in_weight = layer.weight_from_g_m2 <= self.weight_g_m2 <= layer.weight_to_g_m2
        return self.kind == layer.kind and in_weight


@dataclass(frozen=True)
class LayerCut:
    """What of a product's cut is for one layer; strips shared with other layers count by area.

    ``product_cut`` is the whole cut of the product, for all its layers; ``need`` is the layer's place in it.
    """

    product_cut: CutPlan
    need: int
    pieces: int
    flat_pieces: int
    roll_mm: int
    bound_mm: int
    missing: int
    cost: float | None


@dataclass(frozen=True)
class LayerPlan:
    """What one layer takes over the batch. ``product`` is empty where none of its kind is on the shelf."""

    product: str
    kind: str
    method: str
    pieces: int
    piece_mm: tuple[int, int]
    cut: LayerCut | None
    free_mm: int
    p_enough: float
    verdict: str
    cost: float | None
    missing_mm: int
    purchase: PackPurchase | None


def plan_layers(
    layers: Sequence[LayerNeed],
    stock: Sequence[StabilizerStock],
    *,
    piece_mm: tuple[int, int] | None,
    hoopings: int,
) -> tuple[LayerPlan, ...]:
    """Return how every layer's pieces are cut, each from the product of its kind and weight that leaves least missing.

    Layers of one product are cut together, from what is there once. The verdict weighs how well the rolls' lengths
    are known. Grain is kept where product and layer mind it. Without a piece size (no hoop holds the design) or
    a product of the kind, the answer is unknown.
    """
    chosen = [_product_for(layer, stock, piece_mm, hoopings) for layer in layers]
    cuts: dict[str, CutPlan] = {}
    orders: dict[str, list[int]] = {}
    for number, product in enumerate(chosen):
        if product is not None:
            orders.setdefault(product.product, []).append(number)
    for product in dict.fromkeys(each for each in chosen if each is not None):
        assert piece_mm is not None  # or no product would have been chosen
        needs = tuple(_need(layers[at], product, piece_mm, hoopings) for at in orders[product.product])
        cuts[product.product] = plan_cut(CutOrder(needs), CutStock(product.rolls, product.flats))
    plans = []
    for number, (layer, product) in enumerate(zip(layers, chosen, strict=True)):
        pieces = layer.count * hoopings
        if product is None or piece_mm is None:
            size = piece_mm or (0, 0)
            plans.append(
                LayerPlan("", layer.kind, layer.method, pieces, size, None, 0, 0.0, "unknown", None, 0, None)
            )
            continue
        shares = layer_cuts(
            cuts[product.product], [layers[at].count for at in orders[product.product]], product
        )
        cut = shares[orders[product.product].index(number)]
        plans.append(_layer_plan(layer, product, cut, piece_mm=piece_mm, pieces=pieces))
    return tuple(plans)


def _product_for(
    layer: LayerNeed, stock: Sequence[StabilizerStock], piece_mm: tuple[int, int] | None, hoopings: int
) -> StabilizerStock | None:
    """Return the product that alone leaves fewest pieces missing, then takes least roll."""
    fitting = [each for each in stock if each.suits(layer)]
    if piece_mm is None or not fitting:
        return None
    if len(fitting) == 1:
        return fitting[0]

    def merit(product: StabilizerStock) -> tuple[int, int, str]:
        order = CutOrder((_need(layer, product, piece_mm, hoopings),))
        cut = plan_cut(order, CutStock(product.rolls, product.flats))
        return sum(cut.missing), cut.roll_mm2, product.product

    return min(fitting, key=merit)


def _need(layer: LayerNeed, product: StabilizerStock, piece_mm: tuple[int, int], hoopings: int) -> PieceNeed:
    return PieceNeed(
        width_mm=piece_mm[0],
        height_mm=piece_mm[1],
        count=layer.count * hoopings,
        may_turn=not (layer.grain_matters and product.has_grain),
        label=f"{layer.kind}, {layer.method}",
    )


def layer_cuts(cut: CutPlan, layers: Sequence[object], product: StabilizerStock) -> list[LayerCut]:
    """Return what of a product's cut is for each of its layers; lengths and costs add up to those of the cut."""
    needs = range(len(layers))
    on_rolls = [
        [sum(piece.need == need for piece in source.pieces) for need in needs] for source in cut.rolls
    ]
    roll_mm = _shared(cut.roll_mm, [sum(each[need] for each in on_rolls) for need in needs])
    bound_mm = _shared(cut.bound_mm, [sum(each[need] for each in on_rolls) for need in needs])
    flat_pieces = [sum(piece.need == need for each in cut.flats for piece in each.pieces) for need in needs]
    flats_cost = [
        sum(
            (each.price or 0.0) * sum(piece.need == need for piece in each.pieces) / len(each.pieces)
            for each in cut.flats
        )
        for need in needs
    ]
    area = _shared(cut.roll_mm2, [sum(each[need] for each in on_rolls) for need in needs])
    return [
        LayerCut(
            product_cut=cut,
            need=need,
            pieces=flat_pieces[need] + sum(each[need] for each in on_rolls) + cut.missing[need],
            flat_pieces=flat_pieces[need],
            roll_mm=roll_mm[need],
            bound_mm=bound_mm[need],
            missing=cut.missing[need],
            cost=None
            if area[need] and product.price_per_mm2 is None
            else flats_cost[need] + area[need] * (product.price_per_mm2 or 0.0),
        )
        for need in needs
    ]


def _shared(total: int, weights: Sequence[int]) -> list[int]:
    """Return ``total`` in whole parts as large as their weights, which add up to it exactly."""
    whole = sum(weights)
    if not whole:
        return [0] * len(weights)
    ends = [round(total * sum(weights[: at + 1]) / whole) for at in range(len(weights))]
    return [end - start for start, end in zip([0, *ends], ends, strict=False)]


def _layer_plan(
    layer: LayerNeed,
    product: StabilizerStock,
    cut: LayerCut,
    *,
    piece_mm: tuple[int, int],
    pieces: int,
) -> LayerPlan:
    p = 0.0 if cut.missing else _p_cut(cut.product_cut, product.rolls)
    lacking = _roll_to_buy(cut.missing, product, piece_mm) if cut.missing else 0
    offers = [offer for width, offer in product.roll_offers if width >= piece_mm[0]]
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
        cost=cut.cost,
        missing_mm=lacking,
        purchase=cheapest_purchase(lacking, offers) if lacking else None,
    )


def _p_cut(cut: CutPlan, rolls: Sequence[Roll]) -> float:
    """The chance that every roll really holds what is cut from it."""
    by_label = {roll.label: roll for roll in rolls}
    p = 1.0
    for part in cut.rolls:
        roll = by_label[part.label]
        if roll.sigma_mm:
            p *= float(ndtr((roll.free_mm - part.roll_mm) / roll.sigma_mm))
    return p


def _roll_to_buy(missing: int, product: StabilizerStock, piece_mm: tuple[int, int]) -> int:
    """Return the length of a new roll that gives the missing pieces, none of them turned."""
    widths = [width for width, _ in product.roll_offers] + [roll.width_mm for roll in product.rolls]
    across = max((width // piece_mm[0] for width in widths), default=0)
    return -(-missing // across) * piece_mm[1] if across else missing * piece_mm[1]

"""A fabric's recipe as the planner reckons with it."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.utils import translation

from planning.compute.stabilizer.cautions import layer_cautions
from planning.compute.stabilizer.layers import LayerNeed
from planning.compute.stabilizer.supply import Losses
from planning.models import Fabric, Layer, Rules
from planning.models.fabrics import METHODS_IN_DATA


def layer_needs(fabric: Fabric) -> tuple[LayerNeed, ...]:
    """Return the layers of a fabric's recipe, in their order; none for a fabric that is not kept."""
    return tuple(layer_need(layer) for layer in fabric.layers.all()) if fabric.pk else ()


def layer_need(layer: Layer) -> LayerNeed:
    return LayerNeed(
        kind=layer.kind,
        weight_from_g_m2=layer.weight_from_g_m2,
        weight_to_g_m2=layer.weight_to_g_m2,
        method=layer.method,
        count=layer.count,
        grain_matters=layer.grain_matters,
        crossed=layer.crossed,
        by_extent=layer.method == Layer.Method.TOPPING,
        words=METHODS_IN_DATA[layer.method],
    )


def with_cautions(layers: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the layers of a plan that was kept as data, each with its cautions, older ones by kind and method."""
    methods = {words: method for method, words in METHODS_IN_DATA.items()}
    return [
        {"cautions": layer_cautions(kind=layer["kind"], method=methods.get(layer["method"], layer["method"]))}
        | dict(layer)
        for layer in layers
    ]


def losses_of(rules: Rules) -> Losses:
    """Return what the workshop's way of cutting loses."""
    return Losses(kerf_mm=rules.cut_kerf_mm, edge_mm=rules.roll_edge_mm)


def recipe_in_words(fabric: Fabric) -> str:
    """Return a fabric's recipe in a line, as a note of a stitch-out keeps it: alike whoever reads."""
    with translation.override("en"):
        return "; ".join(map(str, fabric.layers.all()))

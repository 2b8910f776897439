"""Whether a recipe suits the stretch of a fabric and the density of what is stitched on it."""

from collections.abc import Sequence

from inventory.compute.spoken import _, figure, plainly
from planning.compute.stabilizer.layers import LayerNeed

# A plain fill at the common row spacing of 0.4 mm with stitches of 4 mm: 100 mm² / (0.4 mm × 4 mm) on each cm².
FULL_FILL_PER_CM2 = 62.5
# From twice that on, stitches lie over stitches wherever the design is not empty. Common practice, no source.
DENSE_PER_CM2 = 2 * FULL_FILL_PER_CM2
# Below this a backing counts as light: common practice, no source.
LIGHT_G_M2 = 60.0

STAYS = "cut-away"
# What lies with a backing and is none.
HOLDS_NO_CLOTH = frozenset({"topping", "adhesive", "spray", "foam"})


def density_per_cm2(stitches: int, width_mm: float, height_mm: float) -> float:
    """Return the stitches on each square centimetre of the upright rectangle round a design; 0 for one without area.

    >>> density_per_cm2(6_400, 80, 80)
    100.0
    """
    area_cm2 = width_mm * height_mm / 100
    return stitches / area_cm2 if area_cm2 > 0 else 0.0


def recipe_doubts(
    layers: Sequence[LayerNeed], *, stretch: str = "none", density: float = 0.0
) -> tuple[str, ...]:
    """Return in words what looks wrong with a recipe, each with the reason; a test decides.

    ``stretch`` is none, some or much; ``density`` in stitches per cm². All of it is common practice, no source.

    >>> tear_away = LayerNeed("tear-away", 35, 60, "hooped with the cloth", 2)
    >>> recipe_doubts([tear_away], stretch="none", density=80)
    ()
    >>> len(recipe_doubts([tear_away], stretch="much", density=80))
    1
    """
    if not layers:
        return ()
    below = [layer for layer in layers if not layer.by_extent and layer.kind not in HOLDS_NO_CLOTH]
    if not below:
        return (
            _(
                "The recipe has only a topping, and nothing under the cloth: it keeps stitches out of the pile but "
                "holds no cloth. Common practice: a backing as well."
            ),
        )
    count = sum(layer.count for layer in below)
    staying = [layer for layer in below if layer.kind == STAYS]
    doubts = []
    if stretch != "none" and not staying:
        kinds = _(" and ").join(_(kind) for kind in dict.fromkeys(layer.kind for layer in below))
        told = (
            _(
                "The fabric stretches much, and its recipe has only {kinds}: once that is gone, nothing keeps the "
                "cloth from pulling the stitches apart. Common practice: cut-away."
            )
            if stretch == "much"
            else _(
                "The fabric stretches a little, and its recipe has only {kinds}: once that is gone, nothing keeps the "
                "cloth from pulling the stitches apart. Common practice: cut-away."
            )
        )
        doubts.append(told.format(kinds=kinds))
    if density >= DENSE_PER_CM2 and not staying and count == 1:
        doubts.append(
            _(
                "The design has {density} stitches per cm², twice a full fill or more ({full} per cm² at 0.4 mm rows "
                "and 4 mm stitches), and the recipe has one layer of {kind}: so many needle holes cut through it. "
                "Common practice: a second layer, or cut-away."
            ).format(
                density=figure(density, grouped=False), full=plainly(FULL_FILL_PER_CM2), kind=_(below[0].kind)
            )
        )
    if density >= FULL_FILL_PER_CM2 and stretch == "much" and _is_light(staying):
        doubts.append(
            _(
                "The design has {density} stitches per cm², a full fill or more, on a fabric that stretches much, and "
                "the recipe has one light layer of cut-away (below {light} g/m²): it gives with the cloth, which "
                "puckers. Common practice: a heavier one, or two that cross."
            ).format(density=figure(density, grouped=False), light=plainly(LIGHT_G_M2))
        )
    return tuple(doubts)


def _is_light(layers: Sequence[LayerNeed]) -> bool:
    return sum(layer.count for layer in layers) == 1 and layers[0].weight_to_g_m2 < LIGHT_G_M2

"""The usual cautions at the step where a layer is used. All of them defer to manual, label and local rules."""

from collections.abc import Iterable

from inventory.compute.spoken import N_, _

SPRAY = N_(
    "Spray away from the machine, with air in the room, far from flames and from anything hot; wear what the can says, "
    "and follow its safety data and local rules."
)
IF_SPRAYED = N_(
    "If you hold it with spray: away from the machine, with air, far from flames; as the can says."
)
HEAT = N_(
    "Heat it away with air in the room, after a test that the cloth and the thread bear the heat, and only as hot as "
    "its label says."
)
WATER = N_(
    "Keep it dry until the last stitch; test the wash on a scrap first, and rinse all of it out for the skin."
)
IRON = N_(
    "Iron it on as its label says, after a test on a scrap: iron and film are hot, and not every cloth or thread bears "
    "it. Let it cool before it is hooped."
)
STICKY = N_(
    "Glue gathers on the needle: look at it often, and clean or change it with the machine switched off or locked. As "
    "the machine's manual says."
)
FOAM = N_(
    "Over foam: the needle and speed that the machine's manual allows, and eye protection. Take every crumb out: small "
    "loose parts are not for babies or small children."
)
TRIM = N_(
    "Trim with the hoop off the machine or the machine locked, on a firm table, points away from you; put the scissors "
    "away before it runs. The machine's manual comes first."
)
EVERY = (SPRAY, IF_SPRAYED, HEAT, WATER, IRON, STICKY, FOAM, TRIM)
# Where the layers are laid before stitching: common practice, no source.
_UNSURE_HOLD = ("floated", "topping")


def layer_cautions(*, kind: str, method: str, holds_by: str = "", comes_off: str = "") -> tuple[str, ...]:
    """Return the cautions for a layer: what it is, how it is laid, what makes it hold, and what takes it away.

    >>> layer_cautions(kind="tear-away", method="hooped")
    ()
    >>> layer_cautions(kind="topping", method="topping", comes_off="water")[-1] == WATER
    True
    """
    found = []
    if kind == "spray":
        found.append(SPRAY)
    if holds_by == "sticky":
        found.append(STICKY)
    if holds_by == "fusible" or method == "ironed":
        found.append(IRON)
    if method in _UNSURE_HOLD and not holds_by:
        found.append(IF_SPRAYED)
    if kind == "foam":
        found.append(FOAM)
    if kind == "fabric":
        found.append(TRIM)
    if kind == "heat-away" or comes_off == "heat":
        found.append(HEAT)
    if kind == "wash-away" or comes_off == "water":
        found.append(WATER)
    return tuple(found)


def cautions_said(*, kind: str, method: str, holds_by: str = "", comes_off: str = "") -> tuple[str, ...]:
    """Return the same as ``layer_cautions`` in the reader's language."""
    return tuple(map(_, layer_cautions(kind=kind, method=method, holds_by=holds_by, comes_off=comes_off)))


def each_once(cautions: Iterable[Iterable[str]]) -> tuple[str, ...]:
    """Return the cautions of several layers, each of them once, in their order."""
    return tuple(dict.fromkeys(each for own in cautions for each in own))

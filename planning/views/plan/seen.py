"""The pictures of a plan as people see them whose eyes lack one kind of cone."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from inventory.compute.colour.lab import Lab, hex_from_lab, lab_from_hex
from planning.compute.colour.vision import MATRICES, seen_with
from planning.library.pictures import BlockColour, PlanPicture

# The ways of seeing by the words that their sums have, as a page says them.
SEEN_BY = {
    "protanopia": gettext_noop("eyes that tell red less well"),
    "deuteranopia": gettext_noop("eyes that tell green less well"),
    "tritanopia": gettext_noop("eyes that tell blue and yellow less well"),
}


def pictures_seen(pictures: Sequence[PlanPicture], viewer: str) -> list[PlanPicture]:
    """Return the pictures in the colours that ``viewer`` sees; an unknown viewer sees as everybody does."""
    if viewer not in MATRICES:
        return list(pictures)
    return [
        replace(each, asked=_seen(each.asked, viewer), chosen=_seen(each.chosen, viewer)) for each in pictures
    ]


def viewers(address: QueryDict) -> list[dict[str, Any]]:
    """Return the ways of seeing, each with the address that shows it and whether it is shown now."""
    now = address.get("seen", "")
    offered = []
    for viewer, name in (("", _("everybody")), *((each, _(SEEN_BY[each])) for each in MATRICES)):
        changed = address.copy()
        changed.pop("seen", None)
        if viewer:
            changed["seen"] = viewer
        is_now = viewer == now or (not viewer and now not in MATRICES)
        offered.append({"name": name, "href": f"?{changed.urlencode()}#pictures", "now": is_now})
    return offered


def _seen(colours: Sequence[BlockColour], viewer: str) -> tuple[BlockColour, ...]:
    hexes = list(dict.fromkeys(each.hex for each in colours if each.hex))
    if not hexes:
        return tuple(colours)
    labs = seen_with(viewer, [tuple(lab_from_hex(hex)) for hex in hexes])
    seen = dict(zip(hexes, (hex_from_lab(Lab(*map(float, lab))) for lab in labs), strict=True))
    return tuple(replace(each, hex=seen.get(each.hex, each.hex)) for each in colours)

"""The whole of "do I own this?" at once, for a device that carries it to the shop."""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from inventory.catalogue.owning import Kept, kept_of
from inventory.compute.colour.lab import nearest_00
from inventory.compute.colour.seen import difference_seen
from inventory.compute.names.plain import plain_names
from inventory.models import EarlierCode, Shade


@dataclass(frozen=True)
class PocketShade:
    """A shade that is known here: what is kept of it, and the owned shade that comes nearest to one that is not.

    ``words`` is what its colour is called, empty where nobody has said its colour; ``nearest`` is a place in the list.
    """

    shade: Shade
    earlier_codes: tuple[str, ...]
    words: str
    kept: Kept
    nearest: int | None = None
    seen: str = ""


def pocket_list() -> list[PocketShade]:
    """Return every needle shade that is known, with the answers that ``do_i_own`` gives of it, in a fixed number of
    queries: owned or not, how much is free and where, and of one that is not owned which owned one comes nearest.
    """
    owned = set(Shade.objects.owned().for_needle().values_list("pk", flat=True))
    shades = list(Shade.objects.for_needle().prefetch_related("range"))
    kept = kept_of(owned)
    earlier: dict[int, list[str]] = defaultdict(list)
    for shade, code in EarlierCode.objects.order_by("id").values_list("shade_id", "code"):
        earlier[shade].append(code)
    coloured = [place for place, shade in enumerate(shades) if shade.lab is not None]
    labs = np.array([_lab(shades[place]) for place in coloured], dtype=float).reshape(-1, 3)
    words = dict(zip(coloured, plain_names(labs), strict=True))
    nearest = _nearest(coloured, labs, is_owned=[shades[place].pk in owned for place in coloured])
    return [
        PocketShade(
            shade=shade,
            earlier_codes=tuple(earlier[shade.pk]),
            words=words.get(place, ""),
            kept=kept[shade.pk],
            nearest=nearest[place][0] if place in nearest else None,
            seen=difference_seen(nearest[place][1]) if place in nearest else "",
        )
        for place, shade in enumerate(shades)
    ]


def _nearest(places: list[int], labs: np.ndarray, *, is_owned: list[bool]) -> dict[int, tuple[int, float]]:
    """Return for each place that is not owned the owned place nearest to it by CIEDE2000, and the difference."""
    of = np.array(places, dtype=int)
    owned = np.array(is_owned, dtype=bool)
    if not owned.any() or owned.all():
        return {}
    on_hand, missing = of[owned], of[~owned]
    best, least = nearest_00(labs[~owned], labs[owned])
    return {
        place: (int(on_hand[at]), float(difference))
        for place, at, difference in zip(missing.tolist(), best, least, strict=True)
    }


def _lab(shade: Shade) -> tuple[float, float, float]:
    lab = shade.lab
    assert lab is not None  # asked by the caller
    return lab.L, lab.a, lab.b

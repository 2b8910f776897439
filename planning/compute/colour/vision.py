"""How a pair of colours looks to people whose eyes lack one kind of cone.

Machado, Oliveira and Fernandes, A physiologically-based model for simulation of color vision deficiency, IEEE
Transactions on Visualization and Computer Graphics 15 (2009) 1291–1298: their matrices for the whole lack of a cone
(severity 1.0), on linear sRGB. Milder forms lie between these and normal sight.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from inventory.compute.colour.lab import delta_e_00_matrix
from inventory.compute.colour.light import labs_of_light, light_of_labs
from planning.compute.colour.rules import least_apart

Floats = NDArray[np.float64]

MATRICES: Mapping[str, tuple[tuple[float, float, float], ...]] = MappingProxyType(
    {
        "protanopia": (
            (0.152286, 1.052583, -0.204868),
            (0.114503, 0.786281, 0.099216),
            (-0.003882, -0.048116, 1.051998),
        ),
        "deuteranopia": (
            (0.367322, 0.860646, -0.227968),
            (0.280085, 0.672501, 0.047413),
            (-0.011820, 0.042940, 0.968881),
        ),
        "tritanopia": (
            (1.255528, -0.076749, -0.178779),
            (-0.078411, 0.930809, 0.147602),
            (0.004733, 0.691367, 0.303900),
        ),
    }
)


def seen_with(viewer: str, labs: ArrayLike) -> Floats:
    """Return the colours, (n, 3), that somebody with normal sight would take for what ``viewer`` sees.

    A colour that no screen shows is first brought to the nearest light that one does.

    >>> red, green = seen_with("deuteranopia", [(45.0, 45.0, 35.0), (45.0, -25.0, 25.0)])
    >>> bool(abs(red[1] - green[1]) < 20)
    True
    """
    light = np.clip(light_of_labs(labs), 0.0, 1.0)
    return labs_of_light(np.clip(light @ np.array(MATRICES[viewer]).T, 0.0, 1.0))


@dataclass(frozen=True)
class FallenTogether:
    """Two colours, by their places, that these viewers told apart as asked for and do not as chosen."""

    one: int
    other: int
    viewers: tuple[str, ...]


def fallen_together(asked: ArrayLike, chosen: ArrayLike) -> list[FallenTogether]:
    """Return the pairs of ``chosen`` colours, (n, 3), that came too near for some viewer who told ``asked`` apart.

    The rule is that of normal sight: half as far apart as they were, but no more than ΔE00 5. Pairs that break it
    for normal sight as well are left out: everybody is told of them.

    >>> fallen_together([(45.0, 45.0, 35.0), (45.0, -30.0, 70.0)], [(45.0, 45.0, 35.0), (45.0, -30.0, 70.0)])
    []
    """
    asked_labs, chosen_labs = (np.asarray(each, dtype=float).reshape(-1, 3) for each in (asked, chosen))
    for_all = delta_e_00_matrix(chosen_labs, chosen_labs) < least_apart(asked_labs)
    found: dict[tuple[int, int], list[str]] = {}
    for viewer in MATRICES:
        was, now = seen_with(viewer, asked_labs), seen_with(viewer, chosen_labs)
        together = (delta_e_00_matrix(now, now) < least_apart(was)) & ~for_all
        for one, other in zip(*np.nonzero(np.triu(together, 1)), strict=True):
            found.setdefault((int(one), int(other)), []).append(viewer)
    return [FallenTogether(one, other, tuple(viewers)) for (one, other), viewers in sorted(found.items())]

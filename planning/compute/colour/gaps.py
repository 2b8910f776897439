"""Which regions of colour a shelf does not cover, and which shades would cover most of what is left."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inventory.compute.colour.lab import Lab, delta_e_00, lower_bound_00
from planning.compute.colour.choice import OwnedShade
from planning.compute.colour.rules import lab_array

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# Below this chroma a thread is called grey, black or white. The borders of hue between the families, in degrees of
# CIE L*a*b*: common practice, no source.
GREY_BELOW = 10.0
FAMILIES = (
    (20.0, "pink"),
    (48.0, "red"),
    (72.0, "orange"),
    (105.0, "yellow"),
    (175.0, "green"),
    (225.0, "turquoise"),
    (295.0, "blue"),
    (335.0, "violet"),
    (360.0, "pink"),
)
LIGHTNESSES = ((40.0, "dark"), (70.0, "middle"), (math.inf, "light"))
REGION_NAMES = ("grey", "red", "orange", "yellow", "green", "turquoise", "blue", "violet", "pink")


def region_of(lab: Lab) -> tuple[str, str]:
    """Return the family and the lightness of a colour.

    >>> region_of(Lab(53.2, 80.1, 67.2)), region_of(Lab(95.0, 0.0, 1.0))
    (('middle', 'red'), ('light', 'grey'))
    """
    lightness = next(word for below, word in LIGHTNESSES if below > lab.L)
    if math.hypot(lab.a, lab.b) < GREY_BELOW:
        return lightness, "grey"
    hue = math.degrees(math.atan2(lab.b, lab.a)) % 360
    return lightness, next(word for below, word in FAMILIES if hue < below or below == 360.0)


def within(shades: Floats, points: Floats, *, limit: float) -> Bools:
    """Return whether each of ``shades``, (k, 3), lies within CIEDE2000 ``limit`` of each of ``points``, (n, 3).

    Pairs whose lightness alone puts them farther apart are never computed.

    >>> within(np.array([(50.0, 0, 0)]), np.array([(51.0, 0, 0), (70.0, 0, 0)]), limit=5.0).tolist()
    [[True, False]]
    """
    near = np.zeros((len(shades), len(points)), dtype=bool)
    for row, shade in enumerate(shades):
        maybe = np.flatnonzero(lower_bound_00(shade, points) <= limit)
        if len(maybe):
            near[row, maybe] = delta_e_00(shade, points[maybe]) <= limit
    return near


@dataclass(frozen=True)
class Cover:
    """Candidates in the order in which they were taken, how many points each adds, and what no choice exceeds."""

    chosen: tuple[int, ...]
    added: tuple[int, ...]
    bound: int

    @property
    def covered(self) -> int:
        return sum(self.added)


def cover_most(covers: Bools, *, most: int) -> Cover:
    """Return up to ``most`` candidates that cover many points; ``covers`` is (candidates, points).

    Each is the one that adds most to those before it; so many cover at least 1 − 1/e of what the best choice of as
    many does (Nemhauser, Wolsey and Fisher, Mathematical Programming 14 (1978) 265–294, from memory). ``bound`` is
    tighter: after any of the steps, no choice covers more than what is covered and the largest additions left.

    >>> cover_most(np.array([[1, 1, 0], [0, 1, 1], [0, 0, 1]], dtype=bool), most=2)
    Cover(chosen=(0, 1), added=(2, 1), bound=3)
    """
    left = np.ones(covers.shape[1], dtype=bool)
    chosen: list[int] = []
    added: list[int] = []
    bound = int(covers.any(axis=0).sum()) if len(covers) else 0
    while True:
        gains = (covers & left).sum(axis=1) if len(covers) else np.zeros(0, dtype=int)
        bound = min(bound, sum(added) + int(np.sort(gains)[::-1][:most].sum()))
        if len(chosen) == most or not gains.any():
            return Cover(tuple(chosen), tuple(added), bound)
        best = int(gains.argmax())
        chosen.append(best)
        added.append(int(gains[best]))
        left &= ~covers[best]


@dataclass(frozen=True)
class ColourRegion:
    """A part of the colours that threads come in: how many shades of it are known, and how many are covered."""

    lightness: str
    family: str
    known: int
    covered: int

    @property
    def uncovered(self) -> int:
        return self.known - self.covered


@dataclass(frozen=True)
class Suggestion:
    """A shade to own, how many of the known colours it would cover anew, and the region it lies in."""

    shade: OwnedShade
    adds: int
    region: tuple[str, str]


@dataclass(frozen=True)
class GapMap:
    """The known colours, whether each is covered, by region; and the shades that would cover most of the rest.

    No ``len(suggestions)`` shades cover more than ``bound`` of the colours that are open.
    """

    points: tuple[OwnedShade, ...]
    is_covered: tuple[bool, ...]
    regions: tuple[ColourRegion, ...]
    suggestions: tuple[Suggestion, ...]
    bound: int

    @property
    def covered(self) -> int:
        return sum(self.is_covered)

    @property
    def uncovered(self) -> int:
        return len(self.points) - self.covered

    @property
    def would_cover(self) -> int:
        return sum(each.adds for each in self.suggestions)


def gap_map(shades: Sequence[OwnedShade], *, limit: float, most: int = 5) -> GapMap:
    """Return how the owned ones among ``shades`` cover the colours of all of them, within CIEDE2000 ``limit``.

    The colours that makers dye stand for those that may be asked for. A shade counts as owned where some of it is
    free. Shades without a colour are left out.
    """
    known = [shade for shade in shades if shade.lab is not None]
    labs = lab_array([shade.lab for shade in known])
    owned = np.array([any(spool.free_mm > 0 for spool in shade.spools) for shade in known], dtype=bool)
    covered: Bools = np.asarray(within(labs[owned], labs, limit=limit).any(axis=0), dtype=bool)
    rest = np.flatnonzero(~covered)
    candidates = np.flatnonzero(~owned)
    cover = cover_most(within(labs[candidates], labs[rest], limit=limit), most=most)
    taken = [known[candidates[each]] for each in cover.chosen]
    suggestions = [
        Suggestion(shade, adds, region_of(shade.lab))
        for shade, adds in zip(taken, cover.added, strict=True)
        if shade.lab is not None
    ]
    return GapMap(
        points=tuple(known),
        is_covered=tuple(bool(each) for each in covered),
        regions=_regions(known, covered),
        suggestions=tuple(suggestions),
        bound=cover.bound,
    )


def _regions(known: Sequence[OwnedShade], covered: Bools) -> tuple[ColourRegion, ...]:
    counts: dict[tuple[str, str], list[int]] = {}
    for shade, is_covered in zip(known, covered, strict=True):
        assert shade.lab is not None  # only such are known
        count = counts.setdefault(region_of(shade.lab), [0, 0])
        count[0] += 1
        count[1] += bool(is_covered)
    return tuple(
        ColourRegion(lightness, family, *counts[lightness, family])
        for family in REGION_NAMES
        for _, lightness in LIGHTNESSES
        if (lightness, family) in counts
    )

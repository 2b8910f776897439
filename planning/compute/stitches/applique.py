"""Applique in a design: the parts between its stops, which of them may be placement lines, and its fabric pieces."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planning.compute.stitches.placing import Placement, placed_size

Box = tuple[float, float, float, float]

PLACEMENT, TACK_DOWN, COVER = "placement", "tack-down", "cover"
ROLES = (PLACEMENT, TACK_DOWN, COVER)
# Fabric beyond the line on every side, to hold on to and to trim off: common practice, no source.
USUAL_ALLOWANCE_MM = 10
# An outline comes back to where it began within so many mm, is no smaller than this, and is walked round once, or
# twice for a firm line. Common practice, no source; a guess from it is never more than a proposal.
CLOSED_WITHIN_MM, LEAST_SIDE_MM, MOST_ROUNDS = 2.0, 10.0, 2.6
# The stitches of one applique lie on one another, give or take the width of its cover. Common practice, no source.
ALIKE_WITHIN_MM = 5.0


@dataclass(frozen=True)
class DesignPart:
    """What is stitched from one stop or thread change to the next: part ``part`` (from 1) of block ``block``.

    ``box_mm`` is left, top, right and bottom; ``is_outline`` says that it is one closed line.
    """

    block: int
    part: int
    box_mm: Box
    stitches: int
    is_outline: bool

    @property
    def size_mm(self) -> tuple[float, float]:
        left, top, right, bottom = self.box_mm
        return right - left, bottom - top

    @property
    def key(self) -> str:
        """The part as people and forms write it: 3 for a whole block, 3.2 for the second part of one.

        >>> DesignPart(3, 2, (0, 0, 1, 1), 9, False).key
        '3.2'
        """
        return f"{self.block}.{self.part}"


@dataclass(frozen=True)
class ProposedApplique:
    """Parts that may be an applique: a closed line before a stop, and what is stitched over it next."""

    placement: DesignPart
    tack_down: DesignPart | None = None
    cover: DesignPart | None = None


@dataclass(frozen=True)
class AskedApplique:
    """An applique of a kept design: its fabric, and the size of what the fabric must cover, as digitized."""

    id: int
    name: str
    product_id: int
    product: str
    has_grain: bool
    width_mm: float
    height_mm: float
    allowance_mm: int
    count: int
    stops: tuple[tuple[str, int, int], ...] = ()  # role, block number, part

    def piece_mm(self, placement: Placement) -> tuple[int, int]:
        """Return width and height of its fabric piece, in whole mm.

        Fabric with a grain, a nap or a print lies with the cloth's, so that the piece holds the applique as it is
        turned; any other is turned with it, and no larger than it is.

        >>> star = AskedApplique(1, "star", 1, "", True, 40.0, 20.0, 10, 1)
        >>> star.piece_mm(Placement(turned_deg=90)), star.piece_mm(Placement(scale=1.1))
        ((40, 60), (64, 42))
        """
        turned = placement if self.has_grain else Placement(scale=placement.scale)
        sides = placed_size(self.width_mm, self.height_mm, turned)
        width_mm, height_mm = (math.ceil(round(side, 6)) + 2 * self.allowance_mm for side in sides)
        return width_mm, height_mm


def design_parts(
    blocks: Sequence[tuple[NDArray[np.float64], NDArray[np.intp], NDArray[np.intp]]],
) -> tuple[DesignPart, ...]:
    """Return the parts of a design in sewing order.

    ``blocks`` have the penetrations in mm, where runs start, and the penetrations that follow a stop.

    >>> square = np.array([(0, 0), (20, 0), (20, 20), (0, 20), (0, 0)], dtype=float)
    >>> none = np.array([], dtype=np.intp)
    >>> [(each.key, each.size_mm, each.is_outline) for each in design_parts([(square, np.array([0]), none)])]
    [('1.1', (20.0, 20.0), True)]
    """
    found = []
    for number, (points_mm, run_starts, stops) in enumerate(blocks, 1):
        inside = sorted({int(stop) for stop in stops if 0 < stop < len(points_mm)})
        ends = zip([0, *inside], [*inside, len(points_mm)], strict=True)
        for part, (start, end) in enumerate(ends, 1):
            own = points_mm[start:end]
            low, high = own.min(axis=0), own.max(axis=0)
            runs = 1 + int(np.count_nonzero((run_starts > start) & (run_starts < end)))
            box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
            found.append(DesignPart(number, part, box, end - start, runs == 1 and _is_outline(own, box)))
    return tuple(found)


def _is_outline(points_mm: NDArray[np.float64], box: Box) -> bool:
    width, height = box[2] - box[0], box[3] - box[1]
    if len(points_mm) < 4 or min(width, height) < LEAST_SIDE_MM:
        return False
    steps = np.diff(points_mm, axis=0)
    length = float(np.hypot(steps[:, 0], steps[:, 1]).sum())
    gap = float(np.hypot(*(points_mm[-1] - points_mm[0])))
    # No closed line round a box is shorter than twice its diagonal.
    shortest = 2 * math.hypot(width, height)
    return gap <= CLOSED_WITHIN_MM and shortest * 0.98 <= length <= MOST_ROUNDS * 2 * (width + height)


def proposals(parts: Sequence[DesignPart]) -> tuple[ProposedApplique, ...]:
    """Return what may be appliques: closed lines that a stop follows, with what lies on them next.

    It is a guess from the stitches alone. A part is proposed once.
    """
    found: list[ProposedApplique] = []
    taken = -1
    for at, part in enumerate(parts[:-1]):
        if at <= taken or not part.is_outline:
            continue
        over = []
        for following in parts[at + 1 : at + 3]:
            if not _alike(part.box_mm, following.box_mm):
                break
            over.append(following)
        found.append(ProposedApplique(part, *over))
        taken = at + len(over)
    return tuple(found)


def _alike(one: Box, other: Box) -> bool:
    return all(abs(a - b) <= ALIKE_WITHIN_MM for a, b in zip(one, other, strict=True))

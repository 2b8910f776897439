"""How far a quantity on the shelf may be off, by how it is known."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

# One-sigma error relative to the quantity: common practice, no source. A weighed or judged item has a sigma of
# its own, from the scale or from the eye; the figures here stand in where none was kept.
RELATIVE_SIGMA: Mapping[str, float] = MappingProxyType(
    {"sealed": 0.02, "weighed": 0.03, "measured": 0.05, "counted": 0.0, "judged": 0.25, "unknown": 0.50}
)

# What comes off a roll beyond what is said, in mm a strip: nobody cuts too short for the hoop, so that a hand cuts
# each strip long, and the same hand each about as long. Common practice, no source.
LONG_MM = 3.0
# By how much one strip differs from the others of the same hand, as one sigma in mm: a mark on a ruler, and a cut
# that is not quite straight. Common practice, no source.
UNEVEN_MM = 2.0
# Strips that go wrong and are cut again, of all strips: common practice, no source.
CUT_AGAIN = 0.02
# A strip holds a hoop and its margins; for cuts of which nobody kept how many strips they were. Common practice, no
# source.
USUAL_STRIP_MM = 200


def sealed_sigma(quantity: float) -> float:
    """Return the sigma of ``quantity`` on a put-up that is still as it was sold.

    >>> sealed_sigma(5_000_000)
    100000.0
    """
    return RELATIVE_SIGMA["sealed"] * quantity


@dataclass(frozen=True)
class Look:
    """A way to look at a thing, and one sigma in mm of what that tells, by how much is really on it.

    >>> Look("weigh", (0.0, 1000.0), (20.0, 40.0)).sigma_at(500.0)
    30.0
    """

    act: str  # weigh, measure across, judge by eye, measure along
    lengths_mm: tuple[float, ...]
    sigmas_mm: tuple[float, ...]

    def sigma_at(self, length_mm: float) -> float:
        return float(np.interp(length_mm, self.lengths_mm, self.sigmas_mm))


@dataclass(frozen=True)
class StripsCut:
    """Strips that came off a roll: how many, their length in mm together, and the sum of its squares."""

    strips: int = 0
    length_mm: float = 0.0
    squares_mm2: float = 0.0

    def __add__(self, other: "StripsCut") -> "StripsCut":
        return StripsCut(
            self.strips + other.strips,
            self.length_mm + other.length_mm,
            self.squares_mm2 + other.squares_mm2,
        )

    @property
    def in_common_mm(self) -> float:
        """One sigma of what all strips share: how long the hand cuts, and how often one is cut again."""
        return LONG_MM * self.strips + CUT_AGAIN * self.length_mm

    @property
    def own_mm(self) -> float:
        """One sigma of what each strip has for itself, which evens out the more strips there are."""
        return math.sqrt(UNEVEN_MM**2 * self.strips + CUT_AGAIN * self.squares_mm2)

    @property
    def sigma_mm(self) -> float:
        """One sigma of what really came off: what is shared adds up straight, the rest by squares.

        >>> strip = strips_of(200)
        >>> many = strips_of(20_000, strips=100)
        >>> round(strip.sigma_mm, 1), round(many.in_common_mm), round(many.own_mm), round(many.sigma_mm)
        (29.2, 700, 284, 755)
        """
        return math.hypot(self.in_common_mm, self.own_mm)


NOTHING_CUT = StripsCut()


def strips_of(length_mm: float, *, strips: int | None = None) -> StripsCut:
    """Return what came off a roll in ``strips`` of about one length, or in strips as they usually are.

    >>> strips_of(1_000)
    StripsCut(strips=5, length_mm=1000, squares_mm2=200000.0)
    """
    count = max(1, round(length_mm / USUAL_STRIP_MM)) if strips is None else strips
    return StripsCut(count, length_mm, length_mm**2 / count) if length_mm > 0 else NOTHING_CUT


def sigma_after_cut(sigma_mm: float, *, before: StripsCut, after: StripsCut) -> float:
    """Return what is known of a roll's length, in one sigma in mm, once not ``before`` but ``after`` was cut of it.

    The same hand cut all of it: what a further strip adds depends on how many there were. A strip that is taken back
    takes its share with it.

    >>> cut, more = strips_of(2_000, strips=10), strips_of(4_000, strips=20)
    >>> once = sigma_after_cut(100.0, before=StripsCut(), after=more)
    >>> twice = sigma_after_cut(sigma_after_cut(100.0, before=StripsCut(), after=cut), before=cut, after=more)
    >>> round(once, 6) == round(twice, 6) == round(math.hypot(100.0, more.sigma_mm), 6)
    True
    """
    return math.sqrt(max(0.0, sigma_mm**2 - before.sigma_mm**2 + after.sigma_mm**2))


def of_rolls_together(rolls: Iterable[tuple[float, StripsCut]]) -> float:
    """Return one sigma in mm of several rolls taken together, each with its own and what was cut of it.

    One hand cut them all, so that what their strips share adds up straight over the rolls as well.

    >>> roll = (100.0, strips_of(2_000, strips=10))  # 70 mm of the sigma are the hand's
    >>> round(of_rolls_together([roll])), round(of_rolls_together([roll, roll]))
    (100, 173)
    """
    known = list(rolls)
    shared = math.fsum(cut.in_common_mm for _, cut in known)
    own = math.fsum(max(0.0, sigma_mm**2 - cut.in_common_mm**2) for sigma_mm, cut in known)
    return math.hypot(shared, math.sqrt(own))

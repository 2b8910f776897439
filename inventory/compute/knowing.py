"""How far a quantity on the shelf may be off, by how it is known."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

# One-sigma error relative to the quantity: common practice, no source. A weighed or judged item has a sigma of
# its own, from the scale or from the eye; the figures here stand in where none was kept.
RELATIVE_SIGMA: Mapping[str, float] = MappingProxyType(
    {"sealed": 0.02, "weighed": 0.03, "measured": 0.05, "counted": 0.0, "judged": 0.25, "unknown": 0.50}
)


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

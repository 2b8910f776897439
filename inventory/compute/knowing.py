"""How far a quantity on the shelf may be off, by how it is known."""

from collections.abc import Mapping
from types import MappingProxyType

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

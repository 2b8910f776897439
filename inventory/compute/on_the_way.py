"""What is on its way of a material."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class OnTheWay:
    """What one order still brings of a material, in mm, mg or pieces; ``day`` is when it is expected.

    A draft is sent by nobody yet: its ``day`` is the one on which it would come if it were sent today.
    """

    material: str
    order: int
    supplier: str
    day: date
    quantity: float
    is_draft: bool = False
    width_mm: int = 0  # of rolls

"""Where a design lies on a piece: moved, turned, mirrored, and scaled within limits."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, as_written_here
from planning.compute.stitches.thread_length import BlockSums

# Scaling keeps the stitches and only makes each longer or shorter: beyond a fifth, fills open up or crowd, and
# satin stitches grow too long or too short to hold. Common practice, no source.
MOST_SCALING = 0.2


class ScaledTooFar(WorkshopError):
    """The drawing would be scaled beyond what its stitches bear."""


@dataclass(frozen=True)
class Placement:
    """The centre of a design on the piece in mm from the middle of the field (y downwards), and its pose."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    turned_deg: float = 0.0
    mirrored: bool = False
    scale: float = 1.0

    def __post_init__(self) -> None:
        for value in (self.x_mm, self.y_mm, self.turned_deg, self.scale):
            if not math.isfinite(value):
                raise WorkshopError(_("A position or angle of {value} is no number.").format(value=value))
        if abs(self.scale - 1) > MOST_SCALING + 1e-9:
            raise ScaledTooFar(
                _(
                    "{scale} is more than a fifth from the size that was digitized. Scaling keeps the stitches: "
                    "beyond 80 to 120 % fills gape or crowd and satin no longer holds. Digitize it anew at that "
                    "size."
                ).format(scale=as_written_here(f"{self.scale:.0%}"))
            )


AS_DRAWN = Placement()


def scaled_sums(sums: BlockSums, placement: Placement) -> BlockSums:
    """Return the sums of a block at the placement's scale.

    Every stitch becomes that much longer, so all paths do; penetrations, runs and trims stay. Turning and
    mirroring change no length.

    >>> sums = BlockSums(drawn_mm=100.0, penetrations=50, back_draw_mm=10.0, bobbin_path_mm=(100.0, 90.0), runs=1)
    >>> scaled_sums(sums, Placement(scale=1.1)).drawn_mm
    110.00000000000001
    """
    scale = placement.scale
    if scale == 1.0:
        return sums
    return replace(
        sums,
        drawn_mm=sums.drawn_mm * scale,
        back_draw_mm=sums.back_draw_mm * scale,
        bobbin_path_mm=tuple(path * scale for path in sums.bobbin_path_mm),
        dragged_mm=sums.dragged_mm * scale,
    )


def placed_size(width_mm: float, height_mm: float, placement: Placement) -> tuple[float, float]:
    """Return the width and height of the upright rectangle round a design as it lies.

    >>> [round(side, 6) for side in placed_size(40.0, 20.0, Placement(turned_deg=90, scale=1.1))]
    [22.0, 44.0]
    """
    angle = math.radians(placement.turned_deg)
    across, along = abs(math.cos(angle)), abs(math.sin(angle))
    return (
        placement.scale * (width_mm * across + height_mm * along),
        placement.scale * (width_mm * along + height_mm * across),
    )


def field_needed(placed: Iterable[tuple[float, float, Placement]]) -> tuple[float, float]:
    """Return the width and height that hold every design of one hooping.

    ``placed`` gives width and height in mm as digitized, and where each design lies.

    >>> field_needed([(40.0, 20.0, Placement(x_mm=-30)), (40.0, 20.0, Placement(x_mm=30, y_mm=5))])
    (100.0, 25.0)
    """
    edges = []
    for width_mm, height_mm, placement in placed:
        width, height = placed_size(width_mm, height_mm, placement)
        edges.append(
            (
                placement.x_mm - width / 2,
                placement.y_mm - height / 2,
                placement.x_mm + width / 2,
                placement.y_mm + height / 2,
            )
        )
    if not edges:
        return 0.0, 0.0
    left, top, right, bottom = zip(*edges, strict=True)
    return max(right) - min(left), max(bottom) - min(top)

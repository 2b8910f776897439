"""The strip to stitch and weigh: drawn for a machine, reckoned from what was weighed, and κ kept."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from inventory.ledger.changes import change
from inventory.models import Change
from planning.compute.stitches.thread_length import (
    USUAL_THICKNESS_MM,
    ThreadSettings,
    bobbin_laid_mm,
    needle_laid_mm,
)
from planning.compute.stitches.weighed_strip import (
    Scale,
    StripMeasured,
    StripResult,
    WeighedStrip,
    draw_strip,
    strip_result,
    weighing_errors,
)
from planning.models import Fabric, Hoop, Machine
from planning.stitch_files.writing import stitch_file

STRIP_COLOUR = "#1c2b8d"
# The field that nearly every machine has; used where no hoop is named.
PLAIN_FIELD_MM = (100.0, 100.0)


@dataclass(frozen=True)
class StripAsked:
    """For which machine, cloth and field the strip is, and on what its thread is weighed."""

    machine: Machine
    scale: Scale
    wanted_error: float = 0.03
    hoop: Hoop | None = None
    fabric: Fabric | None = None

    @property
    def settings(self) -> ThreadSettings:
        """How thread is laid there; the allowance for breaks is no part of a strip that ran without one."""
        thickness_mm = self.fabric.thickness_mm if self.fabric else USUAL_THICKNESS_MM
        return self.machine.thread_settings(thickness_mm=thickness_mm, allowance=0.0)

    @property
    def field_mm(self) -> tuple[float, float]:
        if self.hoop is None:
            return PLAIN_FIELD_MM
        return float(self.hoop.field_width_mm), float(self.hoop.field_height_mm)


@dataclass(frozen=True)
class StripPromise:
    """A strip with what it takes by the machine's settings, and how well that is weighed."""

    strip: WeighedStrip
    needle_mm: float
    bobbin_mm: float
    needle_mg: float
    bobbin_mg: float
    errors: tuple[float, float]


def promised(asked: StripAsked) -> StripPromise:
    """Return the strip for this machine and scale. Raises WorkshopError where none is large enough."""
    strip = draw_strip(
        asked.scale, wanted_error=asked.wanted_error, field_mm=asked.field_mm, settings=asked.settings
    )
    needle, bobbin = needle_laid_mm(strip.sums, asked.settings), bobbin_laid_mm(strip.sums, asked.settings)
    return StripPromise(
        strip=strip,
        needle_mm=needle,
        bobbin_mm=bobbin,
        needle_mg=needle / 1000 * asked.scale.needle_tex,
        bobbin_mg=bobbin / 1000 * asked.scale.bobbin_tex,
        errors=weighing_errors(asked.scale, strip, asked.settings),
    )


def strip_file(asked: StripAsked, *, extension: str) -> bytes:
    """Return the strip as a stitch file. Raises CannotWrite."""
    return stitch_file([promised(asked).strip.points_mm], extension=extension, colours=[STRIP_COLOUR])


def measured_strip(asked: StripAsked, measured: StripMeasured) -> StripResult:
    """Return κ and the factors from what was read and weighed of the strip that was asked for."""
    return strip_result(promised(asked).strip.sums, measured, scale=asked.scale, settings=asked.settings)


def keep_kappa(machine: Machine, *, kappa: float, key: str, at: datetime, by: Any) -> Change | None:
    """Return what was noted of setting κ of ``machine``, before and after; None where it is that already."""
    return change(
        machine,
        changes={"kappa": round(kappa, 4)},
        at=at,
        by=by,
        key=key,
        what=f"{machine}: κ from a strip",
    )

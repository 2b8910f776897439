"""Both threads of three parts of a strip: drawn for a machine, solved from what was read, and kept."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.acting import whole_act
from inventory.compute.errors import WorkshopError
from inventory.ledger.changes import change
from inventory.models import Change, ThreadRange
from inventory.shelf.weights import tex_sigma
from planning.compute.stitches.strip_threads import (
    PARTS,
    LaySolved,
    PartReadings,
    ThreadReading,
    ThreePartStrip,
    WeighingErrors,
    lay_from_threads,
    measured_reading,
    strip_to_measure,
    strip_to_weigh,
    weighed_reading,
)
from planning.compute.stitches.thread_length import ThreadSettings, bobbin_laid_mm, needle_laid_mm
from planning.compute.stitches.weighed_strip import Scale
from planning.models import Fabric, Hoop, Machine, no_cloth
from planning.stitch_files.writing import stitch_file
from planning.strip.strips import PLAIN_FIELD_MM

PART_COLOURS = ("#1c2b8d", "#b01c2e", "#2f6f4f")  # three, so that the machine stops between the parts
BOTH = ("needle", "bobbin")


@dataclass(frozen=True)
class WeighedOn:
    """The scale, what it errs by, and to which share each part is to be weighed."""

    scale: Scale
    errors: WeighingErrors
    wanted_error: float


@dataclass(frozen=True)
class ThreadsAsked:
    """For which machine, cloth and field; with ``weighed_on`` None the threads are unravelled and measured."""

    machine: Machine
    fabric: Fabric | None = None
    hoop: Hoop | None = None
    weighed_on: WeighedOn | None = None

    @property
    def settings(self) -> ThreadSettings:
        fabric = self.fabric or no_cloth()
        return self.machine.thread_settings(thickness_mm=fabric.thickness_mm, allowance=0.0)


@dataclass(frozen=True)
class PartPromise:
    """A part with what it takes by the machine's settings: what a ruler or the scale should show."""

    name: str
    drawn_mm: float
    needle_mm: float
    bobbin_mm: float
    needle_mg: float | None = None
    bobbin_mg: float | None = None


def weighed_on(
    needle: ThreadRange,
    bobbin: ThreadRange,
    *,
    step_mg: float,
    repeatability_mg: float,
    wanted_error: float,
) -> WeighedOn:
    """Return how thread of two ranges is weighed; what their tex may be off by comes with them."""
    return WeighedOn(
        Scale(step_mg, needle.tex, bobbin.tex),
        WeighingErrors(repeatability_mg, tex_sigma(needle), tex_sigma(bobbin)),
        wanted_error,
    )


def drawn_strip(asked: ThreadsAsked) -> ThreePartStrip:
    """Return the strip. Raises WorkshopError where no strip in the field weighs enough."""
    if asked.weighed_on is None:
        return strip_to_measure()
    hoop, on = asked.hoop, asked.weighed_on
    return strip_to_weigh(
        on.scale,
        on.errors,
        wanted_error=on.wanted_error,
        field_mm=(float(hoop.field_width_mm), float(hoop.field_height_mm)) if hoop else PLAIN_FIELD_MM,
        settings=asked.settings,
    )


def part_promises(asked: ThreadsAsked, strip: ThreePartStrip) -> list[PartPromise]:
    """Return what each part takes by the settings: thread that is unravelled without its tails, weighed with them."""
    tails = _tails_mm(asked.settings)
    found = []
    for name, sums in zip(PARTS, strip.sums, strict=True):
        needle, bobbin = needle_laid_mm(sums, asked.settings), bobbin_laid_mm(sums, asked.settings)
        on = asked.weighed_on
        found.append(
            PartPromise(name, sums.drawn_mm, needle - tails["needle"], bobbin - tails["bobbin"])
            if on is None
            else PartPromise(
                name,
                sums.drawn_mm,
                needle,
                bobbin,
                needle / 1000 * on.scale.needle_tex,
                bobbin / 1000 * on.scale.bobbin_tex,
            )
        )
    return found


def threads_file(asked: ThreadsAsked, *, extension: str) -> bytes:
    """Return the strip as a stitch file, each part in a colour of its own. Raises CannotWrite."""
    return stitch_file(drawn_strip(asked).points_mm, extension=extension, colours=PART_COLOURS)


def solved(asked: ThreadsAsked, read: Mapping[tuple[str, str], float]) -> LaySolved:
    """Return t, q and κ from what was read, by (part, needle or bobbin): mm of unravelled thread, mg of weighed."""
    tails, on = _tails_mm(asked.settings), asked.weighed_on

    def reading(part: str, thread: str) -> ThreadReading:
        value = read[part, thread]
        if on is None:
            return measured_reading(value)
        return weighed_reading(
            value,
            tex=on.scale.needle_tex if thread == "needle" else on.scale.bobbin_tex,
            scale=on.scale,
            errors=on.errors,
            tails_mm=tails[thread],
        )

    return lay_from_threads(
        drawn_strip(asked).sums,
        [PartReadings(*(reading(part, thread) for thread in BOTH)) for part in PARTS],
        needle_tex_sigma=on.errors.needle_tex_sigma if on else 0.0,
        bobbin_tex_sigma=on.errors.bobbin_tex_sigma if on else 0.0,
    )


def _tails_mm(settings: ThreadSettings) -> dict[str, float]:
    return {
        "needle": settings.needle_tail_start_mm + settings.needle_tail_trim_mm,
        "bobbin": settings.bobbin_tail_start_mm + settings.bobbin_tail_trim_mm,
    }


@whole_act
def keep_lay(
    machine: Machine,
    *,
    fabric: Fabric | None,
    kappa: float,
    interlock_depth: float,
    thickness_mm: float,
    key: str,
    at: datetime,
    by: Any,
) -> tuple[Change | None, Change | None]:
    """Return what was noted of setting κ and q of ``machine`` and, where a cloth is given, its thickness."""
    if machine.pk is None:
        raise WorkshopError(_("No machine is set up yet, so there is none that could be set."))
    of_machine = change(
        machine,
        changes={"kappa": round(kappa, 4), "interlock_depth": round(interlock_depth, 3)},
        at=at,
        by=by,
        key=f"{key}-machine",
        what=f"{machine}: κ and depth of the interlock from both threads of a strip",
    )
    if fabric is None:
        return of_machine, None
    of_fabric = change(
        fabric,
        changes={"thickness_mm": round(thickness_mm, 3)},
        at=at,
        by=by,
        key=f"{key}-fabric",
        what=f"{fabric}: thickness from both threads of a strip",
    )
    return of_machine, of_fabric


def lay_as_data(found: LaySolved) -> dict[str, Any]:
    return {
        name: round(value, 4)
        for what, (at, sigma) in (
            ("kappa", found.kappa),
            ("interlock_depth", found.interlock_depth),
            ("thickness_mm", found.thickness_mm),
        )
        for name, value in ((what, at), (f"{what}_sigma", sigma))
    } | {"odd": found.is_odd}

"""How what is asked is hooped: how many copies at a time, and in which hoop."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, ngettext
from inventory.compute.units import told_sides
from planning.compute.batch.copies_compared import boxes_needed
from planning.compute.hooping.copies import COPY_SPACING_MM, HoopField, most_copies, smallest_hoop
from planning.compute.stitches.placing import field_needed
from planning.models import Hoop
from planning.plan.asked import JobAsked


@dataclass(frozen=True)
class Hooping:
    """Copies of a piece that are hooped together, and the hoop; None where no hoop holds the designs."""

    copies: int
    hoop: Hoop | None
    notes: tuple[str, ...] = ()
    too_big: str = ""  # that no hoop of the machine holds a design, and what would


def hooping_of(asked: JobAsked) -> Hooping:
    """Return the copies and the hoop asked for, or the smallest hoop that holds them, with what a person should know.

    Designs of one hooping number must fit the hoop together, where they lie. Raises WorkshopError for more copies
    than any hoop holds, or fewer than one.
    """
    copies = _copies(asked)
    if copies > 1:
        hoops, fields = hoops_to_choose(asked), hoop_fields(asked)
        chosen = smallest_hoop(boxes_needed(asked.every_design), fields, copies=copies)
        assert chosen is not None  # no more copies are asked for than some hoop holds
        return Hooping(copies, hoops[fields.index(chosen)])
    needed = [_field(asked, number) for number in sorted({each.hooping for each in asked.every_design})]
    if asked.hoop:
        beyond = tuple(
            _("{names} needs {size}, beyond the field of {hoop}.").format(
                names=names, size=f"{width_mm:.0f} × {height_mm:.0f} mm", hoop=asked.hoop
            )
            for names, width_mm, height_mm in needed
            if not asked.hoop.holds(width_mm=width_mm, height_mm=height_mm)
        )
        return Hooping(1, asked.hoop, beyond)
    for hoop in asked.hoops:
        if all(hoop.holds(width_mm=width_mm, height_mm=height_mm) for _names, width_mm, height_mm in needed):
            return Hooping(1, hoop)
    if not asked.hoops:
        note = _("No hoop of {machine} is set up, so the stabilizer is not known.").format(
            machine=asked.machine
        )
        return Hooping(1, None, (note,))
    return Hooping(1, None, too_big=_too_big(asked, needed))


def _too_big(asked: JobAsked, needed: Sequence[tuple[str, float, float]]) -> str:
    """Say that no hoop holds the largest of what is stitched at once, and which one would, or what to do."""
    names, width_mm, height_mm = max(needed, key=lambda field: field[1] * field[2])
    size = f"{width_mm:.0f} × {height_mm:.0f} mm"
    lead = _("No hoop of {machine} holds {names} ({size}), so its stabilizer is not known").format(
        machine=asked.machine, names=names, size=size
    )
    for hoop in asked.every_hoop:
        others = [each.name for each in hoop.machines.all() if each.pk != asked.machine.pk]
        if hoop.holds(width_mm=width_mm, height_mm=height_mm) and others:
            return lead + _(": {hoop} does, on {machine}.").format(hoop=hoop, machine=others[0])
    largest = asked.hoops[-1]
    sides = largest.field_width_mm, largest.field_height_mm
    parts = min(
        math.ceil(width_mm / across) * math.ceil(height_mm / down) for across, down in (sides, sides[::-1])
    )
    return lead + _("; nor does any other. It must be split into {parts} parts at least for {hoop}.").format(
        parts=parts, hoop=largest
    )


def hoops_to_choose(asked: JobAsked) -> tuple[Hoop, ...]:
    """Return the hoops that may be chosen: the one asked for alone, or all of the machine."""
    return (asked.hoop,) if asked.hoop else asked.hoops


def hoop_fields(asked: JobAsked) -> tuple[HoopField, ...]:
    """Return the hoops that may be chosen as a grid of copies sees them, in their order."""
    return tuple(
        HoopField(
            name=hoop.name,
            width_mm=hoop.field_width_mm,
            height_mm=hoop.field_height_mm,
            piece_mm=hoop.piece_mm(margin_mm=asked.rules.stabilizer_margin_mm),
        )
        for hoop in hoops_to_choose(asked)
    )


def _copies(asked: JobAsked) -> int:
    if asked.copies == 1:
        return 1
    boxes = boxes_needed(asked.every_design)
    most = max((most_copies(boxes, field) for field in hoop_fields(asked)), default=0)
    if asked.copies == "most":
        return max(1, min(most, asked.to_stitch.total))
    if asked.copies < 1:
        raise WorkshopError(
            _("{copies} copies per hooping stitch nothing; give 1 or more.").format(copies=asked.copies)
        )
    if asked.copies > most:
        holds = (
            ngettext(
                "The hoop {hoop} holds {most} copy at a time, {distance} apart; {copies} are asked for.",
                "The hoop {hoop} holds {most} copies at a time, {distance} apart; {copies} are asked for.",
                most,
            )
            if asked.hoop
            else ngettext(
                "No hoop of this machine holds more than {most} copy at a time, {distance} apart; {copies} are asked "
                "for.",
                "No hoop of this machine holds more than {most} copies at a time, {distance} apart; {copies} are asked "
                "for.",
                most,
            )
        ).format(hoop=asked.hoop, most=most, distance=told_sides(COPY_SPACING_MM), copies=asked.copies)
        raise WorkshopError(f"{holds} {_('Give fewer copies per hooping, or a larger hoop.')}")
    return asked.copies


def _field(asked: JobAsked, hooping: int) -> tuple[str, float, float]:
    """Return the names, width and height of what is stitched in one hooping; of letterings, the largest counts."""
    together = [each for each in (*asked.designs, *asked.lettering) if each.hooping == hooping]
    width_mm, height_mm = field_needed((each.width_mm, each.height_mm, each.placement) for each in together)
    more = _(" with {number} more").format(number=len(together) - 1) if len(together) > 1 else ""
    return f"{together[0].name}{more}", width_mm, height_mm

"""The appliques of a design: what its parts are, what may be one, and what a person says is one."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db.models import Max
from django.utils.translation import gettext as _

from inventory.acting import planned_act, standing_at
from inventory.compute.errors import WorkshopError
from inventory.compute.units import told_sides
from inventory.ledger.changes import changed_before
from inventory.models import Change, StabilizerProduct
from planning.compute.stitches.applique import ROLES, USUAL_ALLOWANCE_MM, DesignPart, design_parts
from planning.library.pictures import points_of
from planning.models import Applique, AppliqueStop, Design

TABLE = Applique._meta.db_table
Lines = Sequence[tuple[str, DesignPart]]


class NotSuchParts(WorkshopError):
    """The parts that were named do not make an applique of the design."""


def parts_of(design: Design) -> tuple[DesignPart, ...]:
    """Return the parts of a kept design in sewing order. Raises FileNotKept where its file is gone."""
    return design_parts(points_of(design))


def part_meant(text: str, parts: Sequence[DesignPart]) -> DesignPart:
    """Return the part that a person means by 3 (the first, or only, part of block 3) or 3.2."""
    block, _dot, part = text.strip().partition(".")
    key = f"{block}.{part or 1}"
    found = next((each for each in parts if each.key == key), None)
    if found is None:
        raise NotSuchParts(
            _('"{text}" is no part of the design. It has {parts}.').format(
                text=text, parts=", ".join(each.key for each in parts)
            )
        )
    return found


@planned_act
def add_applique(
    design: Design,
    *,
    lines: Lines,
    product: StabilizerProduct,
    at: datetime,
    by: Any,
    name: str = "",
    allowance_mm: int = USUAL_ALLOWANCE_MM,
    size_mm: tuple[float, float] | None = None,
    count: int = 1,
    key: str = "",
) -> Applique:
    """Return the applique that these parts of ``design`` are, each with its role; plans reckon with its fabric.

    Without ``size_mm`` the fabric must cover the boxes of placement line and tack-down, or of the cover where there
    is neither. Raises NotSuchParts for lines out of their order, or a product that is no fabric.
    """
    earlier = changed_before(key) if key else None
    if earlier is not None:
        found = Applique.objects.filter(pk=earlier.record).first()
        if found is not None:
            return found
    if product.kind != StabilizerProduct.Kind.FABRIC:
        raise NotSuchParts(
            _("{product} is {kind}. Choose a fabric, or add one to the catalogue.").format(
                product=product, kind=product.get_kind_display()
            )
        )
    _refuse_disorder(lines)
    if count < 1:
        raise NotSuchParts(_("{count} pieces of fabric are none; give 1 or more.").format(count=count))
    taken = set(AppliqueStop.objects.filter(applique__design=design).values_list("block", "part"))
    for _role, part in lines:
        if (part.block, part.part) in taken:
            raise NotSuchParts(
                _("Part {key} is a line of another applique already. Take that one out first.").format(
                    key=part.key
                )
            )
    width_mm, height_mm = size_mm or covered_mm(lines)
    if min(width_mm, height_mm) < 1:
        raise NotSuchParts(
            _("{size} is too small for a piece of fabric.").format(size=told_sides(width_mm, height_mm))
        )
    last = design.appliques.aggregate(last=Max("number"))["last"] or 0
    made = Applique.objects.create(
        design=design,
        number=last + 1,
        name=(name.strip() or _("piece {number}").format(number=last + 1))[:40],
        product=product,
        width_mm=width_mm,
        height_mm=height_mm,
        allowance_mm=allowance_mm,
        count=count,
    )
    AppliqueStop.objects.bulk_create(
        AppliqueStop(applique=made, role=role, block=part.block, part=part.part) for role, part in lines
    )
    _note(made, f"applique {made} of {design} said", at=at, by=by, key=key)
    return made


@planned_act
def remove_applique(applique: Applique, *, at: datetime, by: Any) -> None:
    """Take an applique out of its design: its parts are stitches like others again."""
    _note(applique, f"applique {applique} of {applique.design} taken out", at=at, by=by)
    applique.delete()


def covered_mm(lines: Lines) -> tuple[float, float]:
    """Return width and height of what the fabric lies under: the line and the tack-down, else the cover."""
    boxes = [part.box_mm for role, part in lines if role != "cover"] or [part.box_mm for _, part in lines]
    left, top, right, bottom = zip(*boxes, strict=True)
    return round(max(right) - min(left), 1), round(max(bottom) - min(top), 1)


def _refuse_disorder(lines: Lines) -> None:
    if not lines:
        raise NotSuchParts(_("Name at least one part: a placement line, a tack-down or a cover."))
    roles = [role for role, _ in lines]
    if len(set(roles)) < len(roles) or not set(roles) <= set(ROLES):
        raise NotSuchParts(_("An applique has one placement line, one tack-down and one cover at most."))
    in_order = sorted(lines, key=lambda each: ROLES.index(each[0]))
    places = [(part.block, part.part) for _, part in in_order]
    if places != sorted(set(places)):
        raise NotSuchParts(_("The placement line comes before the tack-down, and that before the cover."))


def _note(applique: Applique, what: str, *, at: datetime, by: Any, key: str = "") -> None:
    Change.objects.create(
        table=TABLE, record=applique.pk, what=what[:200], at=at, by=by, station=standing_at(by), key=key
    )

"""What a batch is stitched on: a machine, a hoop and a cloth, kept from answers that need no handbook."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.acting import whole_act
from inventory.compute.spoken import as_written_here
from inventory.models import BobbinBatch
from planning.facts.recipes import LAYERS_IN, Starter
from planning.facts.setup import add_setting, set_hoops, set_recipe
from planning.models import Fabric, Hoop, Layer, Machine

# Fields of hoops that are common, in mm: common practice, no source.
USUAL_FIELDS = ((100, 100), (130, 180), (200, 300))
# The inner ring reaches so far beyond the field on every side: common practice, no source.
RING_BEYOND_MM = 10
MOST_NEEDLES = 20


@dataclass(frozen=True)
class OfferedHoop:
    """A hoop that may be chosen: one that is kept, or one of a common size."""

    value: str
    name: str
    field_mm: tuple[int, int]
    too_small_mm: float  # by how much; zero where the design fits

    @property
    def fits(self) -> bool:
        return not self.too_small_mm


def hoops_to_choose(width_mm: float, height_mm: float) -> list[OfferedHoop]:
    """Return the workshop's hoops, the smallest first, and the common sizes that are not among them."""
    kept = list(Hoop.objects.smallest_first())
    fields = [(each.field_width_mm, each.field_height_mm) for each in kept]
    offered = [
        OfferedHoop(str(each.pk), each.name, field, _short_by(field, width_mm, height_mm))
        for each, field in zip(kept, fields, strict=True)
    ]
    if kept:
        return offered
    return [
        OfferedHoop(f"{field[0]}x{field[1]}", hoop_name(*field), field, _short_by(field, width_mm, height_mm))
        for field in USUAL_FIELDS
    ]


def hoop_name(width_mm: int, height_mm: int) -> str:
    """Return what a hoop is called by its field, in cm.

    >>> hoop_name(130, 180), hoop_name(95, 95)
    ('13 × 18 cm', '9.5 × 9.5 cm')
    """
    width, height = (as_written_here(f"{mm / 10:g}") for mm in (width_mm, height_mm))
    return f"{width} × {height} cm"


@whole_act
def keep_machine(*, needles: int, hoops: Sequence[Hoop], at: datetime, by: Any) -> Machine:
    """Return the workshop's machine with so many needles, a new one where it has none such, taking ``hoops`` too."""
    found = Machine.objects.filter(needles=needles).first()
    if found is None:
        kinds = set(BobbinBatch.objects.values_list("style_id", flat=True))
        name = _("One needle") if needles == 1 else _("{needles} needles").format(needles=needles)
        found = Machine(name=name, needles=needles, bobbin_style_id=kinds.pop() if len(kinds) == 1 else None)
        add_setting(found, at=at, by=by)
    own = list(found.hoops.all())
    new = [hoop for hoop in hoops if hoop not in own]
    if new:
        set_hoops(found, [*own, *new])
    return found


@whole_act
def keep_hoop(*, width_mm: int, height_mm: int, at: datetime, by: Any) -> Hoop:
    """Return the workshop's hoop with this field, a new one where it has none such."""
    found = Hoop.objects.filter(field_width_mm=width_mm, field_height_mm=height_mm).first()
    if found is None:
        found = Hoop(
            name=hoop_name(width_mm, height_mm),
            field_width_mm=width_mm,
            field_height_mm=height_mm,
            ring_width_mm=width_mm + 2 * RING_BEYOND_MM,
            ring_height_mm=height_mm + 2 * RING_BEYOND_MM,
        )
        add_setting(found, at=at, by=by)
    return found


@whole_act
def keep_cloth(starter: Starter, *, at: datetime, by: Any) -> Fabric:
    """Return the workshop's fabric that begins with this recipe, a new one where it has none of that name."""
    found = Fabric.objects.filter(name__in={starter.name, starter.written_name}).first()
    if found is None:
        found = Fabric(
            name=starter.name,
            stretch=starter.stretch,
            thickness_mm=starter.thickness_mm,
            note=starter.why,
        )
        add_setting(found, at=at, by=by)
        layers = [Layer(**dict(zip(LAYERS_IN, layer, strict=True))) for layer in starter.layers]
        set_recipe(found, layers, at=at, by=by)
    return found


def _short_by(field: tuple[int, int], width_mm: float, height_mm: float) -> float:
    """Return by how many mm the field is too small for the design, upright or turned, whichever is less."""
    ways = ((width_mm, height_mm), (height_mm, width_mm))
    return min(max(0.0, wide - field[0], high - field[1]) for wide, high in ways)

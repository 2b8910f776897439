"""Files of several formats that hold one drawing: found by their outlines, shown as one design."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from inventory.acting import whole_act
from inventory.compute.errors import WorkshopError
from planning.compute.stitches.sameness import EXTENT_WITHIN_MM, PENETRATIONS_WITHIN, is_same_drawing
from planning.models import Design
from planning.models.designs import DesignQuerySet
from planning.stitch_files.formats import FORMATS

# What is within so much of a design is offered as nearly the same: as if it were larger than it is, so that places
# may lie farther apart than writers put them. Common practice, no source.
NEAR_WITHIN_MM, NEAR_EXTENT_MM = 3.0, 150.0
COLOURS_FIRST = ("rgb", "palette", "none")


class NotAVariant(WorkshopError):
    """The design stands for itself alone."""


def join_variants(design: Design) -> None:
    """Make a design just kept, whose outline another listed one has, one of its variants.

    Plans go on using the one that they used, unless the new file tells more (colours, trims that are explicit)
    and nobody has picked a variant or chosen colours by hand.
    """
    known = _same_drawing(design)
    if known is None:
        return
    design.variant_of = known
    design.save(update_fields=["variant_of"])
    settled = known.picked_by_hand or known.blocks.filter(chosen_by_hand=True).exists()
    if not settled and tells_more(design, known):
        _put_first(design, known)


@whole_act
def plan_with(design: Design) -> None:
    """Make ``design`` the variant that plans use; name, tags, favourite mark and notes go with the drawing."""
    first = design.variant_of
    if first is not None:
        _put_first(design, first)
    design.picked_by_hand = True
    design.save(update_fields=["picked_by_hand"])


@whole_act
def set_apart(design: Design) -> None:
    """Make a variant a design of its own, where the two only look alike. Raises NotAVariant."""
    if design.variant_of is None:
        raise NotAVariant(
            _(
                "{name} is the file that plans use. Let plans use another variant first, then set it apart."
            ).format(name=design.name)
        )
    design.variant_of = None
    design.save(update_fields=["variant_of"])


@dataclass(frozen=True)
class NearDuplicate:
    """A design that holds nearly the same stitches; ``stitches_equal`` where only the colours are others."""

    design: Design
    stitches_equal: bool


def near_duplicates(design: Design, *, most: int = 6) -> list[NearDuplicate]:
    """Return the listed designs that hold the same stitches in other colours, or nearly the same stitches."""
    if design.variant_of is not None:
        return []
    found = []
    for other in _of_the_size_of(design, within_mm=NEAR_WITHIN_MM):
        if is_same_drawing(design.outline, other.outline, extent_mm=NEAR_EXTENT_MM):
            found.append(NearDuplicate(other, stitches_equal=other.outline == design.outline))
    return sorted(found, key=lambda each: (not each.stitches_equal, each.design.name))[:most]


@whole_act
def join(design: Design, first: Design) -> None:
    """Make ``design`` a variant of ``first``, which plans go on using, with its tags and notes. Raises NotAVariant.

    Setting it apart takes that back, but for the tags.
    """
    if design.pk == first.pk or design.variant_of is not None or first.variant_of is not None:
        raise NotAVariant(
            _("{one} and {other} are one design already, or not two that stand alone.").format(
                one=design.name, other=first.name
            )
        )
    first.tags.add(*design.tags.all())
    design.tags.clear()
    design.stitch_outs.update(design=first)
    design.variants.update(variant_of=first)
    design.variant_of, design.favourite, design.picked_by_hand = first, False, False
    design.save(update_fields=["variant_of", "favourite", "picked_by_hand"])


def all_variants(design: Design) -> list[Design]:
    """Return every file of the drawing, the one that plans use first."""
    first = design.variant_of or design
    return [first, *first.variants.order_by("format", "id")]


def tells_more(one: Design, other: Design) -> bool:
    """Tell whether the format of ``one`` carries more than that of ``other``: colours first, then trims."""
    return _tells(one) < _tells(other)


def promote_variant(first: Design) -> None:
    """Let the variant that tells most take the place of ``first``, which is about to go."""
    others = sorted(first.variants.all(), key=lambda each: (*_tells(each), each.pk))
    if others:
        _put_first(others[0], first)


def _tells(design: Design) -> tuple[int, bool]:
    known = FORMATS[design.format.lower()]
    return COLOURS_FIRST.index(known.colours), known.trims != "explicit"


def _same_drawing(design: Design) -> Design | None:
    """The listed design of the same drawing; one scan of the sizes, then outlines, the oldest first."""
    extent_mm = max(design.width_mm, design.height_mm)
    for other in _of_the_size_of(design, within_mm=EXTENT_WITHIN_MM):
        if not is_same_drawing(design.outline, other.outline, extent_mm=extent_mm):
            continue
        # In one format, only what is the same stitch for stitch and in the same colours is surely one design.
        if other.format != design.format or _is_the_same_but_for_its_bytes(design, other):
            return other
    return None


def _is_the_same_but_for_its_bytes(one: Design, other: Design) -> bool:
    return one.outline == other.outline and _file_colours(one) == _file_colours(other)


def _file_colours(design: Design) -> list[str]:
    return list(design.blocks.order_by("number").values_list("file_hex", flat=True))


def _of_the_size_of(design: Design, *, within_mm: float) -> DesignQuerySet:
    """Return the other listed designs of about this size and this number of stitches, the oldest first."""
    width_mm, height_mm = design.width_mm, design.height_mm
    return (
        Design.objects.listed()
        .exclude(pk=design.pk)
        .filter(
            width_mm__range=(width_mm - within_mm, width_mm + within_mm),
            height_mm__range=(height_mm - within_mm, height_mm + within_mm),
            stitches__range=(
                int(design.stitches / (1 + PENETRATIONS_WITHIN)) - 5 * len(design.outline),
                int(design.stitches * (1 + PENETRATIONS_WITHIN)) + 5 * len(design.outline),
            ),
        )
        .order_by("pk")
    )


def _put_first(design: Design, first: Design) -> None:
    design.name, design.favourite = first.name, first.favourite
    design.picked_by_hand, design.variant_of = first.picked_by_hand, None
    design.save(update_fields=["name", "favourite", "picked_by_hand", "variant_of"])
    design.tags.set(first.tags.all())
    first.tags.clear()
    first.stitch_outs.update(design=design)
    first.favourite = first.picked_by_hand = False
    first.variant_of = design
    first.save(update_fields=["favourite", "picked_by_hand", "variant_of"])
    Design.objects.filter(variant_of=first).exclude(pk=design.pk).update(variant_of=design)

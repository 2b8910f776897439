"""The colours that a design is asked for in: chosen by hand, from a list, from another design, or the file's own."""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from inventory.acting import held, whole_act
from inventory.compute.colour.lab import ColourNotUnderstood, Lab, hex_from_lab, lab_from_hex, parse_colour
from inventory.compute.errors import WorkshopError
from inventory.models import Shade
from planning.compute.colour.lists import (
    CatalogueShade,
    ListedColour,
    ReadList,
    ShadeBook,
    read_colour_list,
    shade_book,
)
from planning.compute.colour.sources import LIST, PERSON, SAMPLE, SHADE
from planning.models import Block, Design

_HEX_IN_FRONT = re.compile(r"(#(?:[0-9a-fA-F]{6}|[0-9a-fA-F]{3}))(?:\s+(.*))?")
_LAB_IN_FRONT = re.compile(
    r"(lab(?:50)?\s*:\s*[^\s,]+\s*,\s*[^\s,]+\s*,\s*[^\s,]+)(?:\s+(.*))?", re.IGNORECASE
)
COLOUR_FIELDS = (
    "hex",
    "name",
    "code",
    "lab_l",
    "lab_a",
    "lab_b",
    "shade_id",
    "chosen_by_hand",
    "colour_source",
)
_SAID = ("hex", "lab_l", "lab_a", "lab_b", "shade_id")


class NotOneShade(WorkshopError):
    """No shade, or more than one, answers to what was typed."""


class NotSuchBlocks(WorkshopError):
    """The colours do not go with the design's blocks."""


@dataclass(frozen=True)
class RequestedColour:
    """What a block asks for; ``hex`` empty asks for no colour. ``lab`` is set where it is closer than hex.

    ``source`` is where it comes from: see ``planning.compute.colour.sources``.
    """

    hex: str = ""
    name: str = ""
    code: str = ""
    lab: Lab | None = None
    shade_id: int | None = None
    source: str = PERSON

    @property
    def as_lab(self) -> Lab | None:
        return self.lab or (lab_from_hex(self.hex) if self.hex else None)


NO_COLOUR = RequestedColour()


def known_shades() -> ShadeBook:
    """Return every needle shade of the catalogue, ready to be looked up."""
    shades = Shade.objects.for_needle().select_related("range").prefetch_related("earlier_codes")
    return shade_book(
        CatalogueShade(
            id=shade.pk,
            maker=shade.range.maker,
            range=shade.range.name,
            code=shade.code,
            name=shade.name,
            hex=shade.hex,
            earlier_codes=tuple(earlier.code for earlier in shade.earlier_codes.all()),
        )
        for shade in shades
    )


def understand_colour(text: str, *, book: ShadeBook) -> RequestedColour:
    """Return the colour that a person typed: ``#rrggbb``, ``lab:L,a,b`` or a shade code, a name behind it or not.

    Nothing typed means no colour. Raises ColourNotUnderstood and NoSuchShade.
    """
    written = text.strip()
    if not written:
        return NO_COLOUR
    if match := _HEX_IN_FRONT.fullmatch(written):
        return RequestedColour(hex=_six_digits(match[1]), name=(match[2] or "").strip()[:120])
    if match := _LAB_IN_FRONT.fullmatch(written):
        lab = parse_colour(match[1])
        assert lab is not None  # it starts as Lab, so it is one or was refused
        return RequestedColour(
            hex=hex_from_lab(lab), name=(match[2] or "").strip()[:120], lab=lab, source=SAMPLE
        )
    if written.startswith("#") or re.match(r"lab(50)?\s*:", written, re.IGNORECASE):
        raise ColourNotUnderstood(
            _('"{written}" is not a colour. Write it like #1f4e79 or lab:53.2,80.1,67.2.').format(
                written=written
            )
        )
    read = read_colour_list(f"1. {written}", book=book, stops=1)
    if read.problems:
        raise NotOneShade(read.problems[0].message)
    return replace(requested(read.colours[0]), source=SHADE)


def requested(listed: ListedColour) -> RequestedColour:
    """Return what a line of a list asks for."""
    if listed.shade is None:
        return RequestedColour(hex=listed.hex, name=listed.name, source=LIST)
    shade = listed.shade
    return RequestedColour(hex=shade.hex, name=shade.name, code=shade.code, shade_id=shade.id, source=LIST)


def read_list(design: Design, text: str, *, maker: str = "", book: ShadeBook | None = None) -> ReadList:
    """Return what a colour list says of the design; nothing is changed."""
    return read_colour_list(text, book=book or known_shades(), stops=design.blocks.count(), maker=maker)


@whole_act
def recolour(design: Design, colours: Mapping[int, RequestedColour]) -> int:
    """Ask for these colours, by block number, and return how many blocks differ from before.

    They stay with the design, whatever is imported later. A colour that is typed as it stands already stays what it
    was: a form sends all blocks, and only what a person changed becomes a demand. Raises NotSuchBlocks.
    """
    blocks = _blocks(design, colours)
    labs = {
        shade.pk: shade.lab
        for shade in Shade.objects.filter(
            pk__in=[each.shade_id for each in colours.values() if each.shade_id]
        )
    }
    changed = []
    for number, colour in colours.items():
        block = blocks[number]
        before = [getattr(block, name) for name in COLOUR_FIELDS]
        said = [getattr(block, name) for name in _SAID]
        lab = labs.get(colour.shade_id) if colour.shade_id else colour.lab
        block.hex, block.name, block.code = colour.hex, colour.name[:120], colour.code[:40]
        block.lab_l, block.lab_a, block.lab_b = tuple(lab) if lab else (None, None, None)
        block.shade_id = colour.shade_id
        block.chosen_by_hand = True
        is_echo = colour.source == PERSON and said == [getattr(block, name) for name in _SAID]
        if not is_echo or not block.colour_source:
            block.colour_source = colour.source if colour.hex else ""
        if [getattr(block, name) for name in COLOUR_FIELDS] != before:
            changed.append(block)
    Block.objects.bulk_update(changed, COLOUR_FIELDS)
    return len(changed)


@whole_act
def keep_thread_on(design: Design, numbers: Collection[int]) -> None:
    """Say at which blocks the thread of the block before stays on, so that the change is only a stop.

    All others change thread. Raises NotSuchBlocks.
    """
    blocks = _blocks(design, numbers)
    if blocks and min(blocks) in numbers:
        raise NotSuchBlocks(_("No thread is on before the first block, so it cannot stay on."))
    for block in blocks.values():
        block.same_thread = block.number in numbers
    Block.objects.bulk_update(blocks.values(), ["same_thread"])


@whole_act
def copy_colours(design: Design, *, source: Design) -> int:
    """Ask for the colours of ``source``, block by block, and return how many blocks differ from before.

    Raises NotSuchBlocks where the two have not as many blocks.
    """
    theirs = list(source.blocks.all())
    ours = list(design.blocks.all())
    if len(theirs) != len(ours):
        raise NotSuchBlocks(
            _(
                "{name} has {theirs} colour blocks and {name2} has {ours}; colours are copied between designs"
                " with as many."
            ).format(name=source.name, theirs=len(theirs), name2=design.name, ours=len(ours))
        )
    before = {block.number: (_colour_of(block), block.same_thread) for block in ours}
    recolour(design, {ours[at].number: _colour_of(block) for at, block in enumerate(theirs)})
    keep_thread_on(design, {ours[at].number for at, block in enumerate(theirs) if block.same_thread})
    after = {block.number: (_colour_of(block), block.same_thread) for block in design.blocks.all()}
    return sum(after[number] != before[number] for number in after)


@whole_act
def back_to_file_colours(design: Design) -> None:
    """Ask again for what the file itself asks for; every thread is changed where the file changes it."""
    blocks = list(design.blocks.all())
    for block in blocks:
        block.hex, block.name, block.code = block.file_hex, block.file_name, block.file_code
        block.lab_l = block.lab_a = block.lab_b = block.shade_id = None
        block.chosen_by_hand = block.same_thread = False
        block.colour_source = block.file_source
    Block.objects.bulk_update(blocks, [*COLOUR_FIELDS, "same_thread"])


def as_typed(block: Block) -> str:
    """Return the text that a person would type for what a block asks for now."""
    if block.shade is not None:
        return f"{block.shade.range.maker} {block.shade.range.name} {block.shade.code}"
    if block.lab_l is not None and block.lab is not None:
        return f"lab:{','.join(f'{value:g}' for value in block.lab)} {block.name}".strip()
    return f"{block.hex} {block.name or block.code}".strip() if block.hex else ""


def _colour_of(block: Block) -> RequestedColour:
    lab = block.lab if block.lab_l is not None else None
    return RequestedColour(block.hex, block.name, block.code, lab, block.shade_id, block.colour_source)


def _six_digits(hex: str) -> str:
    lab_from_hex(hex)
    digits = hex[1:].lower()
    return f"#{digits}" if len(digits) == 6 else "#" + "".join(2 * digit for digit in digits)


def _blocks(design: Design, numbers: Collection[int]) -> dict[int, Block]:
    blocks = {block.number: block for block in held(design.blocks.all())}
    missing = sorted(set(numbers) - set(blocks))
    if missing:
        raise NotSuchBlocks(
            _("{name} has {blocks} colour blocks; there is no block {missing} among them.").format(
                name=design.name, blocks=len(blocks), missing=missing[0]
            )
        )
    return blocks

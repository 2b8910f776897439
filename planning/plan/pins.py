"""Shades that a person pins to a block or rules out, as they are written in an address or a command.

A block is written as the plan shows it: ``2``, or ``1.2`` where there are several designs. A shade is written as
its code, or where makers share a code as ``RANGE CODE`` or ``MAKER RANGE CODE``.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from planning.compute.batch.asked import AskedDesign
from planning.compute.colour.choice import OwnedShade
from planning.facts.remembered import Remembered
from planning.models import Job, Strictness


class NoSuchPin(WorkshopError):
    """A pin or an exclusion names no block or no single shade."""


@dataclass(frozen=True)
class JobPins:
    """What is pinned for a kept job: shades by (SHA-256 of the design, block number), and those it leaves out.

    ``names`` are those of the shades by id, for one that has left the shelf since.
    """

    pinned: Mapping[tuple[str, int], int] = field(default_factory=dict)
    left_out: frozenset[int] = frozenset()
    names: Mapping[int, str] = field(default_factory=dict)


NO_PINS = JobPins()


def pins_of(job: Job) -> JobPins:
    """Return what is pinned for ``job``."""
    pinned, left_out = list(job.pinned_shades.all()), list(job.left_out_shades.all())
    return JobPins(
        pinned={(each.design.sha256, each.block): each.shade_id for each in pinned},
        left_out=frozenset(each.shade_id for each in left_out),
        names={each.shade_id: str(each.shade) for each in pinned},
    )


def pinned_now(
    pins: JobPins, designs: Sequence[AskedDesign], shades: Sequence[OwnedShade]
) -> tuple[dict[tuple[int, int], int], list[str]]:
    """Return the pinned shade of each (design, block number) that is still to be had, and a sentence for each other."""
    if not pins.pinned:
        return {}, []
    on_shelf = {shade.id for shade in shades}
    pinned, gone = {}, []
    for index, design in enumerate(designs):
        for block in design.blocks:
            shade = pins.pinned.get((design.sha256, block.number))
            if shade in on_shelf:
                pinned[index, block.number] = shade
            elif shade is not None:
                gone.append(
                    _(
                        "{shade}, pinned to block {block} of {design}, is no longer on the shelf in the planned fibre "
                        "and weight; another is chosen."
                    ).format(
                        shade=pins.names.get(shade) or _("The shade"), block=block.number, design=design.name
                    )
                )
    return pinned, list(dict.fromkeys(gone))


def remembered_pins(
    remembered: Remembered,
    designs: Sequence[AskedDesign],
    shades: Sequence[OwnedShade],
    *,
    excluded: Collection[int],
    strictness: str,
) -> tuple[dict[tuple[int, int], int], list[str]]:
    """Return the remembered shade of each (design, block number), and a sentence for each that is not on the shelf.

    Only what a file asks for is answered by what was said once: a demand is answered each time, and so are the
    colours of a brand.
    """
    if strictness == Strictness.BRAND or not remembered.shades:
        return {}, []
    on_shelf = {shade.id for shade in shades}
    found, missing = {}, []
    for index, design in enumerate(designs):
        for block in design.blocks:
            if block.lab is not None and not block.is_wish:
                continue
            shade = remembered.shade_for(design.sha256, block.number, block.hex)
            if shade in on_shelf and shade not in excluded:
                found[index, block.number] = shade
            elif shade is not None and shade not in excluded:
                missing.append(
                    _(
                        "{shade}, remembered for {colour}, is not on the shelf in the planned fibre and weight; "
                        "another is chosen."
                    ).format(
                        shade=remembered.names[shade],
                        colour=block.hex or _("block {block}").format(block=block.number),
                    )
                )
    return found, list(dict.fromkeys(missing))


def pinned_shades(
    pins: Sequence[str], designs: Sequence[AskedDesign], shades: Sequence[OwnedShade]
) -> dict[tuple[int, int], int]:
    """Return the shade id of each pinned (design, block number). Raises NoSuchPin."""
    pinned: dict[tuple[int, int], int] = {}
    for pin in pins:
        block, equals, written = pin.partition("=")
        if not equals:
            raise NoSuchPin(
                _('"{pin}" pins nothing. Write BLOCK=CODE, such as 2={code}.').format(
                    pin=pin, code=shades[0].code if shades else 147
                )
            )
        nowhere = _('No shade "{written}" of the planned fibre and weight is on the shelf.')
        pinned[named_block(block.strip(), designs)] = _shade(written, shades, nowhere=nowhere).id
    return pinned


def excluded_shades(exclude: Sequence[str], shades: Sequence[OwnedShade]) -> frozenset[int]:
    """Return the ids of the shades ruled out. Raises NoSuchPin."""
    nowhere = _('No shade "{written}" of the planned fibre and weight is on the shelf or on offer.')
    return frozenset(_shade(written, shades, nowhere=nowhere).id for written in exclude)


def written_pin(place: tuple[int, int], shade: OwnedShade, *, several: bool) -> str:
    """Return a pin as an address carries it.

    >>> shade = OwnedShade(7, 1, "Skerry", "Forty", "147", "red", "#b01c2e", None, ())
    >>> written_pin((1, 2), shade, several=True)
    '2.2=Skerry Forty 147'
    """
    return f"{written_block(place, several=several)}={full_name(shade)}"


def written_block(place: tuple[int, int], *, several: bool) -> str:
    design, block = place
    return f"{design + 1}.{block}" if several else str(block)


def written_blocks(places: Iterable[Sequence[int]], *, several: bool) -> str:
    """Return the blocks of (design, block number) as a plan names them to a person.

    >>> written_blocks([(0, 2), (1, 1)], several=True), written_blocks([(0, 2), (0, 4)], several=False)
    ('1.2, 2.1', '2, 4')
    """
    return ", ".join(written_block((design, block), several=several) for design, block in places)


def full_name(shade: OwnedShade) -> str:
    return f"{shade.maker} {shade.range} {shade.code}"


def _spellings(shade: OwnedShade) -> tuple[str, str, str]:
    return shade.code, f"{shade.range} {shade.code}", full_name(shade)


def named_block(written: str, designs: Sequence[AskedDesign]) -> tuple[int, int]:
    """Return the (design, block number) that a block is written as. Raises NoSuchPin."""
    design, dot, block = written.rpartition(".")
    if block.isdecimal() and (design.isdecimal() if dot else len(designs) == 1):
        index = int(design) - 1 if dot else 0
        if 0 <= index < len(designs) and int(block) in {each.number for each in designs[index].blocks}:
            return index, int(block)
    said = (
        _('There is no block "{written}" to pin a shade to. Write its number, as the plan shows it.')
        if len(designs) == 1
        else _(
            'There is no block "{written}" to pin a shade to. Write DESIGN.BLOCK, such as 1.2, as the plan shows it.'
        )
    )
    raise NoSuchPin(said.format(written=written))


def _shade(written: str, shades: Sequence[OwnedShade], *, nowhere: str) -> OwnedShade:
    wanted = " ".join(written.split()).casefold()
    found = [shade for shade in shades if wanted in {each.casefold() for each in _spellings(shade)}]
    if not found:
        raise NoSuchPin(nowhere.format(written=written.strip()))
    if len(found) > 1:
        names = ", ".join(full_name(shade) for shade in found)
        raise NoSuchPin(
            _('"{written}" may be any of {names}; write it in full.').format(
                written=written.strip(), names=names
            )
        )
    return found[0]

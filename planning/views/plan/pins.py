"""Links of a plan sheet that pin a shade to a colour, leave one out, and take that back: all in the page's address."""

from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext as _

from inventory.compute.lengths import format_length
from inventory.compute.names.plain import plain_name
from inventory.compute.units import Units
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.colour.choice import OwnedShade, one_of_each_hue
from planning.compute.colour.sources import is_wish
from planning.plan.pins import full_name, written_block, written_blocks, written_pin

# The fields in which the form of shades to choose sends the choice for each block.
CHOICE = "choice-"
# So many shades of different hues are shown for a block, fewer where there are many; all others stand in a list.
MOST_SHOWN, MOST_SHOWN_OF_MANY, FEW_BLOCKS = 8, 5, 6
# Blocks stand open while so many shades are to be seen; the first always does.
MOST_OPEN = 12
MOST_LISTED, MOST_LISTED_OF_MANY = 300, 60


def pin_links(thread: PlannedThread, address: QueryDict, *, several: bool) -> dict[str, Any]:
    """Return the links of one colour: its runners-up, its own shade left out, and its pin taken off."""
    mine = {written_block(place, several=several) for place in thread.blocks}
    others = [pin for pin in address.getlist("pin") if pin.partition("=")[0].strip() not in mine]
    shade = thread.choice.shade
    return {
        "runners_up": [
            {
                "name": shade_words(each.shade),
                "delta_e_00": each.delta_e_00,
                "href": _with(
                    address,
                    pin=[*others, written_pin(thread.blocks[0], each.shade, several=several)],
                ),
            }
            for each in thread.runners_up
        ],
        "leave_out": _with(address, exclude=[*address.getlist("exclude"), full_name(shade)])
        if shade and (thread.is_remembered or not thread.is_pinned)
        else None,
        "take_back": _with(address, pin=others) if thread.is_pinned and not thread.is_remembered else None,
    }


def to_remember(thread: PlannedThread, plan: BatchPlan) -> dict[str, Any] | None:
    """Return what a pinned shade can be remembered for: its block, its design, every file; None for a demand."""
    shade = thread.choice.shade
    if shade is None or not thread.is_pinned or thread.is_remembered:
        return None
    if thread.hex and not is_wish(thread.source):
        return None
    design, block = thread.blocks[0]
    sha256 = plan.designs[design].sha256
    wider = [(sha256, _("this design")), ("", _("every file"))] if thread.hex else []
    return {
        "colour": thread.hex,
        "shade_id": shade.id,
        "for": [(f"{sha256}.{block}", _("this block")), *wider],
    }


def shades_to_choose(
    thread: PlannedThread, units: Units, *, number: int, of: int, several: bool
) -> dict[str, Any]:
    """Return a block without a colour, one ``of`` so many, and the owned shades that surely have enough for it.

    A few of different hues are shown, ``more`` has all others. ``field`` is the name that its choice is sent under.
    """
    first = one_of_each_hue(thread.may_have, most=MOST_SHOWN if of <= FEW_BLOCKS else MOST_SHOWN_OF_MANY)
    shown = {shade.id for shade in first}
    others = [shade for shade in thread.may_have if shade.id not in shown]
    # A page of thousands of options is read by nobody: of many, those with most thread.
    listed = MOST_LISTED if of <= FEW_BLOCKS else MOST_LISTED_OF_MANY
    if len(others) > listed:
        others = sorted(others, key=lambda shade: -shade.free[0])[:listed]

    def option(shade: OwnedShade) -> dict[str, Any]:
        return {
            "written": written_pin(thread.blocks[0], shade, several=several),
            "words": _("{shade}, {colour}: {length} free").format(
                shade=shade_words(shade),
                colour=_(plain_name(shade.lab)) if shade.lab else _("colour not known"),
                length=format_length(round(shade.free[0]), unit=units.length, places=0),
            ),
            "name": shade_words(shade),
            "hex": shade.hex,
            "free_mm": shade.free[0],
        }

    return {
        "field": f"{CHOICE}{number}",
        "blocks": written_blocks(thread.blocks, several=several),
        "needed_mm": thread.needed_mm,
        "options": [option(shade) for shade in first],
        "more": [option(shade) for shade in others],
        "unlisted": len(thread.may_have) - len(first) - len(others),
    }


def opened_first(blocks: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the blocks to choose for, of which the first stands open, and others while a screen holds their shades."""
    shown = 0
    for place, block in enumerate(blocks):
        shown += len(block["options"])
        block["is_open"] = place == 0 or shown <= MOST_OPEN
    return blocks


def chosen_pins(sent: QueryDict) -> list[str]:
    """Return the pins that the form of ``shades_to_choose`` sent: of each block the last that is no blank."""
    chosen = {name: [each for each in sent.getlist(name) if each] for name in sent if name.startswith(CHOICE)}
    return [written[-1] for written in chosen.values() if written]


def with_choices(address: QueryDict) -> str | None:
    """Return the address in which what was chosen is pinned, or None where nothing was chosen."""
    chosen = chosen_pins(address)
    changed = address.copy()
    for name in [name for name in changed if name.startswith(CHOICE)]:
        del changed[name]
    return _with(changed, pin=[*filter(None, address.getlist("pin")), *chosen]) if chosen else None


def to_keep(plan: BatchPlan) -> list[str]:
    """Return what is pinned to blocks without a colour and not remembered yet, as ``change_remembered`` takes it."""
    return [
        f"{plan.designs[design].sha256}.{block}.{thread.choice.shade.id}"
        for thread in plan.threads
        if not thread.hex and thread.is_pinned and not thread.is_remembered and thread.choice.shade
        for design, block in thread.blocks
    ]


def left_out(address: QueryDict) -> list[dict[str, str]]:
    """Return the shades that the address leaves out, each with the link that uses it again."""
    written = address.getlist("exclude")
    return [
        {"name": each, "href": _with(address, exclude=[other for other in written if other != each])}
        for each in dict.fromkeys(written)
    ]


def shade_words(shade: OwnedShade) -> str:
    return f"{shade.name} {shade.code}".strip()


def _with(address: QueryDict, **lists: list[str]) -> str:
    changed = address.copy()
    for name, values in lists.items():
        changed.setlist(name, values)
    return f"?{changed.urlencode()}"

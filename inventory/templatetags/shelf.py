"""What the pages of the shelf write and draw."""

from collections.abc import Sequence
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.acting.days import plain_day
from inventory.compute.colour.seen import difference_seen
from inventory.compute.spoken import figure, whole
from inventory.compute.units import Units
from inventory.ledger.history import Level
from inventory.lists.wall import OnTheWall
from inventory.models import Shade, StockItem
from inventory.shelf.words import held_in_words, how_sure, in_words, quantity_number

register = template.Library()

WIDTH, HEIGHT = 640, 120


@register.filter
def held(item: StockItem, units: Units) -> str:
    """Return what an item holds, with its unit."""
    return whole(held_in_words(item, units))


@register.filter
def held_number(item: StockItem, units: Units) -> str:
    """Return what an item holds without its unit, for a column that has it in the head."""
    return quantity_number(item.kind, item.on_hand, units) if item.is_known else _("not known")


@register.filter
def seen_beside(delta_e_00: float | None) -> str:
    """Return how a difference of two colours is seen where they lie side by side."""
    return _("not known") if delta_e_00 is None else difference_seen(delta_e_00)


@register.filter
def in_range(shade: Shade) -> str:
    """Return where a shade belongs: maker, range and code, to stand under its name."""
    return f"{shade.range} · {shade.code}"


@register.filter
def free_words(item: StockItem, units: Units) -> str:
    """Return what of an item is not set aside, with its unit."""
    return whole(in_words(item.kind, item.free, units))


@register.simple_tag
def quantity_of(item: StockItem, quantity: float, units: Units) -> str:
    """Return a quantity of what an item is, with its unit."""
    return whole(in_words(item.kind, round(quantity), units))


@register.simple_tag
def column_head(column: Any, name: str, unit: str | None = None) -> SafeString:
    """Return the head of a column that sorts the list; ``unit`` (empty for pieces) makes it one of numbers."""
    return format_html(
        '<th scope="col"{}{}><a class="sort" href="{}">{}{}</a></th>',
        mark_safe(' class="number"') if unit is not None else "",
        format_html(' aria-sort="{}"', column.sorted) if column.sorted else "",
        column.address,
        name,
        f", {unit}" if unit else "",
    )


@register.simple_tag
def wall_spool(each: OnTheWall) -> SafeString:
    """Return a spool on the wall: as much wound as is left, broken with a question mark where nobody measured it.

    How many spools there are of it stands on it, from two on.
    """
    hex = each.hex or "#ffffff"
    if each.full is None:
        wound = format_html('<path class="thread not-known" d="M6 6H34V28H6z" fill="{}"/>', hex) + mark_safe(
            '<text x="20" y="22" class="asks">?</text>'
        )
    else:
        left, right = round(16 - 10 * each.full, 1), round(24 + 10 * each.full, 1)
        wound = format_html(
            '<path class="thread" d="M{0} 6H{1}V28H{0}z" fill="{2}"/><path class="turns" d="M{0} 12H{1}M{0} 20H{1}"/>',
            left, right, hex,
        )  # fmt: skip
    count = (
        format_html('<circle cx="33" cy="28" r="7.5"/><text x="33" y="32">{}</text>', min(each.spools, 99))
        if each.spools > 1
        else mark_safe("")
    )
    return format_html(
        '<svg class="wall-spool" viewBox="0 0 42 36"><path d="M4 3H36V6H4zM4 28H36V31H4z"/>{}{}</svg>',
        wound,
        count,
    )


@register.filter
def sureness(item: StockItem, units: Units) -> str:
    """Return how far what an item holds may be off, and how it is known."""
    return how_sure(item, units)


@register.filter
def scan_example(item: StockItem, units: Units) -> str:
    """Return what a person might type into the scan box for an item of this kind."""
    if item.kind == StockItem.Kind.SPOOL:
        return _("12 {length} or {weight}").format(
            length=units.length, weight=f"{figure(52.4, 1)} {units.weight}"
        )
    if item.kind == StockItem.Kind.ROLL:
        return f"40 {units.size}"
    if item.is_in_mg:
        return _("- 8 {weight} or = 120 {weight}").format(weight=units.weight)
    return f"12 {units.length}" if item.is_measured else "1"


def on_axes(picture: SafeString, *, most: str, begin: str, end: str) -> SafeString:
    """Return a picture over time with its greatest value and nothing beside it, and both ends of the time beneath.

    What is drawn is said in words where the picture stands, so that its axes are hidden from screen readers.
    """
    return format_html(
        '<div class="axes" aria-hidden="true"><span class="axes-most">{}</span><span class="axes-none">0</span>{}'
        '<span class="axes-begin">{}</span><span class="axes-end">{}</span></div>',
        most,
        picture,
        begin,
        end,
    )


@register.simple_tag
def stock_line(levels: Sequence[Level], kind: str, units: Units) -> SafeString:
    """Return how much an item held over time as a stepped line, with the same in words beneath it."""
    if len(levels) < 2:
        return mark_safe("")
    first, last = levels[0], levels[-1]
    seconds = (last.at - first.at).total_seconds()
    most = max(level.held for level in levels)
    steps = [f"M0 {_y(first.held, most)}"]
    for number, level in enumerate(levels[1:], start=1):
        # Movements of one moment stand side by side instead of on each other.
        share = (level.at - first.at).total_seconds() / seconds if seconds else number / (len(levels) - 1)
        steps.append(f"H{round(share * WIDTH, 1)}V{_y(level.held, most)}")
    picture = format_html(
        '<svg viewBox="0 -4 {width} {height}" preserveAspectRatio="none" aria-hidden="true">'
        '<path d="M0 {floor}H{width}" fill="none" stroke="currentColor" stroke-opacity=".5" stroke-width="1" '
        'vector-effect="non-scaling-stroke"/>'
        '<path class="stock-line-held" d="{line}" fill="none" stroke="currentColor" stroke-width="2.5" '
        'stroke-linejoin="round" vector-effect="non-scaling-stroke"/></svg>',
        width=WIDTH,
        height=HEIGHT + 8,
        floor=HEIGHT,
        line=mark_safe("".join(steps)),
    )
    return format_html(
        '<figure class="stock-line">{}<figcaption>{}</figcaption></figure>',
        on_axes(picture, most=in_words(kind, most, units), begin=_day(first), end=_day(last)),
        ngettext(
            "From {first} on {begin} to {last} on {end}, never more than {most}, in {number} movement.",
            "From {first} on {begin} to {last} on {end}, never more than {most}, in {number} movements.",
            len(levels),
        ).format(
            first=in_words(kind, first.held, units),
            last=in_words(kind, last.held, units),
            most=in_words(kind, most, units),
            begin=_day(first),
            end=_day(last),
            number=len(levels),
        ),
    )


def _y(held: int, most: int) -> float:
    return round(HEIGHT * (1 - held / most), 1) if most else HEIGHT


def _day(level: Level) -> str:
    return plain_day(level.at)

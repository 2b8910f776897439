"""What the pages of buying write and draw."""

from collections.abc import Sequence
from decimal import Decimal

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.lengths import format_weight, told_length
from inventory.compute.spoken import N_, as_written_here, figure, whole
from inventory.compute.units import Units
from inventory.templatetags.shelf import on_axes
from planning.buying.basket import SupplierPart
from planning.buying.needs import MaterialNeed

register = template.Library()

WIDTH, HEIGHT = 640, 140
# Why a material is kept in stock (the codes of a need): as a remark, and as what an amount is missing for.
KEPT_AS = {"a staple": N_("a staple"), "in steady use": N_("in steady use")}
STOCK_KEPT = {"a staple": N_("what you keep"), "in steady use": N_("its steady use")}


@register.simple_tag
def amount(quantity: float, unit: str, units: Units) -> str:
    """Return a quantity of a material with its unit: a length or a weight in the person's, or pieces.

    >>> amount(1_234_500, "mm", Units()), amount(36, "pieces", Units())
    ('1,234\\xa0m', '36')
    """
    if unit == "mg":
        return whole(format_weight(quantity, unit=units.weight))
    return whole(told_length(quantity, unit=units.length)) if unit == "mm" else figure(round(quantity))


@register.filter
def wanted_for(need: MaterialNeed) -> str:
    """Return what a need is for: the job, so many jobs, or what is kept in stock."""
    names = list(dict.fromkeys(job.what for job in need.jobs))
    many = ngettext("{n} job", "{n} jobs", len(names)).format(n=len(names))
    for_jobs = names[0] if len(names) == 1 else many if names else ""
    kept = _(STOCK_KEPT[need.kept_for]) if need.kept_for in STOCK_KEPT else need.kept_for
    if for_jobs and kept:
        return _("{jobs} and {kept}").format(jobs=for_jobs, kept=kept)
    return for_jobs or kept or _("the shelf")


@register.filter
def kept_as(need: MaterialNeed) -> str:
    """Return why a material is kept in stock, in the reader's words."""
    return _(KEPT_AS[need.kept_for]) if need.kept_for in KEPT_AS else need.kept_for


@register.filter
def suppliers_named(parts: Sequence[SupplierPart]) -> str:
    """Return from whom a basket is bought."""
    return ", ".join(str(part.supplier) for part in parts)


@register.simple_tag
def use_chart(need: MaterialNeed, units: Units) -> SafeString:
    """Return what each week took as bars, with the reorder point as a line, and the same in words beneath."""
    weeks, unit = need.history, need.material.unit
    if len(weeks) < 2 or not any(weeks):
        return mark_safe("")
    point = need.reorder.point if need.reorder else 0.0
    most = max(*weeks, point)
    wide = WIDTH / len(weeks)
    bars = format_html_join(
        "",
        '<rect x="{}" y="{}" width="{}" height="{}"/>',
        (
            (
                round(number * wide, 1),
                round(HEIGHT * (1 - used / most), 1),
                round(wide * 0.8, 1),
                round(HEIGHT * used / most, 1),
            )
            for number, used in enumerate(weeks)
            if used
        ),
    )
    level = round(HEIGHT * (1 - point / most), 1)
    busy = sum(used > 0 for used in weeks)
    picture = format_html(
        '<svg viewBox="0 -2 {width} {height}" preserveAspectRatio="none" aria-hidden="true">'
        '<g fill="currentColor">{bars}</g>'
        '<path d="M0 {floor}H{width}" stroke="currentColor" stroke-width="1" vector-effect="non-scaling-stroke"/>'
        '<path class="use-chart-point" d="M0 {level}H{width}" fill="none" stroke-width="2" stroke-dasharray="7 4" '
        'vector-effect="non-scaling-stroke"/></svg>',
        width=WIDTH,
        height=HEIGHT + 4,
        floor=HEIGHT,
        bars=bars,
        level=level,
    )
    ago = ngettext("{weeks} week ago", "{weeks} weeks ago", len(weeks)).format(weeks=len(weeks))
    return format_html(
        '<figure class="use-chart">{}<figcaption>{}</figcaption></figure>',
        on_axes(picture, most=amount(most, unit, units), begin=ago, end=_("today")),
        _(
            "Used in each of the last {weeks} weeks: {total} in all, something in {busy} of them, {top} at most. "
            "The broken line is the reorder point, {point}."
        ).format(
            weeks=len(weeks),
            total=amount(sum(weeks), unit, units),
            busy=busy,
            top=amount(max(weeks), unit, units),
            point=amount(point, unit, units),
        ),
    )


@register.simple_tag
def money_chart(months: Sequence[tuple[str, Decimal]], currency: str) -> SafeString:
    """Return what each month cost as bars from left to right; the table beneath says the same."""
    most = max((spent for _month, spent in months), default=Decimal(0))
    if len(months) < 2 or not most:
        return mark_safe("")
    wide = WIDTH / len(months)
    picture = format_html(
        '<svg viewBox="0 -2 {} {}" preserveAspectRatio="none" aria-hidden="true">'
        '<g fill="currentColor">{}</g>'
        '<path d="M0 {}H{}" stroke="currentColor" stroke-width="1" vector-effect="non-scaling-stroke"/></svg>',
        WIDTH,
        HEIGHT + 4,
        format_html_join(
            "",
            '<rect x="{}" y="{}" width="{}" height="{}"/>',
            (
                (
                    round(number * wide + wide * 0.1, 1),
                    round(HEIGHT * (1 - float(spent / most)), 1),
                    round(wide * 0.8, 1),
                    round(HEIGHT * float(spent / most), 1),
                )
                for number, (_month, spent) in enumerate(months)
            ),
        ),
        HEIGHT,
        WIDTH,
    )
    spent = _("{currency} {amount}").format(currency=currency, amount=as_written_here(f"{most:,.2f}"))
    axes = on_axes(picture, most=spent, begin=months[0][0], end=months[-1][0])
    return format_html('<div class="money-chart">{}</div>', axes)

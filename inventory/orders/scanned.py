"""What came of an order, by the codes that were scanned or typed one after the other."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import prefetch_related_objects
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.models import OrderLine, StockItem
from inventory.shelf.reads import item_by_label
from inventory.shelf.scan_box import read_code

# What is stuck on things: letters, then figures, as labels of ours are and most that are bought printed.
_LABEL = re.compile(r"[A-Za-z]{1,4}-?[0-9]{2,8}")
MOST_SCANNED = 300


class NotOfThisOrder(WorkshopError):
    """The code names nothing that is still to come of this order."""


@dataclass
class Came:
    """The ``codes`` that were understood, how many things of each line (by its number) they count, and their labels.

    ``said`` is what the last of them did, ``problem`` why the newest is not among them.
    """

    codes: list[str] = field(default_factory=list)
    counts: dict[int, int] = field(default_factory=dict)
    labels: dict[int, list[str]] = field(default_factory=dict)
    said: str = ""
    problem: str = ""
    last: OrderLine | None = None


def read_scanned(lines: Sequence[OrderLine], codes: Iterable[str]) -> Came:
    """Return what ``codes`` say came of ``lines``, in their order.

    A shade's code or name, that of a stabilizer, or the label of a thing like it counts one more of its line. A label
    that nothing carries yet is stuck on what was counted last. The first code that is not understood ends it.
    """
    scanned = Came()
    typed = [" ".join(each.split())[:120] for each in list(codes)[:MOST_SCANNED]]
    if any(typed):
        prefetch_related_objects(list(lines), "shade__earlier_codes", "shade__range", "product")
    for code in filter(None, typed):
        try:
            _take(scanned, code, lines)
        except WorkshopError as problem:
            scanned.problem = str(problem)
            break
        scanned.codes.append(code)
    return scanned


def _take(scanned: Came, code: str, lines: Sequence[OrderLine]) -> None:
    meant = [line for line in lines if _is_called(line, code)]
    label = read_code(code).code
    thing = None if meant else item_by_label(label)
    if thing is not None:
        meant = [line for line in lines if _is_like(line, thing.item)]
    if meant:
        _count(scanned, code, meant)
    elif thing is not None:
        raise NotOfThisOrder(
            _("{code} is on the shelf already, and nothing like it is still to come of this order.").format(
                code=thing.item.label
            )
        )
    elif _LABEL.fullmatch(label):
        _stick(scanned, label, lines)
    else:
        raise NotOfThisOrder(
            _(
                "Nothing called {code} is still to come of this order. Scan or type the code of its shade."
            ).format(code=code)
        )


def _count(scanned: Came, code: str, meant: Sequence[OrderLine]) -> None:
    if len({(line.shade_id, line.product_id) for line in meant}) > 1:
        raise NotOfThisOrder(
            _("{code} could be {names}. Type maker, range and code.").format(
                code=code, names="; ".join(dict.fromkeys(line.what for line in meant))
            )
        )
    waiting = [line for line in meant if scanned.counts.get(line.number, 0) < line.to_come]
    if not waiting:
        raise NotOfThisOrder(
            _("{what}: all that is to come of this order is counted already.").format(what=meant[0].what)
        )
    line = waiting[0]
    scanned.last = line
    scanned.counts[line.number] = scanned.counts.get(line.number, 0) + 1
    scanned.said = _("{what}, {sold_as}: {count} of {to_come}.").format(
        what=line.what, sold_as=line.sold_as, count=scanned.counts[line.number], to_come=line.to_come
    )


def _stick(scanned: Came, label: str, lines: Sequence[OrderLine]) -> None:
    """Give the label to the thing that was counted last; where only one thing can be meant, count it too."""
    if any(label.casefold() == each.casefold() for given in scanned.labels.values() for each in given):
        raise NotOfThisOrder(_("{label} is on another of these things already.").format(label=label))
    line = scanned.last or (lines[0] if len(lines) == 1 else None)
    if line is None:
        raise NotOfThisOrder(
            _(
                "Nothing carries {label} yet. Scan first what came, then the label that you stick on it."
            ).format(label=label)
        )
    given = scanned.labels.setdefault(line.number, [])
    # Bobbins of one line lie together under one label.
    if line.bobbin_style_id is not None and given:
        raise NotOfThisOrder(_("{what} has its label: {label}.").format(what=line.what, label=given[0]))
    if line.bobbin_style_id is None and len(given) == scanned.counts.get(line.number, 0):
        _count(scanned, label, [line])
    given.append(label)
    scanned.said = _("{label} goes on {what}, {sold_as}: {count} of {to_come}.").format(
        label=label,
        what=line.what,
        sold_as=line.sold_as,
        count=scanned.counts.get(line.number, 0),
        to_come=line.to_come,
    )


def _is_called(line: OrderLine, code: str) -> bool:
    typed = code.casefold()
    if line.product is not None:
        return typed in (str(line.product).casefold(), line.product.name.casefold())
    shade = line.shade
    if shade is None:
        return False
    names = [shade.code, shade.name, str(shade), f"{shade.range} {shade.code}"]
    names += [earlier.code for earlier in shade.earlier_codes.all()]
    return typed in (each.casefold() for each in names if each)


def _is_like(line: OrderLine, item: StockItem) -> bool:
    """Whether a thing of the shelf is of the same material as a line, so that its label stands for another of it."""
    if line.product_id is not None:
        return getattr(item, "product_id", None) == line.product_id
    is_bobbins = item.kind == StockItem.Kind.BOBBINS
    return getattr(item, "shade_id", None) == line.shade_id and is_bobbins == bool(line.bobbin_style_id)

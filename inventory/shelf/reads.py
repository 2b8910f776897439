"""Questions about the shelf that join, answered as dataclasses."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from inventory.compute.colour.grade import grade_between
from inventory.compute.colour.lab import Lab, delta_e_00, parse_colour
from inventory.compute.colour.seen import difference_seen
from inventory.compute.errors import WorkshopError
from inventory.compute.left_out import LeftOut
from inventory.compute.names.plain import colour_of_name
from inventory.models import (
    BobbinBatch,
    NeedlePack,
    Offcut,
    PartBobbin,
    Shade,
    SheetPack,
    Spool,
    SprayCan,
    StabilizerRoll,
    StockItem,
)


class NoSuchShade(WorkshopError):
    """Neither a colour nor the code of a shade."""


@dataclass(frozen=True)
class NearShade:
    """An owned shade beside a wanted colour."""

    shade: Shade
    delta_e_00: float
    grade: str
    free_mm: int

    @property
    def seen(self) -> str:
        """How the difference is seen where the two lie side by side."""
        return difference_seen(self.delta_e_00)


def colour_meant(text: str) -> Lab:
    """Return the colour a person means: #rrggbb, lab:L,a,b, the code of one shade, or plain words ("dark blue").

    Raises NoSuchShade where the code is unknown, or carried by shades of different colours.
    """
    colour = parse_colour(text)
    if colour is not None:
        return colour
    shades = list(Shade.objects.by_code(text.strip()).select_related("range")[:20])
    colours = {shade.lab for shade in shades if shade.lab is not None}
    if len(colours) == 1:
        return colours.pop()
    if not shades:
        named = colour_of_name(text)
        if named is not None:
            return named
        raise NoSuchShade(
            _(
                "{text} is neither a colour nor a known shade code. Write a colour like #1f4e79 or "
                "lab:31.4,-1.2,-27.9, or in words like dark blue."
            ).format(text=text)
        )
    names = "; ".join(str(shade) for shade in shades)
    if not colours:
        raise NoSuchShade(
            _("The colour of {names} is not known. Write it like #1f4e79 instead.").format(names=names)
        )
    raise NoSuchShade(
        _("Several shades carry the code {text}: {names}. Write the colour instead.").format(
            text=text, names=names
        )
    )


def owned_nearest(colour: Lab, *, limit: int) -> list[NearShade]:
    """Return the owned needle shades nearest to ``colour`` by CIEDE2000, nearest first, at most ``limit``."""
    shades = [
        shade
        for shade in Shade.objects.owned().for_needle().select_related("range").with_free_length()
        if shade.lab is not None
    ]
    if not shades:
        return []
    reference = np.array([colour.L, colour.a, colour.b])
    others = np.array([(shade.lab_l, shade.lab_a, shade.lab_b) for shade in shades], dtype=float)
    distances = delta_e_00(reference, others)
    nearest = np.argsort(distances, kind="stable")[:limit]
    grades = {index: grade_between(reference, others[index]) for index in nearest}
    return [
        NearShade(
            shade=shades[index],
            delta_e_00=float(distances[index]),
            grade=grades[index],
            free_mm=shades[index].free_mm,
        )
        for index in nearest
    ]


def left_out_of_nearest() -> list[LeftOut]:
    """Return the needle spools that a search by colour cannot find: those whose colour nobody has said, and those gone.

    Weight and fibre are not asked about there, and a spool of unknown length is found with what its books say.
    """
    nameless = Spool.objects.filter(shade__range__purpose="needle", shade__lab_l__isnull=True)
    labels = tuple(nameless.on_the_shelf().order_by("label").values_list("label", flat=True))
    gone = Spool.objects.filter(retired_at__isnull=False).count()
    found = [LeftOut("spools", len(labels), "colour", labels)] if labels else []
    return [*found, LeftOut("spools", gone, "retired")] if gone else found


@dataclass(frozen=True)
class Described:
    """An item as the record of its own kind, and what it is in words; ``hex`` is None where it has no colour."""

    item: StockItem
    name: str
    detail: str
    hex: str | None = None


# The record of each kind, and what is read with it.
KINDS: Mapping[str, tuple[type[StockItem], tuple[str, ...]]] = {
    StockItem.Kind.SPOOL: (Spool, ("shade__range", "put_up")),
    StockItem.Kind.BOBBINS: (BobbinBatch, ("shade__range", "style")),
    StockItem.Kind.PART_BOBBIN: (PartBobbin, ("shade__range", "style")),
    StockItem.Kind.ROLL: (StabilizerRoll, ("product",)),
    StockItem.Kind.SHEETS: (SheetPack, ("product",)),
    StockItem.Kind.OFFCUT: (Offcut, ("product",)),
    StockItem.Kind.NEEDLES: (NeedlePack, ()),
    StockItem.Kind.CAN: (SprayCan, ("product",)),
}


def item_by_label(code: str) -> Described | None:
    """Return the item that carries the label code, written in capitals or not, or None."""
    found = (
        StockItem.objects.filter(label__iexact=code.replace("\x00", "").strip())
        .values_list("pk", "kind")
        .first()
    )
    return described([found[0]], kind=found[1])[0] if found else None


def described(items: Sequence[int], *, kind: str) -> list[Described]:
    """Return the items with these numbers, all of one kind, in their order; one question to the database."""
    model, related = KINDS[kind]
    found = model._default_manager.select_related("place", *related).in_bulk(items)
    return [describe(found[pk]) for pk in items if pk in found]


def described_one_by_one(items: QuerySet[StockItem], *, kinds: Iterable[str]) -> Iterator[Described]:
    """Yield ``items``, of these kinds, in their order, while they are read: one question, and little memory."""
    records = {kind: KINDS[kind][0]._meta.model_name or "" for kind in kinds}
    read_with = [f"{records[kind]}__{path}" for kind in kinds for path in KINDS[kind][1]]
    for item in items.select_related("place", *records.values(), *read_with).iterator(chunk_size=500):
        record: StockItem = getattr(item, records[item.kind])
        record.place = item.place
        yield describe(record)


def describe(item: StockItem) -> Described:
    """Return an item, read as the record of its own kind, with what it is in words."""
    if isinstance(item, Spool):
        sold = f" · {item.put_up}" if item.put_up else ""
        return _of_shade(item, item.shade, f"{item.shade.range} · {item.shade.code}{sold}")
    if isinstance(item, BobbinBatch | PartBobbin):
        return _of_shade(
            item,
            item.shade,
            _("{range} · {code} · bobbin {style}").format(
                range=item.shade.range, code=item.shade.code, style=item.style
            ),
        )
    if isinstance(item, StabilizerRoll | SheetPack | Offcut | SprayCan):
        return Described(item, str(item.product), item.product.in_words)
    if isinstance(item, NeedlePack):
        return Described(
            item, f"{item.size} {item.get_point_display()}", _("system {system}").format(system=item.system)
        )
    raise TypeError(f"{item!r} is not the record of its own kind.")


def _of_shade(item: StockItem, shade: Shade, detail: str) -> Described:
    return Described(item, shade.name or shade.code, detail, shade.hex or None)

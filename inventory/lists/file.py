"""A list of the shelf as CSV, row by row: SI units in the names of the columns, no cell that runs as a formula."""

import csv
from collections.abc import Iterator
from typing import Any

from inventory.lists.found import FoundThings, Listed
from inventory.models import BobbinBatch, NeedlePack, Offcut, SheetPack, Spool, SprayCan, StabilizerRoll
from inventory.tables.cells import guarded

COLUMNS = (
    "label", "kind", "maker", "product", "code", "name", "hex", "weight_label", "fibre", "tex_g_per_km", "put_up",
    "length_mm", "length_free_mm", "length_sigma_mm", "pieces", "pieces_free", "known", "width_mm", "height_mm",
    "length_each_mm", "place", "lot", "received_on", "opened_on", "price_paid", "delta_e_00", "note",
    "content_mg", "content_free_mg", "content_sigma_mg",
)  # fmt: skip


class _Line:
    """What a csv.writer writes to when each line is wanted as soon as it is ready."""

    def write(self, line: str) -> str:
        return line


def list_csv(asked: FoundThings) -> Iterator[str]:
    """Yield the lines of the list as CSV, the names of the columns first."""
    writer = csv.writer(_Line(), quoting=csv.QUOTE_ALL)
    # A spreadsheet that meets no byte order mark takes the text for its own country's old code page.
    yield "\ufeff" + writer.writerow(COLUMNS)
    for row in asked.one_by_one():
        line = _line(row)
        yield writer.writerow([_cell(line.get(column)) for column in COLUMNS])


def _cell(value: Any) -> str:
    if value is None:
        return ""
    # Only text can be taken for a formula; a number below zero is a number.
    return guarded(value) if isinstance(value, str) else str(value)


def _line(row: Listed) -> dict[str, Any]:
    item = row.thing.item
    line: dict[str, Any] = {
        "label": item.label,
        "kind": item.kind,
        "known": item.known,
        "place": item.place.name if item.place else "",
        "lot": item.lot,
        "received_on": item.received_on,
        "opened_on": item.opened_on,
        "price_paid": item.price_paid,
        "note": item.note,
        "delta_e_00": None if row.delta_e_00 is None else round(row.delta_e_00, 1),
    }
    if item.is_measured:
        sigma = None if item.sigma is None else round(item.sigma)
        line |= {"length_mm": item.on_hand, "length_free_mm": item.free, "length_sigma_mm": sigma}
    elif item.is_in_mg:
        sigma = None if item.sigma is None else round(item.sigma)
        line |= {"content_mg": item.on_hand, "content_free_mg": item.free, "content_sigma_mg": sigma}
    else:
        line |= {"pieces": item.on_hand, "pieces_free": item.free}
    return line | _what_it_is(row)


def _what_it_is(row: Listed) -> dict[str, Any]:
    item = row.thing.item
    if isinstance(item, NeedlePack):
        return {"product": item.system, "name": row.thing.name}
    if isinstance(item, StabilizerRoll | SheetPack | Offcut):
        return {
            "maker": item.product.maker,
            "product": item.product.name,
            "width_mm": item.width_mm,
            "height_mm": None if isinstance(item, StabilizerRoll) else item.height_mm,
        }
    if isinstance(item, SprayCan):
        return {"maker": item.product.maker, "product": item.product.name}
    shade = item.shade  # type: ignore[attr-defined]
    thread = shade.range
    return {
        "maker": thread.maker,
        "product": thread.name,
        "code": shade.code,
        "name": shade.name,
        "hex": shade.hex,
        "weight_label": thread.weight_label,
        "fibre": thread.fibre,
        "tex_g_per_km": thread.tex,
        "put_up": item.put_up.name if isinstance(item, Spool) and item.put_up else "",
        "length_each_mm": item.length_mm if isinstance(item, BobbinBatch) else None,
    }

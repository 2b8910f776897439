"""Stock and catalogue as CSV and .xlsx: the columns that can be imported again, SI units in their names."""

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db.models import Model, Prefetch, QuerySet

from inventory.compute.later import later
from inventory.compute.spoken import _
from inventory.files.importing.kinds import kind_named
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Offcut,
    Offer,
    PartBobbin,
    PutUp,
    Shade,
    SheetPack,
    Spool,
    SprayCan,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
    Supplier,
    ThreadRange,
)
from inventory.tables.cells import Cell, guarded, shown, written_list

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter
else:
    Workbook = later("openpyxl", "Workbook")
    WriteOnlyCell = later("openpyxl.cell", "WriteOnlyCell")
    Font = later("openpyxl.styles", "Font")
    get_column_letter = later("openpyxl.utils", "get_column_letter")

Records = QuerySet[Any]
Line = dict[str, Any]
# What XML cannot hold, and the carriage return, which it turns into a line feed; workbooks write them as _x000D_.
_NOT_IN_XML = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]")
_LOOKS_ESCAPED = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
_WIDEST_COLUMN = 40
_LONGEST_SHEET_NAME = 31


def export_csv(kind: str, *, records: Records | None = None) -> bytes:
    """Return the things or catalogue records of ``kind`` as CSV; ``records`` chooses them, else all on the shelf.

    ``records`` are StockItems of any sort, Shades or Suppliers. No cell can run as a formula.
    """
    columns = kind_named(kind).columns
    text = io.StringIO(newline="")
    # All cells are quoted, so that no text that contains a separator of another country becomes a cell of its own.
    writer = csv.writer(text, quoting=csv.QUOTE_ALL)
    writer.writerow(columns)
    for line in _lines(kind, records):
        writer.writerow([_as_text(line.get(column)) for column in columns])
    return text.getvalue().encode("utf-8-sig")


def export_xlsx(kind: str, *, records: Records | None = None) -> bytes:
    """Return the same as ``export_csv`` does as a workbook: numbers as numbers, days as days, text as text."""
    columns = kind_named(kind).columns
    return _workbook(kind, ([line.get(column) for column in columns] for line in _lines(kind, records)))


def template_csv(kind: str) -> bytes:
    """Return an empty file of ``kind``: its column names alone."""
    text = io.StringIO(newline="")
    csv.writer(text).writerow(kind_named(kind).columns)
    return text.getvalue().encode("utf-8-sig")


def template_xlsx(kind: str) -> bytes:
    """Return an empty workbook of ``kind``, with a second sheet that says what each column means."""
    return _workbook(kind, [])


def _lines(kind: str, records: Records | None) -> Iterator[Line]:
    return _LINES[kind](records)


def _spools(records: Records | None) -> Iterator[Line]:
    spools = _of(Spool, records).select_related("shade__range", "put_up", "place")
    for spool in spools.order_by("label"):
        yield (
            _common(spool)
            | _shade(spool.shade)
            | {
                "put_up": spool.put_up.name if spool.put_up else "",
                **_metres_on(spool),
                "tare_g": _thousandth(spool.tare_mg),
            }
        )


def _bobbins(records: Records | None) -> Iterator[Line]:
    if records is None:
        for style in BobbinStyle.objects.filter(batches=None, part_bobbins=None):
            yield _style(style)
    for batch in _of(BobbinBatch, records).select_related("shade__range", "style", "place").order_by("label"):
        yield (
            _common(batch)
            | _shade(batch.shade)
            | _style(batch.style)
            | _pieces_of(batch)
            | {
                "kind": batch.kind,
                "length_each_m": _thousandth(batch.length_mm),
                "self_wound": batch.self_wound,
            }
        )
    for part in _of(PartBobbin, records).select_related("shade__range", "style", "place").order_by("label"):
        yield _common(part) | _shade(part.shade) | _style(part.style) | _metres_on(part) | {"kind": part.kind}


def _stabilizer(records: Records | None) -> Iterator[Line]:
    if records is None:
        for product in StabilizerProduct.objects.filter(
            rolls=None, sheet_packs=None, offcuts=None, cans=None
        ):
            yield _product(product)
    for roll in _of(StabilizerRoll, records).select_related("product", "place").order_by("label"):
        size = {"form": roll.kind, "width_mm": roll.width_mm}
        yield _common(roll) | _product(roll.product) | _metres_on(roll) | size
    for model in (SheetPack, Offcut):
        for item in _of(model, records).select_related("product", "place").order_by("label"):
            size = {"form": item.kind, "width_mm": item.width_mm, "height_mm": item.height_mm}
            yield _common(item) | _product(item.product) | _pieces_of(item) | size

    for can in _of(SprayCan, records).select_related("product", "place").order_by("label"):
        yield (
            _common(can)
            | _product(can.product)
            | {
                "form": can.kind,
                "content_g": _thousandth(_told(can)),
                "full_g": _thousandth(can.full_mg),
                "empty_g": _thousandth(can.empty_mg),
                "sigma_g": None if can.sigma is None else _number(can.sigma) / 1000,
                "paid_for_g": _thousandth(can.quantity_paid),
            }
        )


def _shades(records: Records | None) -> Iterator[Line]:
    shades = Shade.objects.all() if records is None else records
    shades = shades.order_by("code").prefetch_related("earlier_codes")
    ranges = ThreadRange.objects.prefetch_related("put_ups", Prefetch("shades", shades, to_attr="chosen"))
    for range in ranges:
        if records is not None and not range.chosen:
            continue
        named = {"maker": range.maker, "range": range.name}
        written = range.tex_as_written
        about = {
            "purpose": range.purpose,
            "fibre": range.fibre,
            # As it was typed, such as Nm 80/2, as long as that still says it: it is read back as that.
            "tex": written if written == range.tex_typed else range.tex,
            "tex_is_nominal": range.tex_is_nominal,
            "weight_label": range.weight_label,
            "washing": range.washing,
            "needle": range.needle,
            "most_stitches_per_minute": range.most_stitches_per_minute,
        }
        put_ups: list[PutUp] = list(range.put_ups.all())
        for put_up in put_ups:
            yield (
                named
                | about
                | {
                    "put_up": put_up.name,
                    "put_up_length_m": _thousandth(put_up.length_mm),
                    "put_up_tare_g": _thousandth(put_up.tare_mg),
                    "put_up_full_mm": put_up.full_diameter_mm,
                    "put_up_core_mm": put_up.core_diameter_mm,
                    "put_up_height_mm": put_up.winding_height_mm,
                }
            )
        if not put_ups:
            yield named | about
        for shade in range.chosen:
            yield named | {
                "code": shade.code,
                "name": shade.name,
                "lab_l": shade.lab_l,
                "lab_a": shade.lab_a,
                "lab_b": shade.lab_b,
                "colour_source": shade.colour_source,
                "earlier_codes": written_list([each.code for each in shade.earlier_codes.all()]),
            }


def _suppliers(records: Records | None) -> Iterator[Line]:
    suppliers = Supplier.objects.all() if records is None else records
    offers = (
        Offer.objects.select_related("put_up__range", "shade__range", "bobbin_style", "product")
        .prefetch_related("breaks")
        .order_by("id")
    )
    for supplier in suppliers.prefetch_related(Prefetch("offers", offers, to_attr="in_order")):
        about = {
            "supplier": supplier.name,
            "lead_time_days": supplier.lead_time_days,
            "shipping": supplier.shipping,
            "free_shipping_from": supplier.free_shipping_from,
            "minimum_order": supplier.minimum_order,
        }
        yield about
        for offer in supplier.in_order:
            yield {"supplier": supplier.name} | _offer(offer)


def _offer(offer: Offer) -> Line:
    line: dict[str, Any] = {
        "pack": offer.pack,
        "price": offer.price,
        "minimum_packs": offer.minimum_packs,
        "steps_for": offer.steps_for,
        "seen_on": offer.seen_on,
    }
    for number, step in enumerate(list(offer.breaks.all())[:3], 1):
        line |= {f"step_{number}_from": step.from_packs, f"step_{number}_price": step.price}
    range = offer.put_up.range if offer.put_up else offer.shade.range if offer.shade else None
    if range is not None:
        line |= {"maker": range.maker, "range": range.name}
    if offer.put_up is not None:
        line["put_up"] = offer.put_up.name
    if offer.shade is not None:
        line["code"] = offer.shade.code
    if offer.bobbin_style is not None:
        line["bobbin_style"] = offer.bobbin_style.name
        line["bobbin_length_m"] = _thousandth(offer.bobbin_length_mm)
    if offer.product is not None:
        line |= {"maker": offer.product.maker, "product": offer.product.name}
        line["can_g"] = _thousandth(offer.can_mg)
        line |= {"roll_width_mm": offer.roll_width_mm, "roll_length_m": _thousandth(offer.roll_length_mm)}
    return line


_LINES: Mapping[str, Callable[[Records | None], Iterator[Line]]] = {
    "spools": _spools,
    "shades": _shades,
    "bobbins": _bobbins,
    "stabilizer": _stabilizer,
    "suppliers": _suppliers,
}


def _of(model: type[Model], records: Records | None) -> QuerySet[Any]:
    """Return the items of ``model`` that are among ``records``, or those on the shelf."""
    items = model._default_manager.all()
    return (
        items.filter(retired_at__isnull=True)
        if records is None
        else items.filter(pk__in=records.values("pk"))
    )


def _common(item: StockItem) -> Line:
    return {
        "label": item.label,
        "known": item.known,
        "place": item.place.name if item.place else "",
        "lot": item.lot,
        "opened_on": item.opened_on,
        "received_on": item.received_on,
        "price_paid": item.price_paid,
        "note": item.note,
    }


def _shade(shade: Shade) -> Line:
    return {"maker": shade.range.maker, "range": shade.range.name, "code": shade.code, "name": shade.name}


def _style(style: BobbinStyle) -> Line:
    return {
        "style": style.name,
        "style_outer_diameter_mm": style.outer_diameter_mm,
        "style_width_mm": style.width_mm,
        "style_core_diameter_mm": style.core_diameter_mm,
    }


def _product(product: StabilizerProduct) -> Line:
    return {
        "maker": product.maker,
        "product": product.name,
        "kind": product.kind,
        "weight_g_m2": product.weight_g_m2,
        "thickness_mm": product.thickness_mm,
        "holds_by": product.holds_by,
        "comes_off": product.comes_off,
        "has_grain": product.has_grain,
    }


def _metres_on(item: StockItem) -> Line:
    return {
        "length_m": _thousandth(_told(item)),
        "sigma_m": None if item.sigma is None else _number(item.sigma) / 1000,
        "paid_for_m": _thousandth(item.quantity_paid),
    }


def _pieces_of(item: StockItem) -> Line:
    return {"pieces": _told(item), "sigma_pieces": item.sigma, "paid_for_pieces": item.quantity_paid}


def _told(item: StockItem) -> int | None:
    """Return what the item holds, but nothing where it is not known and the books have nothing either."""
    return item.on_hand if item.is_known or item.on_hand else None


def _thousandth(quantity: int | None) -> Decimal | None:
    return None if quantity is None else Decimal(quantity) / 1000


def _number(value: float) -> Decimal:
    return Decimal(repr(round(value, 6)))


def _cell(value: Any) -> Cell:
    if value is None:
        return ""
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, int) and not isinstance(value, bool):
        return Decimal(value)
    return value


def _as_text(value: Any) -> str:
    cell = _cell(value)
    return guarded(cell) if isinstance(cell, str) else shown(cell)


def _workbook(kind: str, rows: Iterable[list[Any]]) -> bytes:
    of = kind_named(kind)
    book = Workbook(write_only=True)
    sheet = book.create_sheet(of.name)
    sheet.freeze_panes = "A2"
    for index, name in enumerate(of.columns):
        sheet.column_dimensions[get_column_letter(index + 1)].width = min(_WIDEST_COLUMN, len(name) + 4)
    sheet.append([_heading(sheet, name) for name in of.columns])
    for row in rows:
        sheet.append([_workbook_cell(sheet, _cell(value)) for value in row])
    meanings = book.create_sheet(_("What the columns mean")[:_LONGEST_SHEET_NAME])
    meanings.column_dimensions["A"].width, meanings.column_dimensions["B"].width = 26, 100
    for name, meaning in of.meanings.items():
        meanings.append([_heading(meanings, f"{name}:"), meaning])
    saved = io.BytesIO()
    book.save(saved)
    return saved.getvalue()


def _heading(sheet: Any, name: str) -> Any:
    cell = WriteOnlyCell(sheet, name)
    cell.font = Font(bold=True)
    return cell


def _workbook_cell(sheet: Any, value: Cell) -> Any:
    if value == "":
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return int(value) if value == int(value) else float(value)
    if isinstance(value, date):
        cell = WriteOnlyCell(sheet, value)
        cell.number_format = "yyyy-mm-dd"
        return cell
    return _text_cell(sheet, shown(value))


def _text_cell(sheet: Any, text: str) -> Any:
    """Return a cell that is text whatever it begins with, also when a person edits it later."""
    # Text that looks guarded gets its apostrophe here too, because reading takes one off.
    escaped = _LOOKS_ESCAPED.sub("_x005F_", guarded(text) if text.startswith("'") else text)
    cell = WriteOnlyCell(sheet, _NOT_IN_XML.sub(lambda found: f"_x{ord(found[0]):04X}_", escaped))
    cell.data_type = "s"
    if guarded(text) != text:
        cell.quotePrefix = True
    return cell

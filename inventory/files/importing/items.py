"""Spools, bobbins and stabilizer: what a row of each says of a thing on the shelf."""

import math
from collections.abc import Sequence
from typing import Any

from inventory.compute.errors import WorkshopError
from inventory.compute.knowing import sealed_sigma
from inventory.compute.lengths import ScaleReading
from inventory.compute.spoken import _, figure
from inventory.compute.weighing import MOISTURE_SIGMA, length_from_weight, length_sigma
from inventory.files.importing.catalogue import Draft, Index, refuse_incomplete, state
from inventory.files.importing.plan import ImportPlan
from inventory.files.importing.rows import Row
from inventory.files.importing.stock import (
    ShelfAtImport,
    StatedThing,
    compare,
    has_landed,
    known_again,
    label_for,
    see_shelf,
    tell,
)
from inventory.files.importing.threads import ThreadIndex, put_up_named, range_named, see_threads, shade_coded
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Offcut,
    PartBobbin,
    PutUp,
    SheetPack,
    Spool,
    SprayCan,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
    ThreadRange,
)
from inventory.shelf.weights import BELIEVED_SIGMAS, TARE_SIGMA, tex_sigma

Kind = StockItem.Kind
_STYLE = {
    "style_outer_diameter_mm": "outer_diameter_mm",
    "style_width_mm": "width_mm",
    "style_core_diameter_mm": "core_diameter_mm",
}
_PRODUCT = ("kind", "weight_g_m2", "thickness_mm", "holds_by", "comes_off", "has_grain")
_STABILIZER_MODELS: dict[str, type[StockItem]] = {
    Kind.ROLL: StabilizerRoll,
    Kind.SHEETS: SheetPack,
    Kind.OFFCUT: Offcut,
    Kind.CAN: SprayCan,
}
_OF_FULL_BOBBINS = ("pieces", "length_each_m", "sigma_pieces", "paid_for_pieces")
_OF_A_PART_BOBBIN = ("length_m", "sigma_m", "paid_for_m")
_OF_SHEETS = ("height_mm", "pieces", "sigma_pieces", "paid_for_pieces")
_OF_A_ROLL = ("length_m", "sigma_m", "paid_for_m")
_OF_A_CAN = ("content_g", "full_g", "empty_g", "sigma_g", "paid_for_g")
# What only a thing has; a row without any of it is about the product.
_OF_A_THING = (
    "label",
    "width_mm",
    "height_mm",
    "length_m",
    "pieces",
    "content_g",
    "full_g",
    "known",
    "place",
    "lot",
    "price_paid",
    "note",
)
_DETAILS = ("lot", "opened_on", "received_on", "price_paid", "note")


def plan_spools(rows: Sequence[Row], *, sha256: str) -> ImportPlan:
    """Return what the rows of a file of spools would do."""
    shelf, threads = see_shelf(sha256, models=[Spool]), see_threads()
    things = []
    for row in rows:
        item = known_again(row, shelf, kinds=[Kind.SPOOL])
        label = label_for(row, shelf, kind=Kind.SPOOL, item=item)
        if not has_landed(row, shelf, label):
            things.append(_spool(row, shelf, threads, item=item, label=label))
    return _compared(things, shelf, drafts=[])


def _spool(
    row: Row, shelf: ShelfAtImport, threads: ThreadIndex, *, item: Spool | None, label: str
) -> StatedThing:
    range = range_named(row, threads)
    shade = shade_coded(row, threads, range=range)
    of = shade or (item.shade if item else None)
    put_up = put_up_named(row, threads, range=of.range if of else range)
    held_on = put_up or (item.put_up if item else None)
    weighed = row["weight_g"] is not None
    quantity, sigma = row["length_m"], row["sigma_m"]
    if weighed and of is not None:
        tare = row["tare_g"] if row["tare_g"] is not None else item.tare_mg if item else None
        quantity, found_sigma = _weighed(row, of.range, tare_mg=tare, put_up=held_on)
        sigma = found_sigma if sigma is None else sigma
    return StatedThing(
        row,
        kind=Kind.SPOOL,
        model=Spool,
        item=item,
        label=label,
        identity={"shade": shade},
        details=_details(row, shelf)
        | {"put_up": put_up, "tare_mg": row["tare_g"], "quantity_paid": row["paid_for_m"]},
        column_of=_columns(shade="code", put_up="put_up", tare_mg="tare_g", quantity_paid="paid_for_m"),
        quantity=quantity,
        quantity_column="weight_g" if weighed else "length_m",
        known=row["known"] or ("weighed" if weighed else ""),
        sigma=sigma,
        full=held_on.length_mm if held_on else None,
        weighed=weighed,
    )


def _weighed(
    row: Row, range: ThreadRange, *, tare_mg: int | None, put_up: PutUp | None
) -> tuple[int | None, float | None]:
    """Return the length in mm that the row's weight tells, and its sigma, or refuse the weight."""
    tare_sigma_mg = 0.0
    if tare_mg is None and put_up is not None and put_up.tare_mg is not None:
        tare_mg, tare_sigma_mg = put_up.tare_mg, TARE_SIGMA * put_up.tare_mg
    if tare_mg is None:
        if not row.refused("tare_g", "put_up"):
            row.refuse(
                "weight_g",
                _("Without the weight of the empty spool the weight tells no length. Give tare_g."),
            )
        return None, None
    gross: ScaleReading = row["weight_g"]
    weights = {"gross_mg": gross.mg, "tare_mg": tare_mg, "tex": range.tex}
    try:
        length_mm = length_from_weight(**weights)
        sigma_mm = length_sigma(
            **weights,
            scale_resolution_mg=row["scale_step_g"] or gross.resolution_mg,
            tare_sigma_mg=tare_sigma_mg,
            tex_relative_sigma=tex_sigma(range),
            moisture_relative_sigma=MOISTURE_SIGMA[range.fibre],
        )
    except WorkshopError as problem:
        row.refuse("weight_g", str(problem))
        return None, None
    if put_up is not None:
        beyond = BELIEVED_SIGMAS * math.hypot(sigma_mm, sealed_sigma(put_up.length_mm))
        if length_mm > put_up.length_mm + beyond:
            row.refuse(
                "weight_g",
                _("That would be {length} m, and a full {put_up} holds less.").format(
                    length=figure(length_mm / 1000), put_up=put_up
                ),
            )
    return round(length_mm), sigma_mm


def plan_bobbins(rows: Sequence[Row], *, sha256: str) -> ImportPlan:
    """Return what the rows of a file of bobbins would do; a row may tell of a bobbin style alone."""
    shelf, threads = see_shelf(sha256, models=[BobbinBatch, PartBobbin]), see_threads()
    styles: Index[Draft] = Index()
    drafts = []
    for each in BobbinStyle.objects.all():
        drafts.append(
            Draft(BobbinStyle, _("the bobbin style {name}").format(name=each.name), {"name": each.name}, each)
        )
        styles.add((each.name,), drafts[-1])
    things = []
    for row in rows:
        item = known_again(row, shelf, kinds=[Kind.BOBBINS, Kind.PART_BOBBIN])
        kind = _bobbin_kind(row, item)
        label = label_for(row, shelf, kind=kind, item=item)
        if has_landed(row, shelf, label):
            continue
        style = None
        if row["style"]:
            style = styles.get(row["style"])
            if style is None:
                needs = {field: column for column, field in _STYLE.items() if field != "core_diameter_mm"}
                style = Draft(
                    BobbinStyle,
                    _("the bobbin style {name}").format(name=row["style"]),
                    {"name": row["style"]},
                    needs=needs,
                )
                styles.add((row["style"],), style)
                drafts.append(style)
            state(row, [(style, column, field, row[column]) for column, field in _STYLE.items()])
        if row.states(*row.values.keys() - {"style", *_STYLE}):
            things.append(_bobbins(row, shelf, threads, item=item, label=label, kind=kind, style=style))
        elif style is None and not row.is_bad:
            row.refuse("style", _("The row says nothing that can be imported."))
    return _compared(things, shelf, drafts=drafts)


def _bobbin_kind(row: Row, item: StockItem | None) -> str:
    if item is not None:
        if row["kind"] not in (None, "", item.kind):
            row.refuse(
                "kind",
                _("{label} is {kind} on the shelf.").format(label=item.label, kind=Kind(item.kind).label),
            )
        return item.kind
    part = row["length_m"] is not None and row["pieces"] is None
    return row["kind"] or (Kind.PART_BOBBIN if part else Kind.BOBBINS)


def _bobbins(
    row: Row,
    shelf: ShelfAtImport,
    threads: ThreadIndex,
    *,
    item: Any,
    label: str,
    kind: str,
    style: Draft | None,
) -> StatedThing:
    shade = shade_coded(row, threads, range=range_named(row, threads))
    full = kind == Kind.BOBBINS
    if full:
        _refuse_columns(row, _OF_A_PART_BOBBIN, _("This is for a part bobbin; full ones have pieces."))
    else:
        _refuse_columns(row, _OF_FULL_BOBBINS, _("This is for full bobbins; a part bobbin has length_m."))
    unit = "pieces" if full else "m"
    identity: dict[str, Any] = {"style": style, "shade": shade}
    details = _details(row, shelf) | {"quantity_paid": row[f"paid_for_{unit}"]}
    if full:
        identity["length_mm"] = row["length_each_m"]
        details["self_wound"] = row["self_wound"]
    return StatedThing(
        row,
        kind=kind,
        model=BobbinBatch if full else PartBobbin,
        item=item,
        label=label,
        identity=identity,
        details=details,
        column_of=_columns(
            style="style",
            shade="code",
            length_mm="length_each_m",
            self_wound="self_wound",
            quantity_paid=f"paid_for_{unit}",
        ),
        quantity=row["pieces"] if full else row["length_m"],
        quantity_column="pieces" if full else "length_m",
        known=row["known"] or "",
        sigma=row[f"sigma_{unit}"],
    )


def plan_stabilizer(rows: Sequence[Row], *, sha256: str) -> ImportPlan:
    """Return what the rows of a file of stabilizer would do; a row may tell of a product alone."""
    shelf = see_shelf(sha256, models=list(_STABILIZER_MODELS.values()))
    products: Index[Draft] = Index()
    drafts = []
    for each in StabilizerProduct.objects.all():
        drafts.append(Draft(StabilizerProduct, str(each), {}, each))
        products.add((each.maker, each.name), drafts[-1])
    things = []
    for row in rows:
        item = known_again(row, shelf, kinds=list(_STABILIZER_MODELS))
        if item is not None and row["form"] not in (None, "", item.kind):
            row.refuse(
                "form",
                _("{label} is {kind} on the shelf.").format(label=item.label, kind=Kind(item.kind).label),
            )
        if item is None and not row["form"] and not row.refused("form") and row.states(*_OF_A_THING):
            row.refuse("form", _("The row tells of a thing. Is it a roll, sheets, an offcut or a can?"))
        kind = item.kind if item is not None else row["form"] or Kind.ROLL
        label = label_for(row, shelf, kind=kind, item=item)
        if has_landed(row, shelf, label):
            continue
        product = _product(row, products, drafts)
        if item is not None or row["form"]:
            things.append(_stabilizer(row, shelf, item=item, label=label, kind=kind, product=product))
        elif product is None and not row.is_bad:
            row.refuse("product", _("The row says nothing that can be imported."))
    for draft in drafts:
        if draft.stated.get("kind") not in {None, *StabilizerProduct.CHOSEN_BY_WEIGHT}:
            draft.needs.pop("weight_g_m2", None)
    return _compared(things, shelf, drafts=drafts)


def _product(row: Row, products: Index[Draft], drafts: list[Draft]) -> Draft | None:
    maker, name = row["maker"], row["product"]
    if not maker and not name:
        for column in _PRODUCT:
            if row.states(column):
                row.refuse(column, _("This is of a product. Name maker and product too."))
        return None
    if not (maker and name):
        row.refuse(
            "product" if maker else "maker", _("A product is known by its maker and its name; give both.")
        )
        return None
    product = products.get(maker, name)
    if product is None:
        needs = {"kind": "kind", "weight_g_m2": "weight_g_m2"}
        product = Draft(StabilizerProduct, f"{maker} {name}", {"maker": maker, "name": name}, needs=needs)
        products.add((maker, name), product)
        drafts.append(product)
    state(row, [(product, column, column, row[column]) for column in _PRODUCT])
    return product


def _stabilizer(
    row: Row, shelf: ShelfAtImport, *, item: Any, label: str, kind: str, product: Draft | None
) -> StatedThing:
    if kind == Kind.CAN:
        return _can(row, shelf, item=item, label=label, product=product)
    _refuse_columns(row, _OF_A_CAN, _("This is for a can of spray."))
    is_roll = kind == Kind.ROLL
    if is_roll:
        _refuse_columns(row, _OF_SHEETS, _("This is for sheets and offcuts; a roll has length_m."))
    else:
        _refuse_columns(row, _OF_A_ROLL, _("This is for a roll; sheets and offcuts have pieces."))
    unit, quantity = ("m", "length_m") if is_roll else ("pieces", "pieces")
    identity: dict[str, Any] = {"product": product, "width_mm": row["width_mm"]}
    if not is_roll:
        identity["height_mm"] = row["height_mm"]
    return StatedThing(
        row,
        kind=kind,
        model=_STABILIZER_MODELS[kind],
        item=item,
        label=label,
        identity=identity,
        details=_details(row, shelf) | {"quantity_paid": row[f"paid_for_{unit}"]},
        column_of=_columns(
            product="product", width_mm="width_mm", height_mm="height_mm", quantity_paid=f"paid_for_{unit}"
        ),
        quantity=1 if kind == Kind.OFFCUT and item is None and row[quantity] is None else row[quantity],
        quantity_column=quantity,
        known=row["known"] or "",
        sigma=row[f"sigma_{unit}"],
    )


def _can(row: Row, shelf: ShelfAtImport, *, item: Any, label: str, product: Draft | None) -> StatedThing:
    _refuse_columns(row, ("width_mm", *_OF_SHEETS, *_OF_A_ROLL), _("A can of spray has content_g alone."))
    full_mg = row["full_g"] if row["full_g"] is not None else item.full_mg if item else row["content_g"]
    return StatedThing(
        row,
        kind=Kind.CAN,
        model=SprayCan,
        item=item,
        label=label,
        identity={"product": product, "full_mg": full_mg},
        details=_details(row, shelf) | {"quantity_paid": row["paid_for_g"], "empty_mg": row["empty_g"]},
        column_of=_columns(
            product="product", full_mg="full_g", empty_mg="empty_g", quantity_paid="paid_for_g"
        ),
        quantity=row["content_g"],
        quantity_column="content_g",
        known=row["known"] or "",
        sigma=row["sigma_g"],
        full=full_mg,
    )


def _refuse_columns(row: Row, columns: Sequence[str], reason: str) -> None:
    for column in columns:
        if row.states(column):
            row.refuse(column, reason)


def _details(row: Row, shelf: ShelfAtImport) -> dict[str, Any]:
    """Return what every thing on the shelf can have besides its quantity."""
    place = None
    if row["place"]:
        place = shelf.place(row["place"])
        place.rows.append(row)
    return {name: row[name] for name in _DETAILS} | {"place": place}


def _columns(**of_the_kind: str) -> dict[str, str]:
    return {name: name for name in (*_DETAILS, "place")} | of_the_kind


def _compared(things: list[StatedThing], shelf: ShelfAtImport, *, drafts: list[Draft]) -> ImportPlan:
    for thing in things:
        compare(thing, shelf)
    refuse_incomplete(drafts)
    good = [thing for thing in things if not thing.row.is_bad]
    for thing in good:
        tell(thing)
    return ImportPlan(drafts=[*shelf.new_places, *drafts], things=good, shelf=shelf)

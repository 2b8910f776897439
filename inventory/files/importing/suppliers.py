"""Suppliers with their offers: what the rows of a file of prices would make and change."""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from inventory.compute.spoken import _
from inventory.files.importing.catalogue import Draft, Index, Statement, refuse_incomplete, state
from inventory.files.importing.plan import ImportPlan
from inventory.files.importing.rows import Row
from inventory.files.importing.threads import ThreadIndex, put_up_named, range_named, see_threads, shade_coded
from inventory.models import BobbinStyle, Offer, PriceBreak, StabilizerProduct, Supplier

_OF_SUPPLIER = ("lead_time_days", "shipping", "free_shipping_from", "minimum_order")
_OF_OFFER = ("price", "minimum_packs", "steps_for", "seen_on")
_STEPS = (1, 2, 3)
_KEY = (
    "put_up",
    "shade",
    "bobbin_style",
    "bobbin_length_mm",
    "product",
    "roll_width_mm",
    "roll_length_mm",
    "can_mg",
    "pack",
)
_THREAD = ("range", "put_up")
_BOBBINS = ("bobbin_style", "bobbin_length_m")
_STABILIZER = ("product", "roll_width_mm", "roll_length_m", "can_g")


def plan_suppliers(rows: Sequence[Row], *, sha256: str) -> ImportPlan:
    """Return what the rows of a file of suppliers would do."""
    threads = see_threads()
    suppliers: Index[Draft] = Index()
    all_suppliers = [Draft(Supplier, each.name, {}, each) for each in Supplier.objects.all()]
    for draft in all_suppliers:
        suppliers.add((draft.name,), draft)
    offers: defaultdict[tuple[Any, ...], list[Offer]] = defaultdict(list)
    for offer in Offer.objects.select_related("supplier").order_by("id"):
        offers[(offer.supplier.name, *(_pk(getattr(offer, name)) for name in _KEY))].append(offer)
    styles = Index(((each.name,), each) for each in BobbinStyle.objects.all())
    products = Index(((each.maker, each.name), each) for each in StabilizerProduct.objects.all())
    steps = {(each.offer_id, each.from_packs): each for each in PriceBreak.objects.all()}
    all_offers: list[Draft] = []
    all_steps: list[Draft] = []
    first_row: dict[tuple[Any, ...], int] = {}
    for row in rows:
        name = row["supplier"]
        if not name:
            continue
        supplier = suppliers.get(name)
        if supplier is None:
            supplier = Draft(Supplier, name, {"name": name})
            suppliers.add((name,), supplier)
            all_suppliers.append(supplier)
        statements = [(supplier, column, column, row[column]) for column in _OF_SUPPLIER]
        what = _on_offer(row, threads, styles=styles, products=products)
        if what is not None and not row.is_bad:
            key = (supplier.name, *(_pk(what[name]) for name in _KEY))
            there = offers[key]
            if not there and key in first_row:
                row.refuse(
                    "",
                    _("Row {row} makes the same offer. Keep one of them.").format(row=first_row[key]),
                )
            first_row.setdefault(key, row.number)
            record = there.pop(0) if there else None
            offer_draft = Draft(Offer, _named(what, supplier), {"supplier": supplier} | what, record)
            all_offers.append(offer_draft)
            statements += [(offer_draft, column, column, row[column]) for column in _OF_OFFER]
            for statement in _steps(row, offer_draft, steps):
                all_steps.append(statement[0])
                statements.append(statement)
        state(row, statements)
    refuse_incomplete([*all_suppliers, *all_offers])
    return ImportPlan(drafts=[*all_suppliers, *all_offers, *all_steps])


def _steps(row: Row, offer: Draft, known: dict[tuple[int, int], PriceBreak]) -> list[Statement]:
    """Return what the row says of the price steps of its offer."""
    statements: list[Statement] = []
    seen: set[int] = set()
    for number in _STEPS:
        start, price = row[f"step_{number}_from"], row[f"step_{number}_price"]
        if start is None and price is None:
            continue
        if start is None or price is None:
            missing = "from" if start is None else "price"
            row.refuse(
                f"step_{number}_{missing}", _("A price step needs both: from how many packs, and the price.")
            )
            continue
        if start in seen:
            row.refuse(
                f"step_{number}_from",
                _("Another step begins with {start} packs too. Keep one of them.").format(start=start),
            )
            continue
        seen.add(start)
        record = known.get((offer.record.pk, start)) if offer.record is not None else None
        name = _("{offer} from {count} packs").format(offer=offer.name, count=start)
        draft = Draft(PriceBreak, name, {"offer": offer, "from_packs": start}, record)
        statements.append((draft, f"step_{number}_price", "price", price))
    return statements


def _on_offer(
    row: Row, threads: ThreadIndex, *, styles: Index[BobbinStyle], products: Index[StabilizerProduct]
) -> dict[str, Any] | None:
    """Return the fields of the offer that know it again, or None for a row about the supplier alone."""
    kinds = [columns for columns in (_THREAD[1:], _BOBBINS, _STABILIZER) if row.states(*columns)]
    if not kinds:
        if row.states("price", "pack", "seen_on", "code", "range", "maker"):
            row.refuse("price", _("The price is for nothing: name a put-up, a bobbin style or a stabilizer."))
        return None
    if len(kinds) > 1:
        for columns in kinds[1:]:
            row.refuse(
                columns[0],
                _("An offer is for one thing; {column} names another. Use two rows.").format(
                    column=kinds[0][0]
                ),
            )
        return None
    what: dict[str, Any] = dict.fromkeys(_KEY) | {"pack": row["pack"] or 1}
    if kinds[0] == _STABILIZER:
        what |= _stabilizer(row, products)
    else:
        range = range_named(row, threads)
        shade = shade_coded(row, threads, range=range)
        what["shade"] = shade
        if kinds[0] == _BOBBINS:
            what |= _bobbins(row, styles)
        else:
            what["put_up"] = put_up_named(row, threads, range=range or (shade.range if shade else None))
    if row["price"] is None and not row.refused("price"):
        row.refuse("price", _("The offer needs a price."))
    return what


def _bobbins(row: Row, styles: Index[BobbinStyle]) -> dict[str, Any]:
    _need(row, "bobbin_style", "bobbin_length_m", "code")
    style = styles.get(row["bobbin_style"] or "")
    if style is None and row["bobbin_style"]:
        row.refuse("bobbin_style", _("There is no such bobbin style. Import the bobbins first."))
    return {"bobbin_style": style, "bobbin_length_mm": row["bobbin_length_m"]}


def _stabilizer(row: Row, products: Index[StabilizerProduct]) -> dict[str, Any]:
    if row.states("can_g"):
        _need(row, "maker", "product")
        for column in ("roll_width_mm", "roll_length_m"):
            if row.states(column):
                row.refuse(column, _("This is of a roll, and the row offers a can."))
    else:
        _need(row, "maker", "product", "roll_width_mm", "roll_length_m")
    if row.states("range", "code"):
        row.refuse(
            "range" if row["range"] else "code", _("This is of thread, and the row offers a stabilizer.")
        )
    product = products.get(row["maker"] or "", row["product"] or "")
    if product is None and row["maker"] and row["product"]:
        row.refuse(
            "product",
            _("There is no stabilizer {maker} {product}. Import the stabilizer first.").format(
                maker=row["maker"], product=row["product"]
            ),
        )
    if product is not None and row.states("can_g") != (product.kind == StabilizerProduct.Kind.SPRAY):
        row.refuse("product", _("A spray is sold in cans, with can_g; everything else on rolls."))
    return {
        "product": product,
        "roll_width_mm": row["roll_width_mm"],
        "roll_length_mm": row["roll_length_m"],
        "can_mg": row["can_g"],
    }


def _need(row: Row, *columns: str) -> None:
    for column in columns:
        if not row.states(column) and not row.refused(column):
            row.refuse(column, _("The offer needs {column}.").format(column=column))


def _pk(value: Any) -> Any:
    return getattr(value, "pk", value)


def _named(what: dict[str, Any], supplier: Draft) -> str:
    thing = what["put_up"] or what["bobbin_style"] or what["product"]
    shade = f" {what['shade']}" if what["shade"] else ""
    return _("the offer of {supplier}: {thing}").format(supplier=supplier.name, thing=f"{thing}{shade}")

"""The demo's stock: everything comes in, is used and is weighed by the acts of the ledger, under fixed keys."""

from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from inventory import ledger
from inventory.compute.bobbins import FIBRE_DENSITY_G_CM3, bobbin_capacity
from inventory.compute.knowing import RELATIVE_SIGMA
from inventory.compute.weighing import (
    MOISTURE_SIGMA,
    length_from_fill_level,
    length_from_weight,
    length_sigma,
)
from inventory.models import Entry, PartBobbin, Spool, StockItem
from inventory.shelf.labelled import next_labels
from inventory.shelf.receipts import (
    Delivery,
    receive_bobbins,
    receive_offcut,
    receive_rolls,
    receive_sheets,
    receive_spools,
)
from workshop.demo.catalogue import Catalogue
from workshop.demo.files import DemoFiles, Row

KEY_PREFIX = "demo:"
Known = StockItem.Known


@dataclass(frozen=True)
class Moment:
    """When the demo is loaded, by whom, and which of its movements were made before."""

    at: datetime
    by: Any
    made: frozenset[str]

    def days_ago(self, days: int | str) -> datetime:
        return self.at - timedelta(days=int(days))

    def delivery(self, key: str, *, days_ago: int | str, **shared: Any) -> Delivery:
        return Delivery(key=key, at=self.days_ago(days_ago), by=self.by, **shared)


def bring_in(files: DemoFiles, catalogue: Catalogue, *, at: datetime, by: Any) -> int:
    """Return how many things came onto the shelf; those that came before stay as they are now."""
    made = Entry.objects.filter(key__startswith=KEY_PREFIX).values_list("key", flat=True)
    moment = Moment(at, by, frozenset(made))
    uses: dict[str, list[Row]] = defaultdict(list)
    for use in files.uses:
        uses[use["spool"]].append(use)
    workshop = files.workshop
    spools = [row for row in files.spools if _key("spool", row) not in moment.made]
    # All labels in one go: three questions to the database instead of three a spool.
    labels = next_labels(StockItem.Kind.SPOOL, len(spools)) if spools else []
    for row, label in zip(spools, labels, strict=True):
        _spool(row, label, moment, catalogue, uses[row["id"]], workshop["weighing"])
    others = [
        (act, row, key)
        for kind, act in ACTS
        for row in workshop[kind]
        if (key := _key(kind, row)) not in moment.made
    ]
    for act, row, key in others:
        act(row, key, moment, catalogue)
    return len(spools) + len(others)


def _key(kind: str, row: Mapping[str, Any]) -> str:
    return f"{KEY_PREFIX}{kind.removesuffix('s')}:{row['id']}"


def _spool(
    row: Row, label: str, moment: Moment, catalogue: Catalogue, uses: list[Row], weighing: dict[str, float]
) -> None:
    key = _key("spool", row)
    shade = catalogue.shades[row["shade"]]
    [spool] = receive_spools(
        shade,
        put_up=catalogue.put_ups[shade.range_id, row["put_up"]],
        delivery=moment.delivery(
            key,
            days_ago=row["received_days_ago"],
            place=catalogue.places[row["place"]],
            lot=row["lot"],
            price_each=Decimal(row["price"]),
        ),
        labels=[label],
    )
    for number, use in enumerate(uses, start=1):
        ledger.use(
            spool,
            quantity=round(float(use["metres"]) * 1000),
            key=f"{key}:use:{number}",
            at=moment.days_ago(use["days_ago"]),
            by=moment.by,
            # As well as an estimate before the job can tell.
            sigma=RELATIVE_SIGMA["judged"] * float(use["metres"]) * 1000,
            reference=use["reference"],
        )
    if row["known"]:
        _look_at(spool, row, key, moment, weighing)


def _look_at(spool: Spool, row: Row, key: str, moment: Moment, weighing: dict[str, float]) -> None:
    """Find what is left on an open spool: by the scale, by eye, or not at all."""
    reason = Entry.Reason.COUNT
    if row["known"] == Known.WEIGHED:
        left_mm, sigma = _weighed(spool, float(row["gross_g"]), weighing)
        reason = Entry.Reason.WEIGH
    elif row["known"] == Known.JUDGED:
        assert spool.put_up is not None  # the demo's spools all have one
        left_mm, sigma = length_from_fill_level(row["level"], put_up_mm=spool.put_up.length_mm)
    else:
        spool.refresh_from_db(fields=["on_hand"])
        left_mm, sigma = spool.on_hand, None
    ledger.find(
        spool,
        quantity=round(left_mm),
        finding=ledger.Finding(sigma, row["known"]),
        key=f"{key}:found",
        at=moment.days_ago(row["found_days_ago"]),
        by=moment.by,
        reason=reason,
    )


def _weighed(spool: Spool, gross_g: float, weighing: dict[str, float]) -> tuple[float, float]:
    """Return the length in mm that the bench scale shows, and its sigma."""
    range = spool.shade.range
    read = {"gross_mg": gross_g * 1000, "tare_mg": spool.empty_weight_mg or 0, "tex": range.tex}
    sigma = length_sigma(
        **read,
        scale_resolution_mg=weighing["scale_g"] * 1000,
        tare_sigma_mg=weighing["tare_sigma_g"] * 1000,
        tex_relative_sigma=weighing["nominal_tex_sigma" if range.tex_is_nominal else "tex_sigma"],
        moisture_relative_sigma=MOISTURE_SIGMA[range.fibre],
    )
    return length_from_weight(**read), sigma


def _bobbins(row: dict[str, Any], key: str, moment: Moment, catalogue: Catalogue) -> None:
    style, shade = catalogue.styles[row["style"]], catalogue.shades[row["shade"]]
    self_wound = row.get("self_wound", False)
    held_mm = bobbin_capacity(
        style.geometry, tex=shade.range.tex, density_g_cm3=FIBRE_DENSITY_G_CM3[shade.range.fibre]
    )
    receive_bobbins(
        style,
        shade=shade,
        length_mm=row["length_m"] * 1000 if "length_m" in row else round(held_mm),
        count=row["count"],
        self_wound=self_wound,
        delivery=moment.delivery(
            key,
            days_ago=row["received_days_ago"],
            place=catalogue.places["Bobbin tin"],
            price_each=Decimal(row["price_each"]) if "price_each" in row else None,
        ),
    )


def _part_bobbin(row: dict[str, Any], key: str, moment: Moment, catalogue: Catalogue) -> None:
    left_mm, sigma = length_from_fill_level(row["level"], put_up_mm=row["put_in_m"] * 1000)
    bobbin = PartBobbin.objects.create(
        label=next_labels(StockItem.Kind.PART_BOBBIN, 1)[0],
        kind=StockItem.Kind.PART_BOBBIN,
        style=catalogue.styles[row["style"]],
        shade=catalogue.shades[row["shade"]],
        place=catalogue.places["Bobbin tin"],
        received_on=moment.days_ago(row["received_days_ago"]).date(),
        opened_on=moment.days_ago(row["received_days_ago"]).date(),
    )
    ledger.receive(
        bobbin,
        quantity=round(left_mm),
        key=key,
        at=moment.days_ago(row["received_days_ago"]),
        by=moment.by,
        sigma=sigma,
        known=Known.JUDGED,
    )


def _roll(row: dict[str, Any], key: str, moment: Moment, catalogue: Catalogue) -> None:
    [roll] = receive_rolls(
        catalogue.products[row["product"]],
        width_mm=row["width_mm"],
        length_mm=row["length_m"] * 1000,
        delivery=moment.delivery(
            key,
            days_ago=row["received_days_ago"],
            place=catalogue.places["Roll rack"],
            price_each=Decimal(row["price"]),
        ),
    )
    if "used_m" in row:
        used_mm = round(row["used_m"] * 1000)
        ledger.use(
            roll,
            quantity=used_mm,
            key=f"{key}:use",
            at=moment.days_ago(row["used_days_ago"]),
            by=moment.by,
            sigma=0.01 * used_mm,  # cut by a ruler on the bench
            reference="earlier batches",
        )


def _sheets(row: dict[str, Any], key: str, moment: Moment, catalogue: Catalogue) -> None:
    receive_sheets(
        catalogue.products[row["product"]],
        width_mm=row["width_mm"],
        height_mm=row["height_mm"],
        count=row["count"],
        delivery=moment.delivery(
            key,
            days_ago=row["received_days_ago"],
            place=catalogue.places["Roll rack"],
            price_each=Decimal(row["price_each"]) * row["count"],
        ),
    )


def _offcut(row: dict[str, Any], key: str, moment: Moment, catalogue: Catalogue) -> None:
    receive_offcut(
        catalogue.products[row["product"]],
        width_mm=row["width_mm"],
        height_mm=row["height_mm"],
        delivery=moment.delivery(key, days_ago=row["cut_days_ago"], place=catalogue.places["Offcut box"]),
    )


# The stock beside the spools, by the name of its rows.
ACTS: tuple[tuple[str, Callable[[dict[str, Any], str, Moment, Catalogue], None]], ...] = (
    ("bobbins", _bobbins),
    ("part_bobbins", _part_bobbin),
    ("rolls", _roll),
    ("sheets", _sheets),
    ("offcuts", _offcut),
)

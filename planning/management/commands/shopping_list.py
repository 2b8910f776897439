"""Answer what must be bought for all open jobs, from whom, by which day."""

import csv
import sys
import uuid
from datetime import date
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from rich.console import Console

from inventory.compute.left_out import left_out_in_words
from inventory.compute.lengths import format_length
from inventory.compute.units import METRIC
from inventory.management.base import WorkshopCommand, stray_lines_aside
from inventory.tables.cells import guarded
from planning.buying.basket import BasketPlan, plan_basket
from planning.buying.drafting import draft_orders, shown_of
from planning.buying.needs import Needs, needs_of_all
from planning.buying.rows import shopping_rows_of_all
from planning.compute.search.proof import Proof
from planning.facts.patience import patience
from planning.models import Rules
from planning.plan.terminal import shopping_table

BOUGHT, SHORT, UNCLEAR = 0, 3, 4
PATIENCE_SECONDS = 60.0


class Command(WorkshopCommand):
    help = (
        "List what must be bought so that no open job and nothing that is kept in stock runs out: the cheapest "
        "basket in whole packs. Exits 0 where nothing is to be bought, 3 where something is, 4 where that cannot "
        "be said of all, 1 for an error."
    )
    formats = ("text", "json", "csv")
    example = "shopping_list --draft-orders"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("--no-drafts", action="store_true", help="Leave out jobs that are only drafts.")
        parser.add_argument(
            "--only",
            action="append",
            default=[],
            metavar="SUPPLIER",
            help="Buy only from here; may be repeated.",
        )
        parser.add_argument(
            "--one-supplier", action="store_true", help="Buy all of it from the cheapest who has everything."
        )
        parser.add_argument(
            "--may-split",
            action="store_true",
            help="A material may come from several suppliers, in several dye lots, where that is cheaper.",
        )
        parser.add_argument(
            "--draft-orders", action="store_true", help="Also draft an order to each supplier of the list."
        )
        parser.add_argument(
            "--key", default="", help="A name of your own; given again, nothing is drafted twice."
        )

    def handle(self, *args: Any, **options: Any) -> None:
        today = timezone.localdate()

        def asked(*, compare: bool) -> tuple[Needs, BasketPlan]:
            needs = needs_of_all(today=today, include_drafts=not options["no_drafts"])
            return needs, plan_basket(
                needs, today=today, only=options["only"], one_supplier=options["one_supplier"],
                may_split=options["may_split"], compare=compare, seconds_left=patience(PATIENCE_SECONDS),
            )  # fmt: skip

        with stray_lines_aside():
            needs, plan = asked(compare=options["format"] == "text")
            shown = shown_of(plan)
        rows = shopping_rows_of_all(plan, needs)
        if options["format"] != "text" and needs.left_out:
            self.stderr.write(left_out_in_words(needs.left_out))
        if options["format"] == "json":
            self.write_json(rows)
        elif options["format"] == "csv":
            self._write_csv(rows)
        else:
            print_shopping(self.console(), plan, needs, rows)
        if options["draft_orders"]:
            key = options["key"] or f"command-{uuid.uuid4()}"
            with stray_lines_aside():
                drafted = draft_orders(
                    lambda: asked(compare=False)[1], key=key, at=timezone.now(), by=None, shown=shown
                )
            for order in drafted:
                self.stderr.write(f"Drafted order {order.number} to {order.supplier}.")
        if rows:
            sys.exit(SHORT)
        sys.exit(UNCLEAR if needs.unclear else BOUGHT)

    def _write_csv(self, rows: list[dict[str, Any]]) -> None:
        writer = csv.writer(self.stdout)
        columns = list(rows[0]) if rows else list(EMPTY_ROW)
        writer.writerow(columns)
        for row in rows:
            cells = row | {"jobs": " ".join(map(str, row["jobs"]))}
            writer.writerow([guarded("" if cells[name] is None else str(cells[name])) for name in columns])


EMPTY_ROW = ("what", "need_mm", "packs", "put_up", "supplier", "unit_price", "total", "order_by", "kind",
             "need_pieces", "needed_on", "jobs", "kept_for", "basket_total", "basket_proof", "basket_bound",
             "one_lot_costs", "split_total")  # fmt: skip


def _proof_and_split(plan: BasketPlan, currency: str) -> list[str]:
    """Return in words how far the basket is proven to be the cheapest, and what one dye lot costs."""
    said, basket, split = [], plan.basket, plan.split
    if basket.proof is Proof.LEAST:
        said.append("No other basket costs less, counting what is left over and will be used.")
    elif basket.proof is not None and basket.gap is not None:
        said.append(
            f"This is the {basket.proof}: no other basket costs less by more than {basket.gap:.2%}, counting what "
            "is left over and will be used."
        )
    if split and split.costs and basket.total > split.total:
        at_least = "" if split.proof is Proof.LEAST else "at least "
        said.append(
            f"Keeping each material to one supplier, so that it can be of one dye lot, costs {at_least}{currency} "
            f"{split.costs:,.2f}: {', '.join(split.materials)} from several would make it {split.total:,.2f}."
        )
        if split.matters:
            said.append("To take that instead: --may-split.")
    return said


def print_shopping(console: Console, plan: BasketPlan, needs: Needs, rows: list[dict[str, Any]]) -> None:
    """Print the basket supplier by supplier, what it saves, and what cannot be bought or said."""
    currency = Rules.current().currency
    if not rows:
        console.print("Nothing needs to be bought.", style="bold")
    else:
        console.print(f"To buy: {currency} {plan.basket.total:,.2f} with shipping", style="bold")
        if plan.saves:
            console.print(f"Saves {currency} {plan.saves:,.2f} against buying each where it is cheapest.")
        for sentence in _proof_and_split(plan, currency):
            console.print(sentence)
        table = shopping_table(needs="Needs", currency=currency)
        for row in rows:
            table.add_row(
                row["what"],
                row["put_up"] or "nobody is known to sell it",
                row["supplier"],
                str(row["need_pieces"])
                if row["need_pieces"]
                else format_length(row["need_mm"], unit=METRIC.length),
                str(row["packs"]) if row["packs"] else "",
                row["total"] if row["packs"] else "",
                f"{date.fromisoformat(row['order_by']):%-d %b %Y}" if row["order_by"] else "",
            )
        console.print(table)
        for part in plan.parts:
            shipping = f"shipping {part.shipping:,.2f}" if part.shipping else "shipping free"
            console.print(f"{part.supplier}: {currency} {part.goods:,.2f}, {shipping}")
        for alone in plan.alone:
            more = f"{alone.extra:,.2f} more" if alone.extra > 0 else "no more"
            console.print(f"All from {alone.supplier}: {currency} {alone.total:,.2f}, {more}")
    for need, comes_on in plan.late:
        console.print(
            f"Late: {need.material.name} is needed on {need.needed_on:%-d %b %Y}; the quickest comes on "
            f"{comes_on:%-d %b %Y}."
        )
    for sentence in needs.unclear:
        console.print(f"Unclear: {sentence}")
    if needs.left_out:
        console.print(left_out_in_words(needs.left_out))

"""Answer what must be bought for all open jobs, from whom, by which day."""

import csv
import sys
import uuid
from datetime import date
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from rich.console import Console

from inventory.acting.days import plain_day
from inventory.compute.left_out import left_out_in_words
from inventory.compute.lengths import format_length
from inventory.compute.spoken import N_, as_written_here, figure
from inventory.compute.units import reader
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
    help = N_(
        "List what must be bought so that no open job and nothing that is kept in stock runs out: the cheapest "
        "basket in whole packs. Exits 0 where nothing is to be bought, 3 where something is, 4 where that cannot "
        "be said of all, 1 for an error."
    )
    formats = ("text", "json", "csv")
    example = "shopping_list --draft-orders"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--no-drafts", action="store_true", help=_("Leave out jobs that are only drafts.")
        )
        parser.add_argument(
            "--only",
            action="append",
            default=[],
            metavar="SUPPLIER",
            help=_("Buy only from here; may be repeated."),
        )
        parser.add_argument(
            "--one-supplier",
            action="store_true",
            help=_("Buy all of it from the cheapest who has everything."),
        )
        parser.add_argument(
            "--may-split",
            action="store_true",
            help=_("A material may come from several suppliers, in several dye lots, where that is cheaper."),
        )
        parser.add_argument(
            "--draft-orders", action="store_true", help=_("Also draft an order to each supplier of the list.")
        )
        parser.add_argument(
            "--key", default="", help=_("A name of your own; given again, nothing is drafted twice.")
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
                self.stderr.write(
                    _("Drafted order {number} to {supplier}.").format(
                        number=order.number, supplier=order.supplier
                    )
                )
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
        said.append(_("No other basket costs less, counting what is left over and will be used."))
    elif basket.proof is not None and basket.gap is not None:
        said.append(
            _(
                "This is the {proof}: no other basket costs less by more than {gap}, counting what "
                "is left over and will be used."
            ).format(proof=_(basket.proof), gap=as_written_here(f"{basket.gap:.2%}"))
        )
    if split and split.costs and basket.total > split.total:
        told = (
            _(
                "Keeping each material to one supplier, so that it can be of one dye lot, costs {currency} {costs}: "
                "{materials} from several would make it {total}."
            )
            if split.proof is Proof.LEAST
            else _(
                "Keeping each material to one supplier, so that it can be of one dye lot, costs at least {currency} "
                "{costs}: {materials} from several would make it {total}."
            )
        )
        said.append(
            told.format(
                currency=currency,
                costs=figure(split.costs, 2),
                materials=", ".join(split.materials),
                total=figure(split.total, 2),
            )
        )
        if split.matters:
            said.append(_("To take that instead: --may-split."))
    return said


def print_shopping(console: Console, plan: BasketPlan, needs: Needs, rows: list[dict[str, Any]]) -> None:
    """Print the basket supplier by supplier, what it saves, and what cannot be bought or said."""
    currency = Rules.current().currency
    if not rows:
        console.print(_("Nothing needs to be bought."), style="bold")
    else:
        console.print(
            _("To buy: {currency} {total} with shipping").format(
                currency=currency, total=figure(plan.basket.total, 2)
            ),
            style="bold",
        )
        if plan.saves:
            console.print(
                _("Saves {currency} {saves} against buying each where it is cheapest.").format(
                    currency=currency, saves=figure(plan.saves, 2)
                )
            )
        for sentence in _proof_and_split(plan, currency):
            console.print(sentence)
        table = shopping_table(needs=_("Needs"), currency=currency)
        for row in rows:
            table.add_row(
                row["what"],
                row["put_up"] or _("nobody is known to sell it"),
                row["supplier"],
                str(row["need_pieces"])
                if row["need_pieces"]
                else format_length(row["need_mm"], unit=reader().length),
                str(row["packs"]) if row["packs"] else "",
                row["total"] if row["packs"] else "",
                _day(date.fromisoformat(row["order_by"])) if row["order_by"] else "",
            )
        console.print(table)
        for part in plan.parts:
            shipping = (
                _("shipping {shipping}").format(shipping=figure(part.shipping, 2))
                if part.shipping
                else _("shipping free")
            )
            console.print(f"{part.supplier}: {currency} {figure(part.goods, 2)}, {shipping}")
        for alone in plan.alone:
            more = _("{extra} more").format(extra=figure(alone.extra, 2)) if alone.extra > 0 else _("no more")
            console.print(
                _("All from {supplier}: {currency} {total}, {more}").format(
                    supplier=alone.supplier, currency=currency, total=figure(alone.total, 2), more=more
                )
            )
    for need, comes_on in plan.late:
        console.print(
            _("Late: {name} must be there by {needed_on}; the quickest comes on {comes_on}.").format(
                name=need.material.name, needed_on=_day(need.needed_on), comes_on=_day(comes_on)
            )
        )
    for sentence in needs.unclear:
        console.print(_("Unclear: {sentence}").format(sentence=sentence))
    if needs.left_out:
        console.print(left_out_in_words(needs.left_out))


def _day(day: date | None) -> str:
    return plain_day(day) if day else ""

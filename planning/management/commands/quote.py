"""Say what a job is offered at, and write the page that is sent."""

from dataclasses import replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.acting.days import letter_day
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_, figure
from inventory.management.base import WorkshopCommand
from planning.jobs.quotes import quote_of, quote_pdf, usual_terms
from planning.management.jobs import job_numbered
from planning.models import Rules


class Command(WorkshopCommand):
    help = N_(
        "Quote a job: its cost with a margin, rounded up, never below the least order, and for other quantities."
    )
    example = "quote 3 --margin 40 --round-to 0.5 --minimum 25 --pdf quote.pdf"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("job", type=int, metavar="JOB", help=_("The job's number."))
        parser.add_argument(
            "--margin", metavar="PERCENT", help=_("Left out: as the rules say; so with the others.")
        )
        parser.add_argument(
            "--round-to", metavar="MONEY", help=_("What a piece is rounded up to, such as 0.50.")
        )
        parser.add_argument("--minimum", metavar="MONEY", help=_("The least order."))
        parser.add_argument("--pdf", default="", metavar="FILE", help=_("Write the page that is sent."))

    def handle(self, *args: Any, **options: Any) -> None:
        job = job_numbered(options["job"])
        said = {
            name: _money(options[typed], typed)
            for name, typed in (
                ("margin_percent", "margin"),
                ("rounded_to", "round_to"),
                ("minimum", "minimum"),
            )
            if options[typed] is not None
        }
        quote = quote_of(job, replace(usual_terms(Rules.current()), **said), on=timezone.localdate())
        if options["pdf"]:
            try:
                Path(options["pdf"]).write_bytes(quote_pdf(quote))
            except OSError as problem:
                raise WorkshopError(
                    _("{file} cannot be written: {problem}.").format(file=options["pdf"], problem=problem)
                ) from None
        if options["format"] == "json":
            self.write_json(
                {
                    "job": job.pk,
                    "what": quote.what,
                    "made_on": quote.made_on.isoformat(),
                    "currency": quote.currency,
                    "a_piece": str(quote.asked.a_piece),
                    "total": str(quote.asked.total),
                    "unpriced": list(quote.unpriced),
                    "quantities": [
                        {
                            "pieces": each.pieces,
                            "a_piece": str(each.a_piece),
                            "total": str(each.total),
                            "cost": str(each.cost),
                            "margin": str(each.margin),
                            "at_minimum": each.at_minimum,
                            "is_asked": each.is_asked,
                        }
                        for each in quote.prices
                    ],
                }
            )
            return
        self.stdout.write(f"{quote.what}, {letter_day(quote.made_on)}")
        for each in quote.prices:
            mark = "*" if each.is_asked else " "
            self.stdout.write(
                _("{mark} {pieces:>6} at {a_piece:>9} = {total:>11} {currency}").format(
                    mark=mark,
                    pieces=each.pieces,
                    a_piece=figure(each.a_piece, 2),
                    total=figure(each.total, 2),
                    currency=quote.currency,
                )
            )
        for missing in quote.unpriced:
            self.stderr.write(_("Not in it, for no price is known: {missing}.").format(missing=missing))


def _money(text: str, what: str) -> Decimal:
    try:
        return Decimal(text.replace(",", "."))
    except InvalidOperation:
        raise WorkshopError(
            _('"{text}" is no number for {what}.').format(text=text, what=what.replace("_", " "))
        ) from None

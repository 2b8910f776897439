"""Check that everything that moves or holds stock agrees."""

import json
from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.spoken import N_, figure
from inventory.management.examples import WithExample, spoken_to
from inventory.models import Entry, StockItem
from workshop.doctor.stock import stock_problems


class Command(WithExample):
    help = N_(
        "Check the ledger, and that promises, cuts and orders agree with it; exits 1 and names each invariant "
        "that fails."
    )

    requires_system_checks: Any = ()  # it looks at the workshop, not at the code
    example = "check_ledger"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--format", choices=["text", "json"], default="text")

    def handle(self, *args: object, **options: str) -> None:
        with spoken_to(options["format"]):
            problems = [problem for problem, _mend in stock_problems()]
        if options["format"] == "json":
            rows = [vars(problem) for problem in problems]
            self.stdout.write(json.dumps({"sound": not problems, "problems": rows}, indent=2))
        else:
            for problem in problems:
                self.stdout.write(str(problem))
            if not problems:
                items, entries = StockItem.objects.count(), Entry.objects.count()
                self.stdout.write(
                    _("The ledger is sound: {items}, {entries}.").format(
                        items=ngettext("{number} item", "{number} items", items).format(number=figure(items)),
                        entries=ngettext("{number} entry", "{number} entries", entries).format(
                            number=figure(entries)
                        ),
                    )
                )
        if problems:
            raise SystemExit(1)

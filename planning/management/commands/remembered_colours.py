"""List, say, forget and take back which shade stands for a colour of files."""

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.catalogue.equivalents import one_shade
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from inventory.management.shades import shade_as_data
from planning.facts.remembered import (
    ColourAnswer,
    NotRemembered,
    colour_written,
    forget,
    proposals,
    remember,
    remembered_now,
    take_back,
)
from planning.facts.remembered_files import answers_in_file, remembered_as_csv
from planning.models import Design


class Command(WorkshopCommand):
    help = N_(
        "Say once which shade stands for a colour of files; the next file uses it by itself. Without any option, "
        "list what is remembered and what could be."
    )
    formats = ("text", "json", "csv")
    example = 'remembered_colours --remember "#ff0000=R170"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        act = parser.add_mutually_exclusive_group()
        act.add_argument("--remember", metavar="COLOUR=SHADE", help=_("Such as #000000=S199."))
        act.add_argument("--forget", metavar="COLOUR")
        act.add_argument("--take-back", metavar="ACT", help=_("The act that an earlier command named."))
        act.add_argument(
            "--import", dest="file", type=Path, metavar="FILE", help=_("CSV or .xlsx, as listed.")
        )
        parser.add_argument("--design", metavar="NAME", help=_("For this kept design alone."))
        parser.add_argument("--block", type=int, metavar="N", help=_("For this block of the design alone."))

    def handle(self, *args: Any, **options: Any) -> None:
        at = timezone.now()
        design = self._design(options["design"]) if options["design"] else None
        act = ""
        if options["remember"]:
            written, equals, shade = options["remember"].partition("=")
            if not equals:
                raise NotRemembered(_("Write COLOUR=SHADE, such as #000000=S199."))
            hex = colour_written(written) if written.strip() else ""
            answer = ColourAnswer(hex, one_shade(shade), design, options["block"])
            act = remember([answer], at=at, by=None)
        elif options["forget"] is not None:
            hex = colour_written(options["forget"]) if options["forget"].strip() else ""
            rows = [
                each
                for each in remembered_now()
                if (each.hex, each.design, each.block) == (hex, design, options["block"])
            ]
            if not rows:
                raise NotRemembered(
                    _("Nothing is remembered for {colour}.").format(colour=hex)
                    if hex
                    else _("Nothing is remembered for that block.")
                )
            act = forget([each.pk for each in rows], at=at)
        elif options["take_back"]:
            take_back(options["take_back"], at=at)
        elif options["file"]:
            answers, problems = answers_in_file(options["file"].read_bytes())
            for problem in problems:
                self.stderr.write(str(problem))
            if problems:
                sys.exit(1)
            act = remember(answers, at=at, by=None)
        if act:
            self.stderr.write(
                _("Done. To take it back: remembered_colours --take-back {act}").format(act=act)
            )
        self._list(options["format"])

    def _design(self, name: str) -> Design:
        found = Design.objects.filter(name=name)[:2]
        if len(found) != 1:
            told = _('Several designs are called "{name}".') if found else _('No design is called "{name}".')
            raise NotRemembered(told.format(name=name))
        return found[0]

    def _list(self, format: str) -> None:
        if format == "csv":
            self.stdout.write(remembered_as_csv(), ending="")
            return
        rows, could = remembered_now(), proposals()
        if format == "json":
            self.write_json(
                {
                    "remembered": [
                        {
                            "colour": each.hex or None,
                            "design": each.design.name if each.design else None,
                            "block": each.block,
                            "shade": shade_as_data(each.shade),
                        }
                        for each in rows
                    ],
                    "proposed": [
                        {"colour": each.hex, "times": each.times, "shade": shade_as_data(each.shade)}
                        for each in could
                    ],
                }
            )
            return
        for row in rows:
            self.stdout.write(f"{row.hex or _('no colour')}  {row.shade}  ({row.scope_in_words})")
        if not rows:
            self.stdout.write(_("No colour is remembered yet."))
        for each in could:
            self.stdout.write(
                _('chosen {times} times; to remember it: --remember "{hex}={range} {code}"').format(
                    times=each.times, hex=each.hex, range=each.shade.range, code=each.shade.code
                )
            )

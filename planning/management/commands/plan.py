"""Answer whether there is enough for a batch."""

import sys
from typing import Any, Literal

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand, day
from planning.library.designs import asked_from_file
from planning.models import Strictness
from planning.plan.ask import (
    Question,
    chosen_machine,
    each_in_its_own_hooping,
    plan,
    question_named,
    verdict_exit_code,
)
from planning.plan.data import plan_as_data
from planning.plan.terminal import print_plan
from planning.stitch_files.reading import read_design_file


def _copies(written: str) -> int | Literal["most"]:
    return "most" if written == "most" else int(written)


class Command(WorkshopCommand):
    help = N_(
        "Plan a batch from stitch files and the shelf, saving nothing. "
        "Exits 0 for enough, 3 for tight or short, 4 for unknown, 1 for an error."
    )
    example = 'plan crew-cap-badge.pes --pieces 24 --fabric "Woven twill" --copies most'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "files", nargs="+", metavar="FILE", help=_("Stitch files that each piece carries.")
        )
        parser.add_argument(
            "--pieces", type=int, required=True, metavar="N", help=_("How many pieces are ordered.")
        )
        parser.add_argument("--fabric", metavar="NAME")
        parser.add_argument("--machine", metavar="NAME")
        parser.add_argument("--hoop", metavar="NAME")
        parser.add_argument("--tests", type=int, metavar="N", help=_("Test pieces, if not as the rules say."))
        parser.add_argument(
            "--strictness",
            choices=Strictness.values,
            default=Strictness.PICTURE,
            help=_(
                "How near the colours must come: as in a picture, or as brand colours; the rules have the limits."
            ),
        )
        parser.add_argument(
            "--by",
            type=day,
            metavar="DAY",
            help=_("The day it is due; what is missing must be there before the work starts."),
        )
        parser.add_argument(
            "--copies",
            type=_copies,
            default=1,
            metavar="N|most",
            help=_(
                "Pieces stitched in one hooping: a number, or as many as a hoop holds. One, if not given."
            ),
        )
        parser.add_argument(
            "--pin",
            action="append",
            default=[],
            metavar="BLOCK=CODE",
            help=_(
                "The shade that the colour of this block is to have; DESIGN.BLOCK with several designs. Repeatable."
            ),
        )
        parser.add_argument(
            "--exclude",
            action="append",
            default=[],
            metavar="CODE",
            help=_("A shade that is not to be used. Repeatable."),
        )

    def handle(self, *args: Any, **options: Any) -> None:
        question = Question(
            pieces=options["pieces"],
            tests=options["tests"],
            needed_on=options["by"],
            pins=tuple(options["pin"]),
            exclude=tuple(options["exclude"]),
            copies=options["copies"],
            strictness=options["strictness"],
        )
        question = question_named(
            question, fabric=options["fabric"], machine=options["machine"], hoop=options["hoop"]
        )
        trim_at_jumps = (question.machine or chosen_machine(None)).trim_at_jumps
        designs = [
            asked_from_file(read_design_file(path, trim_at_jumps=trim_at_jumps)) for path in options["files"]
        ]
        answer = plan(each_in_its_own_hooping(designs), question)
        if options["format"] == "json":
            self.write_json(plan_as_data(answer))
        else:
            print_plan(self.console(), answer)
        sys.exit(verdict_exit_code(answer.verdict))

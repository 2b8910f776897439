"""Set up the demo workshop and answer its question."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.acting.days import plain_day
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from planning.plan.data import plan_as_data
from planning.plan.terminal import print_plan
from workshop.demo import LoadedDemo, load_demo, refuse_beside_other_stock
from workshop.demo.account import DemoSignIn, demo_sign_in
from workshop.demo.designs import keep_demo_designs, plan_demo_batch
from workshop.demo.week import lay_out_week

HERE = "127.0.0.1:8000"
NEXT_STEPS = (
    "python3 manage.py demo --serve",
    'python3 manage.py match "#2f6f9f"',
    'python3 manage.py plan fixtures/designs/harbour-pennant.vp3 --pieces 12 --fabric "Pennant felt"',
)


class Command(WorkshopCommand):
    help = N_(
        "Lay out the demo workshop Gull & Halyard and plan a batch with it; with --serve, show it in a browser. "
        "Running it again is safe. Exits 0 whatever the plan's verdict, 1 for an error."
    )
    example = "demo --serve"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--serve",
            nargs="?",
            const=HERE,
            metavar="ADDRESS:PORT",
            help=_("Then serve the pages, at {here} unless said otherwise.").format(here=HERE),
        )
        parser.add_argument(
            "--force", action="store_true", help=_("Load the demo even beside stock that is not its own.")
        )
        parser.add_argument(
            "--shelf-only",
            action="store_true",
            help=_("Lay out the shelf alone, without the week's jobs and orders."),
        )

    def handle(self, *args: Any, **options: Any) -> None:
        as_json = options["format"] == "json"
        if as_json and options["serve"]:
            raise CommandError(_("--serve answers in a browser; leave out --format json."))
        say = self._say_beside_the_answer if as_json else self.stdout.write
        say(_("The demo workshop Gull & Halyard: everything and everybody in it is invented."))
        call_command("migrate", verbosity=0, interactive=False)
        say(_("1. The database is ready: {database}").format(database=connection.settings_dict["NAME"]))
        if not options["force"]:
            refuse_beside_other_stock()
        at = timezone.now()
        demo = load_demo(at=at, by=None)
        for line in _laid_out(demo):
            say(line)
        batch = demo.batch
        designs = keep_demo_designs(at=at, machine=batch.machine)
        say(
            _("3. {count} designs are kept; the batch is for {design}.").format(
                count=len(designs), design=batch.design
            )
        )
        needed_on = timezone.localdate(at) + timedelta(days=batch.needed_in_days)
        answer = plan_demo_batch(batch, designs[batch.design], needed_on=needed_on)
        say(
            _("4. Is there enough for {pieces} {what}, due on {day}?").format(
                pieces=batch.pieces, what=batch.what, day=plain_day(needed_on)
            )
        )
        say(
            _("   On {fabric}, {machine}, {hoop}.").format(
                fabric=batch.fabric.lower(), machine=batch.machine.lower(), hoop=batch.hoop.lower()
            )
        )
        if as_json:
            self.write_json(plan_as_data(answer))
        else:
            self.stdout.write()
            print_plan(self.console(), answer)
            self.stdout.write()
        # The answer is of the shelf as it lies there; the week's jobs take of it.
        if not options["shelf_only"] and lay_out_week(designs, at=at):
            say(
                _(
                    "5. The week goes on: jobs in every state, orders, a stocktake half done. Today shows them."
                )
            )
        sign_in = demo_sign_in(settings.DATA_FOLDER)
        if options["serve"]:
            self._serve(options["serve"], sign_in)
        else:
            _say_how_to_go_on(say, sign_in)

    def _say_beside_the_answer(self, sentence: str) -> None:
        self.stderr.write(sentence, style_func=str)

    def _serve(self, address: str, sign_in: DemoSignIn | None) -> None:
        host, _colon, port = address.rpartition(":")
        everywhere = host in ("0", "0.0.0.0", "[::]")
        shown = f"{'localhost' if everywhere else host or '127.0.0.1'}:{port}"
        for line in (
            _("Open http://{shown}/ in a browser; Ctrl+C ends it.").format(shown=shown),
            *_sign_in_words(sign_in),
        ):
            self.stdout.write(line)
        if everywhere:
            self.stdout.write(_("Other devices reach it under the names in the variable ALLOWED_HOSTS only."))
        self.stdout.flush()  # who waits for the address at the end of a pipe reads it now
        call_command("runserver", address, use_reloader=False)


def _laid_out(demo: LoadedDemo) -> tuple[str, ...]:
    if not demo.is_new:
        return (_("2. Its stock was laid out before; what was done with it since stays."),)
    return (
        _("2. Laid out: {spools} spools, {part_used} of them part-used, and {bobbins} bobbins;").format(
            spools=demo.spools, part_used=demo.part_used, bobbins=demo.bobbins
        ),
        _("   {shades} shades of {ranges} ranges; {rolls} stabilizer rolls and {offcuts} offcuts.").format(
            shades=demo.shades, ranges=demo.ranges, rolls=demo.rolls, offcuts=demo.offcuts
        ),
    )


def _say_how_to_go_on(say: Callable[[str], object], sign_in: DemoSignIn | None) -> None:
    say(_("Go on:"))
    for step in NEXT_STEPS:
        say(f"  {step}")
    for line in _sign_in_words(sign_in):
        say(line)


def _sign_in_words(sign_in: DemoSignIn | None) -> tuple[str, ...]:
    if sign_in is None:
        return (_("Sign in with your own account."),)
    return (
        _("Sign in as {name} with the password {password}").format(
            name=sign_in.name, password=sign_in.password
        ),
        _("(kept in {path}).").format(path=sign_in.path),
    )

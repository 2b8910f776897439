"""Put right what a spool is: another shade, another put-up."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.management.acts import ActCommand
from inventory.models import PutUp
from inventory.shelf.corrections import correct_spool, shade_meant
from inventory.shelf.labelled import item_labelled


class Command(ActCommand):
    help = N_("Make the spool that carries the label LABEL one of SHADE: it was entered as something else.")
    example = 'correct_spool S0042 R170 --why "read the label of its neighbour"'

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("label", metavar="LABEL")
        parser.add_argument("shade", metavar="SHADE", help=_("Its code, or maker, range and code in quotes."))
        parser.add_argument("--put-up", default="", metavar="NAME", help=_("Left out: nobody knows."))
        parser.add_argument("--why", default="", metavar="TEXT")

    def handle(self, *args: Any, **options: Any) -> None:
        shade = shade_meant(options["shade"])
        put_up = None
        if options["put_up"]:
            put_up = PutUp.objects.filter(range=shade.range, name__iexact=options["put_up"]).first()
            if put_up is None:
                raise WorkshopError(
                    _('{range} has no put-up called "{name}".').format(
                        range=shade.range, name=options["put_up"]
                    )
                )
        done = correct_spool(
            item_labelled(options["label"]),
            shade=shade,
            put_up=put_up,
            why=options["why"],
            key=self.key_of(options),
            at=timezone.now(),
            by=None,
        )
        if done.holders:
            self.stderr.write(
                _("Set aside for {names}: look at those plans anew.").format(names=", ".join(done.holders))
            )
        self.answer(self.key_of(options), options)

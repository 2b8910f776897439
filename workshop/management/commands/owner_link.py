"""Print a new link that makes the owner of a workshop that nobody opened yet."""

from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from workshop.people.members import opening_link


class Command(WorkshopCommand):
    help = N_(
        "Print a link, good for one day and one use, that makes the owner of a workshop nobody opened yet."
    )
    example = "owner_link"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--at", default="http://127.0.0.1:8000", help=_("the address people reach the site at")
        )

    def handle(self, *args: Any, at: str, **options: Any) -> None:
        secret = opening_link(at=timezone.now())
        if secret is None:
            raise CommandError(
                _("This workshop has an owner already; owners invite others under Settings, People.")
            )
        self.stdout.write(
            _("Open the workshop once with: {address}").format(
                address=at.rstrip("/") + reverse("open_workshop", args=[secret])
            )
        )

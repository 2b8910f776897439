"""Let somebody who lost app, passkey and recovery codes sign in with the password alone."""

from typing import Any

from django.contrib.auth.models import User
from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from workshop.people.second import has_second, take_second_away


class Command(WorkshopCommand):
    help = N_("Take the second factor of the person called NAME away: app, passkeys and recovery codes.")
    example = "reset_second marla"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("name", metavar="NAME")

    def handle(self, *args: Any, name: str, **options: Any) -> None:
        user = User.objects.filter(username=name).first()
        if user is None:
            raise WorkshopError(_("There is nobody called {name}.").format(name=name))
        if not has_second(user):
            raise WorkshopError(_("{name} has no second factor.").format(name=name))
        take_second_away(user)
        self.stdout.write(
            _("{name} signs in with the password alone until they set another one up.").format(name=name)
        )

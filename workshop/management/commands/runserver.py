"""The development server, which prints how to open a workshop that nobody opened yet."""

from typing import Any

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from whitenoise.runserver_nostatic.management.commands.runserver import Command as RunServer

from workshop.people.members import opening_link


class Command(RunServer):
    def inner_run(self, *args: Any, **options: Any) -> None:
        secret = opening_link(at=timezone.now())
        if secret:
            address = f"[{self.addr}]" if self._raw_ipv6 else self.addr
            path = reverse("open_workshop", args=[secret])
            self.stdout.write(
                _("Open the workshop once with: {address}").format(
                    address=f"http://{address}:{self.port}{path}"
                )
            )
        super().inner_run(*args, **options)

"""Bring the database up to this version; first put its record of migrations right, where it needs that."""

from typing import Any

from django.core.management.commands.migrate import Command as DjangosMigrate
from django.db import connections

from workshop.upgrading.history import put_history_right


class Command(DjangosMigrate):
    def handle(self, *args: Any, **options: Any) -> None:
        only_looks = options["plan"] or options["check_unapplied"]
        if not only_looks and not options["fake"]:
            found = put_history_right(connections[options["database"]])
            if found and options["verbosity"] > 0:
                self.stdout.write(
                    "This database was made by an earlier state of the house; it is brought up to date:"
                )
                for sentence in found:
                    self.stdout.write(f"  {sentence}")
        super().handle(*args, **options)

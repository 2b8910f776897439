"""Move the workshop between SQLite and PostgreSQL."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_, figure
from inventory.management.base import WorkshopCommand
from workshop.backup.moving import move_database


class Command(WorkshopCommand):
    help = N_(
        "Copy everything into the empty database at URL (postgres://PERSON@SERVER/NAME or sqlite:////PATH) and compare "
        "it row by row. Stop the site first. This database is not changed. Exits 1 if nothing was moved."
    )
    example = "move_database postgres://gull@localhost/workshop"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("url", metavar="URL")

    def handle(self, *args: Any, **options: Any) -> None:
        moved = move_database(options["url"])
        if options["format"] == "json":
            self.write_json({"rows": moved.rows})
            return
        self.stdout.write(
            _(
                "{rows} rows are there, and all of them are equal. From now on start the site with\n"
                "DATABASE_URL={url}"
            ).format(rows=figure(moved.rows), url=moved.url)
        )

"""Look at everything that has to be right."""

from typing import Any

from django.core.management.base import CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.management.base import WorkshopCommand
from workshop.doctor.examine import examine

# What each part of the examination is called.
AREAS = {
    "database": N_("database"),
    "stock": N_("stock"),
    "files": N_("files"),
    "surroundings": N_("surroundings"),
}


class Command(WorkshopCommand):
    help = N_(
        "Look at the database, the stock, the files and what they stand on, and say what is wrong and what mends it. "
        "Exits 0 if all is sound, 1 if there is something to mend; advice alone is no fault."
    )
    requires_migrations_checks = False
    requires_system_checks: list[str] = []
    example = "doctor --mend"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument(
            "--mend", action="store_true", help=_("Mend what is safe to mend without a look.")
        )

        parser.add_argument(
            "--all",
            action="store_true",
            help=_("Read every kept file, where those of a bucket are read by chance."),
        )

    def handle(self, *args: Any, **options: Any) -> None:
        examined = examine(at=timezone.now(), mend=options["mend"], every_file=options["all"])
        if options["format"] == "json":
            self.write_json(
                {
                    "sound": not examined.to_mend,
                    "findings": [
                        {"area": each.area, "what": each.what, "mend": each.mend, "advice": each.advice}
                        for each in examined.findings
                    ],
                    "mended": [each.what for each in examined.mended],
                }
            )
        else:
            for each in examined.mended:
                self.stdout.write(_("Mended: {what}").format(what=each.what))
            for each in examined.findings:
                said = _("Advice ({area}): {finding}") if each.advice else _("To mend ({area}): {finding}")
                self.stdout.write(said.format(area=_(AREAS.get(each.area, each.area)), finding=each))
            if not examined.to_mend:
                self.stdout.write(_("All is sound."))
        if examined.to_mend:
            raise SystemExit(1)

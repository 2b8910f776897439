"""Bring the database up to this version; first put its record of migrations right, where it needs that."""

from typing import Any

from django.core.management.commands.migrate import Command as DjangosMigrate
from django.db import DEFAULT_DB_ALIAS, connections
from django.utils import timezone
from django.utils.translation import gettext as _

from workshop.upgrading.history import put_history_right
from workshop.upgrading.keeping import keep_before_update


class Command(DjangosMigrate):
    def handle(self, *args: Any, **options: Any) -> None:
        only_looks = options["plan"] or options["check_unapplied"]
        if not only_looks and not options["fake"]:
            self._prepare(options["database"], says=options["verbosity"] > 0)
        super().handle(*args, **options)

    def _prepare(self, alias: str, *, says: bool) -> None:
        lines: list[str] = []
        if alias == DEFAULT_DB_ALIAS:
            kept = keep_before_update(connections[alias], at=timezone.now())
            lines += [_("The database as it was is kept in {kept}").format(kept=kept)] if kept else []
        found = put_history_right(connections[alias])
        if found:
            lines.append(
                _("This database was made by an earlier state of the house; it is brought up to date:")
            )
            lines += [f"  {sentence}" for sentence in found]
        for line in lines if says else ():
            self.stdout.write(line)

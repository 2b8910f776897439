"""Put everything back as a backup has it, or lay it out beside for a look."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.acting.days import told_moment
from inventory.compute.spoken import N_, figure
from inventory.management.base import WorkshopCommand
from workshop.backup.archive import Manifest, manifest_in
from workshop.backup.restoring import restore, restore_beside
from workshop.backup.wholeness import not_whole_in_words


class Command(WorkshopCommand):
    help = N_(
        "Restore a backup. All of it is looked at before anything is touched, and what is there now is backed up "
        "first. With --beside, lay it out in another folder for a look. Exits 1 if nothing was restored."
    )
    example = "restore backup.zip --beside /tmp/a-look"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--yes", action="store_true", help=_("Do not ask."))
        parser.add_argument(
            "--beside", type=Path, metavar="FOLDER", help=_("Lay it out here; change nothing else.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        path = options["file"]
        if options["beside"]:
            manifest = restore_beside(path, into=options["beside"])
            self._tell(
                {
                    "made_at": manifest.made_at.isoformat(),
                    "files": manifest.files,
                    "folder": str(options["beside"]),
                },
                _(
                    "The backup of {made_at} lies in {folder}. To look at it:\n"
                    "FILES_URL= ENOUGH_THREAD_DATA={folder} python3 manage.py runserver 127.0.0.1:8001"
                ).format(made_at=_moment(manifest), folder=options["beside"]),
                options["format"],
            )
            return
        manifest = manifest_in(path)
        if not options["yes"]:
            self.stderr.write(
                _(
                    "This puts the workshop back to {made_at}. What was done since is gone "
                    "from it, but kept in a backup of its own."
                ).format(made_at=_moment(manifest))
            )
            if input(_("Restore it? Type yes: ")).strip().lower() not in ("yes", _("yes")):
                raise CommandError(_("Nothing was restored."))
        done = restore(path, at=timezone.now())
        self._tell(
            {
                "made_at": done.manifest.made_at.isoformat(),
                "files_put_back": done.files_put_back,
                "before": str(done.before) if done.before else None,
                "damaged": done.manifest.damaged,
                "missing": done.manifest.missing,
            },
            (
                ngettext(
                    "The workshop is as it was on {made_at}; {count} file was put back. "
                    "What was there before: {before}",
                    "The workshop is as it was on {made_at}; {count} files were put back. "
                    "What was there before: {before}",
                    done.files_put_back,
                )
                if done.before
                else ngettext(
                    "The workshop is as it was on {made_at}; {count} file was put back.",
                    "The workshop is as it was on {made_at}; {count} files were put back.",
                    done.files_put_back,
                )
            ).format(made_at=_moment(done.manifest), count=figure(done.files_put_back), before=done.before),
            options["format"],
        )
        if options["format"] != "json":
            for each in not_whole_in_words(done.manifest):
                self.stderr.write(_("In the backup: {each}").format(each=each))

    def _tell(self, data: dict[str, Any], words: str, how: str) -> None:
        if how == "json":
            self.write_json(data)
        else:
            self.stdout.write(words)


def _moment(manifest: Manifest) -> str:
    return told_moment(manifest.made_at)

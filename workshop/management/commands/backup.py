"""Back up everything into one file, while the site runs."""

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.spoken import N_, figure
from inventory.management.base import WorkshopCommand
from workshop.backup.archive import manifest_in
from workshop.backup.making import back_up, back_up_into
from workshop.backup.wholeness import MENDED_BY, not_whole_in_words


class Command(WorkshopCommand):
    help = N_(
        "Back up the database and the stitch files into one file, which is opened again to be sure. The site may "
        "run. It holds everything, passwords' hashes too: keep it as you keep a key. Files "
        "that are damaged or missing are named. Exits 1 if nothing was made."
    )
    example = "backup --into /backups --keep 7"

    def add_arguments(self, parser: CommandParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("file", nargs="?", type=Path, metavar="FILE", help=_("The new file."))
        parser.add_argument(
            "--into",
            type=Path,
            metavar="FOLDER",
            help=_("Instead: under a name with its time, in this folder."),
        )
        parser.add_argument(
            "--keep", type=int, metavar="N", help=_("With --into: then delete all but the newest N there.")
        )
        parser.add_argument(
            "--pictures", action="store_true", help=_("Pictures too, which can be drawn again.")
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if (options["file"] is None) == (options["into"] is None):
            raise CommandError(_("Name a FILE, or a folder with --into."), returncode=2)
        if options["keep"] is not None and (options["into"] is None or options["keep"] < 1):
            raise CommandError(_("--keep goes with --into, and keeps at least 1."), returncode=2)
        at = timezone.now()
        if options["into"]:
            path = back_up_into(options["into"], at=at, keep=options["keep"], pictures=options["pictures"])
        else:
            path = options["file"]
            back_up(path, at=at, pictures=options["pictures"])
        manifest = manifest_in(path)
        size = path.stat().st_size
        if options["format"] == "json":
            self.write_json(
                {
                    "file": str(path),
                    "bytes": size,
                    "files": manifest.files,
                    "made_at": at.isoformat(),
                    "damaged": manifest.damaged,
                    "missing": manifest.missing,
                }
            )
            return
        self.stdout.write(
            ngettext(
                "{path}: {size} MB, the database and {files} file. It opens.",
                "{path}: {size} MB, the database and {files} files. It opens.",
                manifest.files,
            ).format(path=path, size=figure(size / 1e6, 1), files=figure(manifest.files))
        )
        for each in not_whole_in_words(manifest):
            self.stderr.write(self.style.WARNING(each))
        if manifest.damaged or manifest.missing:
            self.stderr.write(_("All else is in the backup. {mended_by}").format(mended_by=_(MENDED_BY)))

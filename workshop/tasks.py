"""What the site carries out beside requests: backups, and messages to people."""

from pathlib import Path

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _

from inventory.compute.spoken import figure
from inventory.work import Carrying, long_work
from workshop.backup.making import back_up_into, backup_name
from workshop.middleware import language_of
from workshop.people.by_mail import send_reset_links

KEEP = 14


@long_work
def make_backup(work: Carrying, pictures: bool) -> str:
    """Make a backup in the folder of backups, under the time at which it was asked for."""
    work.progress(0, 0)  # it may have been stopped while it waited
    folder = Path(settings.BACKUP_FOLDER)
    path = folder / backup_name(work.asked_at, why="by-hand")
    with translation.override(language_of(work.by)):  # of whoever reads what comes of it
        return _make_backup(work, folder, path, pictures=pictures)


def _make_backup(work: Carrying, folder: Path, path: Path, *, pictures: bool) -> str:
    if not path.is_file():  # a process may have died between its last step and saying so
        back_up_into(
            folder, at=work.asked_at, keep=KEEP, pictures=pictures, why="by-hand", progress=work.progress
        )
    return _("The backup is made and opens: {size} MB. Download it, and keep it elsewhere.").format(
        size=figure(path.stat().st_size / 1e6, 1)
    )


@long_work
def mail_reset_links(work: Carrying, address: str) -> str:
    """Send a link to a new password to whoever gave this address.

    Whoever asked is told nothing of this. Sent twice, because a process died in between, the later link is the one
    that works.
    """
    work.progress(0, 0)
    send_reset_links(address, at=work.asked_at)
    return _("Answered.")

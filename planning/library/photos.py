"""Photographs of stitch-outs: made smaller where strangers' files are read, and kept by content."""

import hashlib
import subprocess
import sys

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.kept_files import KeptFile, keep_file, read_kept
from inventory.processes.children import PACKAGE_ROOT, child_environment

MOST_BYTES = 20 * 1024 * 1024
WALL_SECONDS = 30.0


class NotAPhotograph(WorkshopError):
    """The file that was sent is no picture that can be kept."""


def keep_photo(content: bytes) -> str:
    """Return the SHA-256 under which the picture in ``content`` is kept, as a JPEG without what else it told.

    Raises NotAPhotograph.
    """
    if len(content) > MOST_BYTES:
        raise NotAPhotograph(_("The photograph is larger than 20 MiB. Send a smaller one."))
    try:
        child = subprocess.run(
            [sys.executable, "-m", "planning.library.photo_child"],
            input=content,
            capture_output=True,
            timeout=WALL_SECONDS,
            cwd=PACKAGE_ROOT,
            env=child_environment(),
        )
    except subprocess.TimeoutExpired:
        raise NotAPhotograph(_("The photograph takes too long to read. Send another one.")) from None
    if child.returncode or not child.stdout:
        raise NotAPhotograph(_("The photograph cannot be read. Send it as JPEG, PNG or WebP."))
    sha256 = hashlib.sha256(child.stdout).hexdigest()
    keep_file(photo_file(sha256), child.stdout)
    return sha256


def photo_file(sha256: str) -> KeptFile:
    """Return where a photograph lies in the store."""
    return KeptFile(f"stitch-outs/{sha256[:2]}/{sha256}.jpg", sha256, "the photograph")


def photo_bytes(sha256: str) -> bytes:
    """Return a kept photograph. Raises FileNotKept and DamagedFile."""
    return read_kept(photo_file(sha256))

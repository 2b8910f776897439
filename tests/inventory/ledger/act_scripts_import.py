"""Programs that tests start on their own and stop at any moment: an import in one transaction."""

from pathlib import Path

_SCRIPT = """
import os, sys
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, {house!r})
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
import django

django.setup()
from inventory.files.importing import apply_import


def progress(done, total):
    print(done, total, flush=True)
    if done > total // 2:
        sys.stdin.readline()


content = Path({file!r}).read_bytes()
landed = apply_import(content, kind={kind!r}, at=datetime(2026, 3, 2, 9, 30, tzinfo=UTC), by=None, progress=progress)
print("landed", landed.in_words, flush=True)
"""


def import_script(file: Path, *, kind: str = "spools") -> str:
    """Return a Python program that imports ``file`` in one transaction.

    It uses the database that its environment names, prints ``done total`` after each step (the rows are landing
    once ``done`` is above half of ``total``), waits there for a line from its standard input or that input's end, and
    prints last a line that begins with ``landed``.
    """
    return _SCRIPT.format(house=str(Path(__file__).resolve().parents[3]), file=str(file), kind=kind)

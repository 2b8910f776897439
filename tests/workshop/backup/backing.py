"""Make one backup after the other, from when the first entry of somebody at work is there.

Run as ``python -m tests.workshop.backup.backing FILE…`` beside processes that act.
"""

import sys
import time
from pathlib import Path

import django

django.setup()

from django.utils import timezone  # noqa: E402  the rest needs Django to be set up

from inventory.models import Entry  # noqa: E402
from workshop.backup.making import back_up  # noqa: E402


def main() -> None:
    print("ready", flush=True)
    while not Entry.objects.filter(key__startswith="hand-").exists():
        time.sleep(0.01)
    for path in sys.argv[1:]:
        back_up(Path(path), at=timezone.now())


if __name__ == "__main__":
    main()

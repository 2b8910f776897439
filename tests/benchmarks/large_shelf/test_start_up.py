"""What starts without being asked for: heavy libraries are imported where they are used, and not before."""

import subprocess
import sys

from tests.own_database import HOUSE

HEAVY = ("scipy", "networkx")
IMPORTED = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "workshop.settings"
import django
django.setup()
from importlib import import_module
from django.core.management import get_commands
import_module("workshop.urls")
for name, app in get_commands().items():
    if isinstance(app, str) and app.split(".")[0] in ("inventory", "planning", "workshop"):
        import_module(f"{app}.management.commands.{name}")
print(" ".join(each for each in HEAVY if each in sys.modules))
"""


def test_the_pages_and_commands_import_no_solver_and_no_graphs(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("ENOUGH_THREAD_DATA", str(tmp_path))
    program = f"HEAVY = {HEAVY!r}\n{IMPORTED}"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=HOUSE, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []

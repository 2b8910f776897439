"""What starts without being asked for: heavy libraries are imported where they are used, and not before."""

import os
import subprocess
import sys
from functools import partial

import pytest

from tests.benchmarks.processor import yardsticks
from tests.own_database import HOUSE, run_in

HEAVY = ("scipy", "highspy", "networkx", "fpdf", "openpyxl")
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


def test_the_pages_and_commands_import_no_solver_no_graphs_and_no_printer(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("ENOUGH_THREAD_DATA", str(tmp_path))
    program = f"HEAVY = {HEAVY!r}\n{IMPORTED}"
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=HOUSE, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []


# What each command may take of the processor, in seconds of a core of today: 17 yardsticks are one.
ALLOWED_S = {
    "help": 0.5,
    "check_ledger": 0.9,
    "match #c41e3a": 0.9,
    "use S0003 1": 0.9,
    "weigh S0003 30": 0.9,
}
YARDSTICKS_A_SECOND = 17
EAGERLY = (
    "import sys, scipy.optimize, scipy.special, highspy, networkx; import manage; sys.exit(manage.main())"
)


@pytest.mark.benchmark
def test_commands_start_fast(tmp_path, capsys: pytest.CaptureFixture[str]) -> None:
    environment = {
        **os.environ,
        "ENOUGH_THREAD_DATA": str(tmp_path),
        "DJANGO_SETTINGS_MODULE": "workshop.settings",
    }
    environment.pop("DATABASE_URL", None)
    run_in(environment, "manage.py", "demo")
    lines, over = [], []
    for command, allowed_s in ALLOWED_S.items():
        words = command.split(" ")
        run_in(environment, "manage.py", *words)  # compiles what was never compiled
        now = min(yardsticks(partial(run_in, environment, "manage.py", *words)) for _ in range(3))
        eager = yardsticks(partial(run_in, environment, "-c", EAGERLY, *words))
        seconds, eager_s = now / YARDSTICKS_A_SECOND, eager / YARDSTICKS_A_SECOND
        lines.append(
            f"{command:16} {seconds:5.2f} s, solvers imported first {eager_s:5.2f} s (allowed {allowed_s:g})"
        )
        over += [command] if now > allowed_s * YARDSTICKS_A_SECOND else []
    with capsys.disabled():
        print("\n" + "\n".join(lines))
    assert over == []

"""What the help shows weighs a spool: its ten lines of shell, and the example for scales."""

import html
import os
import re
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from django.test import Client

from fixtures.scale import ScaleShows, read_line, steady
from inventory.models import Entry, Spool
from tests.factories import a_shade, a_spool
from tests.own_database import HOUSE
from tests.workshop.api.conftest import a_member, a_program
from workshop.models import Role
from workshop.people.rights import Right

SCALE = [sys.executable, str(HOUSE / "fixtures" / "scale.py")]


@pytest.fixture
def secret(transactional_db: None) -> str:
    a_spool(a_shade("R"))
    return a_program(a_member("sam", Role.STITCHER), Right.STITCH).secret


def length_mm() -> int:
    return Spool.objects.get().on_hand


def test_the_ten_lines_of_the_help_weigh_a_spool_and_sent_again_move_nothing(
    live_server, secret: str
) -> None:
    assert shutil.which("curl"), "The test of what the help shows needs curl."
    page = Client().get("/help/api/", headers={"Host": live_server.url.removeprefix("http://")})
    shown = html.unescape(
        re.search(r"<pre class=\"wraps\"><code>(.*?)</code></pre>", page.content.decode(), re.DOTALL)[1]
    )
    assert len(shown.splitlines()) == 10
    script = re.sub(r"TOKEN=thread_….*", f"TOKEN={secret}", shown).replace(
        "KEY=$(date +%s)-$$-$LABEL", "KEY=one"
    )
    script = script.replace("LABEL=S0001", f"LABEL={Spool.objects.get().label}").replace("52400", "30000")
    for _ in range(2):
        done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=False, timeout=60)
        assert done.returncode == 0, done.stdout + done.stderr
        assert '"known":"weighed"' in done.stdout
    assert length_mm() == round((30_000 - 12_000) / 27 * 1000)
    assert Entry.objects.filter(reason="weigh").count() == 1


def test_a_scale_that_types_weighs_one_spool_after_another(live_server, secret: str) -> None:
    label = Spool.objects.get().label
    done = subprocess.run(
        [*SCALE, "--keyboard", "--at", live_server.url], input=f"{label}\n30.0 g\n{label.lower()}\n28.50 g\n",
        env=os.environ | {"THREAD_TOKEN": secret}, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.splitlines()) == 2
    assert length_mm() == round(16_500 / 27 * 1000)


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="There are no pseudo-terminals here.")
def test_a_scale_on_a_serial_line_is_waited_for_until_it_is_steady(live_server, secret: str) -> None:
    ours, theirs = os.openpty()
    lines = "US,GS,+ 31.0 g\r\nST,GS,+ 30.9 g\r\n" + "ST,GS,+ 30.0 g\r\n" * 3
    threading.Timer(1.0, lambda: os.write(ours, lines.encode())).start()
    done = subprocess.run(
        [*SCALE, Spool.objects.get().label, "--port", os.ttyname(theirs), "--at", live_server.url],
        env=os.environ | {"THREAD_TOKEN": secret}, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert length_mm() == round(18_000 / 27 * 1000)


def test_a_refusal_is_told_in_the_workshops_words(live_server, secret: str) -> None:
    done = subprocess.run(
        [*SCALE, "--keyboard", "--at", live_server.url], input="S9999\n30.0 g\n",
        env=os.environ | {"THREAD_TOKEN": secret}, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 1
    assert "No item carries the label" in done.stderr


def test_lines_of_scales_are_read_with_their_step() -> None:
    assert read_line("ST,GS,+   52.40 g") == ScaleShows(52_400, 10)
    assert read_line("   52 g") == ScaleShows(52_000, 1000)
    assert read_line("US,NT,   52.4 g") is None
    assert read_line("S0042") is None
    with pytest.raises(EOFError):
        steady(["1 g", "1 g", "2 g"])


def test_the_example_runs_with_python_alone() -> None:
    source = Path(SCALE[1]).read_text()
    imported = set(re.findall(r"^\s*(?:import|from) (\w+)", source, re.MULTILINE)) - {"serial"}
    assert imported <= sys.stdlib_module_names

"""A small workshop: one machine with bobbins, one hoop, one fabric, and a stitch file of three colours."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pyembroidery
import pytest
from django.contrib.auth.models import User
from django.test import Client

from planning.models import Fabric, Hoop, Layer, Machine
from tests.factories import a_bobbin_style

Colour = tuple[str, float]


@pytest.fixture(autouse=True)
def own_files(settings: Any, tmp_path: Path) -> None:
    """Keep the stitch files of every test to itself."""
    settings.MEDIA_ROOT = tmp_path / "files"


@pytest.fixture
def signed_in(client: Client, person: User) -> Client:
    """Return a client of a person who is signed in."""
    client.force_login(person)
    return client


@pytest.fixture
def stitch_file(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes a stitch file of one 200-stitch block for each colour."""

    def write(*colours: str, name: str = "badge.pes", stitches: int = 200) -> Path:
        pattern = pyembroidery.EmbPattern()
        for number, colour in enumerate(colours):
            if number:
                pattern.color_change()
            pattern.add_thread({"hex": colour, "name": f"colour {number + 1}"})
            for step in range(stitches):
                pattern.stitch_abs(20 * (step % 20), 20 * number + 30 * (step // 20))
            pattern.trim()
        pattern.end()
        path = tmp_path / name
        pyembroidery.write(pattern, str(path), {"pes version": 6} if name.endswith("pes") else None)
        return path

    return write


@pytest.fixture
def workshop(db: None) -> Machine:
    """Return the machine of a workshop with a hoop and a fabric called twill that wants one tear-away layer."""
    hoop = Hoop.objects.create(
        name="medium", field_width_mm=130, field_height_mm=180, ring_width_mm=150, ring_height_mm=200
    )
    machine = Machine.objects.create(name="one needle", needles=1, bobbin_style=a_bobbin_style())
    machine.hoops.add(hoop)
    twill = Fabric.objects.create(name="twill", thickness_mm=0.6)
    Layer.objects.create(fabric=twill, kind="tear-away", count=1)
    return machine

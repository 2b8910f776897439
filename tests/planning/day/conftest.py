"""A workshop whose only red thread does for one job and not for two."""

from collections.abc import Callable
from typing import Any

import pytest

from planning.library.designs import keep_design
from planning.models import Design, Machine
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins

RED = "#b01c2e"


@pytest.fixture
def design(stitch_file: Callable[..., Any], workshop: Machine) -> Design:
    """A design of which the only red spool does for one job and not for two."""
    a_spool(a_shade("R", hex=RED, name="ox red"), left_m=60)
    some_bobbins(count=40)
    a_roll()
    path = stitch_file(RED, name="flag.pes", stitches=800)
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

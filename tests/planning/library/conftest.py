"""What the tests of the library share."""

import pytest

from planning.library.designs import keep_design
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW


@pytest.fixture
def keep(stitch_file):
    """Return a function that keeps a design of these colours; a different name makes a different drawing."""

    def _keep(*colours, name, stitches=200):
        path = stitch_file(*colours, name=name, stitches=stitches)
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

    return _keep


@pytest.fixture
def keep_bytes(tmp_path):
    def _keep(content, name):
        path = tmp_path / name
        path.write_bytes(content)
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

    return _keep

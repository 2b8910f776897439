"""The demo's stitch files are what the script draws, and what it draws is sewn as embroidery is sewn."""

import doctest
import io
import math
from functools import cache
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import pyembroidery
import pytest

from fixtures.drawing import fill, lettering, satin, shapes
from fixtures.drawing.design import Act, Design, file_bytes, measure, steps
from fixtures.drawing.shapes import Area, Line, area, box, circle, inside, length_mm
from fixtures.make_designs import DESIGNS, designs, files, problems

NAMES = sorted(path.name for path in DESIGNS.iterdir())
EVERY_FILE = pytest.mark.parametrize("name", NAMES)
EVERY_DESIGN = pytest.mark.parametrize("name", sorted({name.rpartition(".")[0] for name in NAMES}))


@cache
def drawn() -> dict[str, Design]:
    """Return the designs by name, drawn when the first is asked for: to collect these tests must not take seconds."""
    return {design.name: design for design in designs()}


@pytest.fixture
def design(name: str) -> Design:
    return drawn()[name.partition(".")[0]]


@pytest.fixture
def file_format(name: str) -> str:
    return name.rpartition(".")[2]


def _read(content: bytes, *, file_format: str) -> pyembroidery.EmbPattern:
    reader = next(
        row["reader"]
        for row in pyembroidery.EmbPattern.supported_formats()
        if row["extension"] == file_format
    )
    settings = {"clipping": False, "trim_distance": None}
    return pyembroidery.EmbPattern.read_embroidery(reader, io.BytesIO(content), settings)


def _stitches(pattern: pyembroidery.EmbPattern) -> list[tuple[int, int]]:
    """Return the penetrations, one for those that follow in the same place."""
    found = [(round(x), round(y)) for x, y, act in pattern.stitches if act & 0xFF == pyembroidery.STITCH]
    return [p for i, p in enumerate(found) if i == 0 or p != found[i - 1]]


def _threads(pattern: pyembroidery.EmbPattern) -> list[tuple[int, str | None, str | None]]:
    return [(thread.color, thread.description, thread.catalog_number) for thread in pattern.threadlist]


def _stitch_lengths_mm(design: Design) -> list[float]:
    walked = steps(design)
    return [
        math.dist(a[1:], b[1:]) / 10 for a, b in pairwise(walked) if a[0] is Act.STITCH and b[0] is Act.STITCH
    ]


@EVERY_FILE
def test_drawing_again_gives_the_stitches_of_the_file_that_is_kept(design: Design, file_format: str) -> None:
    kept = _read((DESIGNS / f"{design.name}.{file_format}").read_bytes(), file_format=file_format)
    again = _read(file_bytes(design, file_format=file_format), file_format=file_format)
    assert again.stitches == kept.stitches
    assert _threads(again) == _threads(kept)


@EVERY_FILE
def test_a_file_holds_the_penetrations_that_were_drawn(design: Design, file_format: str) -> None:
    wanted = [(x, y) for act, x, y in steps(design) if act is Act.STITCH]
    found = _stitches(_read((DESIGNS / f"{design.name}.{file_format}").read_bytes(), file_format=file_format))
    # One format keeps where a block starts as whole units from a centre that may lie between two units.
    near = 1.5 if file_format == "vp3" else 0.0
    assert len(found) == len(wanted)
    assert max(math.dist(a, b) for a, b in zip(found, wanted, strict=True)) <= near


@EVERY_FILE
def test_a_file_names_neither_its_writer_nor_the_day(design: Design, file_format: str) -> None:
    content = (DESIGNS / f"{design.name}.{file_format}").read_bytes().replace(b"\0", b"").lower()
    assert b"software" not in content
    assert b"produced" not in content
    assert b"embroidery" not in content
    if file_format == "jef":
        assert b"20240101120000" in content


@EVERY_DESIGN
def test_each_design_has_the_size_and_the_path_of_a_real_one(design: Design) -> None:
    found = measure(design)
    assert 2_000 <= found.stitches <= 30_000
    # 31 public real designs draw 1.9 to 3.5 m per 1,000 stitches.
    assert 1.9 <= found.drawn_m_per_1000 <= 3.5
    assert found.width_mm <= 180
    assert found.height_mm <= 180


@EVERY_DESIGN
def test_no_stitch_is_too_long_to_wear_or_too_short_to_sew(design: Design) -> None:
    lengths = _stitch_lengths_mm(design)
    assert max(lengths) <= 9.0
    assert min(lengths) >= 0.3


def test_the_badge_is_there_in_every_format_and_the_set_in_six_at_least() -> None:
    badge = {path.suffix for path in DESIGNS.glob("crew-cap-badge.*")}
    assert badge == {".pes", ".dst", ".exp", ".jef", ".vp3", ".xxx", ".pec", ".u01", ".tbf"}
    assert len({design.formats[0] for design in drawn().values()}) >= 6
    assert sorted(f"{each.name}.{kind}" for each in drawn().values() for kind in each.formats) == NAMES
    assert sum(path.stat().st_size for path in DESIGNS.iterdir()) < 3_000_000


def test_the_lifebuoy_stops_to_lay_the_cloth_and_to_cut_it_before_any_change_of_thread() -> None:
    pattern = _read((DESIGNS / "lifebuoy-patch.tbf").read_bytes(), file_format="tbf")
    acts = [act & 0xFF for _, _, act in pattern.stitches]
    wanted = (pyembroidery.STOP, pyembroidery.NEEDLE_SET)
    assert [act for act in acts if act in wanted][:4] == [
        pyembroidery.NEEDLE_SET, pyembroidery.STOP, pyembroidery.STOP, pyembroidery.NEEDLE_SET
    ]  # fmt: skip


def test_the_signal_flags_have_neighbours_of_one_colour() -> None:
    pattern = _read((DESIGNS / "signal-flags.xxx").read_bytes(), file_format="xxx")
    colours = [thread.color for thread in pattern.threadlist]
    assert len(colours) == 16
    assert sum(a == b for a, b in pairwise(colours)) == 3


def test_the_lighthouse_has_eight_colours_or_more_with_names_and_codes() -> None:
    pattern = _read((DESIGNS / "lighthouse.pes").read_bytes(), file_format="pes")
    assert len({thread.color for thread in pattern.threadlist}) >= 8
    assert {"Harbour Blue", "Signal Red"} <= {thread.description for thread in pattern.threadlist}
    assert {"B140", "R170"} <= {thread.catalog_number for thread in pattern.threadlist}


def test_a_missing_a_changed_and_a_strange_file_are_each_named(tmp_path: Path) -> None:
    three = [drawn()[name] for name in ("name-tag", "rope-border", "signal-flags")]
    for name, content in files(three):
        (tmp_path / name).write_bytes(content)
    assert problems(three, folder=tmp_path) == []
    (tmp_path / "name-tag.exp").unlink()
    (tmp_path / "rope-border.dst").write_bytes(b"LA:")
    (tmp_path / "stranger.pes").write_bytes(b"#PES")
    assert problems(three, folder=tmp_path) == [
        "name-tag.exp: is missing",
        "rope-border.dst: differs from what is drawn",
        "stranger.pes: belongs to no design",
    ]


CROSS = area(shapes.points("20,0 30,0 30,20 50,20 50,30 30,30 30,50 20,50 20,30 0,30 0,20 20,20"))
RING = area(circle((0, 0), radius_mm=30), circle((0, 0), radius_mm=18))
CUT = area(box(0, 0, 40, 30), without=[area(box(12, -5, 25, 18))])


@pytest.mark.parametrize("shape", [CROSS, RING, CUT], ids=["cross", "ring", "cut"])
@pytest.mark.parametrize("angle_deg", [0, 37, 90])
def test_a_fill_sews_no_stitch_outside_its_area(shape: Area, angle_deg: float) -> None:
    for line in fill.fill(shape, angle_deg=angle_deg):
        for a, b in pairwise(line):
            middle = shapes.between(a, b, 0.5)
            around = [shapes.polar(0.8, at, centre=middle) for at in range(0, 360, 15)]
            assert inside(middle, shape) or any(inside(p, shape) for p in around)


def test_the_rows_of_a_fill_are_as_long_as_its_area_over_their_spacing() -> None:
    """Geometry: rows 0.4 mm apart over 40 × 30 mm draw 3,000 mm of thread, and 0.4 mm at each turn."""
    rows = fill._sections_sewn(
        area(box(0, 0, 40, 30)), spacing_mm=0.4, stitch_mm=3.8, inset_mm=0.0, needle=None
    )
    assert len(rows) == 1
    assert length_mm(rows[0]) == pytest.approx(40 * 75 + 0.4 * 74, rel=1e-6)


def test_a_satin_column_draws_its_width_at_every_stitch() -> None:
    """Geometry: each stitch crosses 4 mm and goes ADVANCE_MM on."""
    line = satin.satin(satin.column([(0, 0), (30, 0)], width_mm=4.0), underlay=False)
    stitch_mm = math.hypot(4.0, satin.ADVANCE_MM)
    assert len(line) - 1 == 100
    assert length_mm(line) == pytest.approx(100 * stitch_mm, rel=1e-9)


@pytest.mark.parametrize("letter", lettering.STROKES)
def test_a_letter_reaches_from_its_baseline_to_its_cap_height(letter: str) -> None:
    sewn: list[Line] = lettering.text(letter, cap_mm=10.0, stroke_mm=1.6)
    ys = [y for line in sewn for _, y in line]
    assert min(ys) == pytest.approx(-10.0, abs=0.7)
    # The tail of the Q hangs below the line.
    assert max(ys) == pytest.approx(0.9 if letter == "Q" else 0.0, abs=0.7)


def test_only_the_q_is_sewn_in_more_than_one_object() -> None:
    cut = {letter for letter in lettering.STROKES if len(lettering.text(letter, cap_mm=9, stroke_mm=1.5)) > 1}
    assert cut == {"Q"}


@pytest.mark.parametrize("module", [shapes, satin, fill, lettering])
def test_the_examples_in_the_drawing_modules_hold(module: ModuleType) -> None:
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0

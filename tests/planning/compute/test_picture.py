"""Pictures of designs: what lies on top, how thread shines, what the map and the strip say."""

import itertools
import math
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from inventory.compute.colour.lab import delta_e_00, lab_from_hex
from planning.compute.picture import (
    STEPS,
    DrawnBlock,
    NoSuchPicture,
    NothingToDraw,
    Rgb,
    density,
    draw,
    drawing,
    picture_size,
    strands,
    strip,
)
from planning.compute.picture.covering import CAP_INSET, ROUNDED_FROM, outlines_of, topmost
from planning.compute.picture.density import cell_mm, per_mm2
from planning.compute.picture.drawing import ENCODED, to_linear
from planning.compute.picture.frame import frame_of
from planning.stitch_files.reading import read_design_file

with np.printoptions():  # the import changes NumPy's print options for the whole process
    import colour as reference

CLOTH = (222, 218, 205)
RED, BLUE, WHITE = (195, 34, 45), (47, 111, 159), (246, 245, 239)
DESIGNS = sorted((Path(__file__).parents[3] / "fixtures" / "designs").iterdir())
Points = list[tuple[float, float]]


def block(points: Points, rgb: Rgb | None = RED, *, run_starts: tuple[int, ...] = (0,)) -> DrawnBlock:
    return DrawnBlock(np.array(points, dtype=float).reshape(-1, 2), np.array(run_starts, dtype=np.intp), rgb)


def turned(points: Points, degrees: float) -> Points:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return [(c * x - s * y, s * x + c * y) for x, y in points]


def satin(*, width_mm: float = 5, length_mm: float = 16) -> Points:
    """Return a column along x whose stitches lie along y, both centred, a penetration every 0.2 mm."""
    count = int(length_mm / 0.2)
    return [(0.2 * i - length_mm / 2, (-1) ** i * width_mm / 2) for i in range(count)]


def fill(*, side_mm: float = 16, row_mm: float = 0.4, stitch_mm: float = 3.8) -> Points:
    """Return rows along x, staggered over four rows, centred."""
    points: Points = []
    for row in range(int(side_mm / row_mm)):
        offset = stitch_mm * (row % 4) / 4
        places = sorted({0.0, *np.arange(offset, side_mm, stitch_mm).tolist(), side_mm})
        y = row * row_mm - side_mm / 2
        points += [(x - side_mm / 2, y) for x in (reversed(places) if row % 2 else places)]
    return points


def hex_of(rgb: Iterable[int]) -> str:
    return "#{:02x}{:02x}{:02x}".format(*rgb)


def light_of(picture: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return the linear light of each pixel, by its luminance (IEC 61966-2-1)."""
    return to_linear(picture.astype(float)) @ [0.2126, 0.7152, 0.0722]


# What lies on top


def top_by_hand(laid: strands.Strands, *, width: int, rows: int, radius: float) -> NDArray[np.intp]:
    """Return the strand on top of every sample by asking each strand, so thick, about each sample."""
    top = np.zeros((rows, width), dtype=np.intp)
    y, x = np.mgrid[0:rows, 0:width] + 0.5
    for index in range(laid.count):
        ux, uy = laid.along_x[index], laid.along_y[index]
        dx, dy = x - laid.mid_x[index], y - laid.mid_y[index]
        body = max(laid.half_length[index] - CAP_INSET * laid.turning[index] * laid.radius, 0)
        beyond = np.maximum(np.abs(dx * ux + dy * uy) - body, 0)
        top[np.hypot(beyond, dy * ux - dx * uy) <= radius] = index + 1
    return top


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(st.floats(-3, 43), st.floats(-3, 33), st.floats(0, math.tau), st.floats(0.5, 25)),
        min_size=1,
        max_size=25,
    ),
    st.floats(ROUNDED_FROM, 6),
    st.floats(0, 1),
)
def test_of_all_strands_over_a_sample_the_last_sewn_lies_on_top(laid, radius, turning):
    places = np.array(laid, dtype=np.float32)
    drawn = strands.Strands(
        mid_x=places[:, 0],
        mid_y=places[:, 1],
        along_x=np.cos(places[:, 2]),
        along_y=np.sin(places[:, 2]),
        half_length=places[:, 3],
        turning=np.full(len(places), turning, dtype=np.float32),
        block=np.zeros(len(places), dtype=np.uint16),
        radius=radius,
    )
    found = topmost(drawn, outlines_of(drawn), first_row=0, rows=30, width=40).reshape(30, 20)
    # A sample on the very edge of a strand may fall to either side of it.
    inner, outer = (top_by_hand(drawn, width=40, rows=30, radius=radius + hair) for hair in (-2e-3, 2e-3))
    # The samples are the white squares of a chessboard.
    inner, outer = (np.where(np.arange(30)[:, None] % 2, by[:, 1::2], by[:, 0::2]) for by in (inner, outer))
    assert np.all((found == inner) | (found == outer))


def test_a_later_block_covers_an_earlier_one():
    across, down = [(-5.0, 0.0), (5.0, 0.0)], [(0.0, -5.0), (0.0, 5.0)]
    for first, second, on_top in ((RED, BLUE, 2), (BLUE, RED, 0)):
        picture = draw([block(across, first), block(down, second)], width_px=100, fabric_rgb=CLOTH)
        assert picture[50, 50].argmax() == on_top


def test_no_thread_lies_where_it_was_cut():
    points = [(0.0, 0.0), (3.0, 0.0), (7.0, 0.0), (10.0, 0.0)]
    view = (4.5, -0.1, 5.5, 0.1)
    cut = draw([block(points, run_starts=(0, 2))], width_px=40, fabric_rgb=CLOTH, view=view)
    uncut = draw([block(points)], width_px=40, fabric_rgb=CLOTH, view=view)
    assert np.abs(cut.astype(int) - CLOTH).max() < 20
    assert (uncut[..., 0].astype(int) - uncut[..., 1]).min() > 50


@pytest.mark.parametrize("thread_mm", [0.3, 0.4, 0.6])
def test_a_strand_is_as_wide_as_its_thread(thread_mm):
    picture = draw(
        [block([(-20.0, 0.0), (20.0, 0.0)])],
        width_px=200,
        fabric_rgb=CLOTH,
        thread_mm=thread_mm,
        view=(-1.0, -1.0, 1.0, 1.0),
    )
    column = picture[:, 100].astype(int)
    sewn_px = np.count_nonzero(column[:, 0] - column[:, 1] > 40)
    assert sewn_px / 100 == pytest.approx(thread_mm * strands.FLATTENED, abs=0.025)


def test_nothing_changes_when_a_picture_is_drawn_in_other_bands(monkeypatch):
    blocks = [block(fill(side_mm=8), BLUE), block(satin(), WHITE), block(turned(satin(), 40), None)]
    whole = draw(blocks, width_px=150, fabric_rgb=CLOTH)
    monkeypatch.setattr(drawing, "BAND", 1)
    monkeypatch.setattr(drawing, "CHUNK", 997)
    monkeypatch.setattr("planning.compute.picture.covering.CHUNK", 301)
    assert np.array_equal(draw(blocks, width_px=150, fabric_rgb=CLOTH), whole)


def test_what_lies_under_very_many_layers_is_left_out_and_not_missed(monkeypatch):
    layers = [point for turn in range(70) for point in turned(fill(side_mm=9), 37 * turn)]
    pile = [block(layers, RED), block(layers[::-1], BLUE)]
    frame = frame_of(pile, width_px=120)

    def laid() -> int:
        return strands.strands_of(pile, frame=frame, samples=2, thread_mm=0.4, least_radius=0.6).count

    some, picture = laid(), draw(pile, width_px=120, fabric_rgb=CLOTH)
    monkeypatch.setattr(strands, "MOST_LAYERS", 10_000)
    assert some < laid() / 2
    unlike = np.abs(draw(pile, width_px=120, fabric_rgb=CLOTH).astype(int) - picture).max(axis=2) > 24
    assert unlike.mean() < 0.02


def test_no_design_of_the_demo_is_so_thick_that_anything_is_left_out(monkeypatch):
    def laid(blocks: list[DrawnBlock]) -> int:
        frame = frame_of(blocks, width_px=300)
        return strands.strands_of(blocks, frame=frame, samples=2, thread_mm=0.4, least_radius=0.6).count

    designs = [blocks_of(path) for path in DESIGNS if path.suffix in (".pes", ".vp3")]
    counts = [laid(each) for each in designs]
    monkeypatch.setattr(strands, "MOST_LAYERS", 10_000)
    assert counts == [laid(each) for each in designs]


# How thread shines


def across_satin(degrees: float) -> NDArray[np.float64]:
    """Return the light along the stitches of a satin column, from one edge to the other, turned by ``degrees``."""
    column = block(turned(satin(), degrees), BLUE)
    picture = draw([column], width_px=240, fabric_rgb=CLOTH, view=(-3.0, -3.0, 3.0, 3.0))
    light = light_of(picture)
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    places = np.linspace(-2.2, 2.2, 45)
    lines = []
    for along in np.linspace(-1.2, 1.2, 25):
        x, y = c * along - s * places, s * along + c * places
        lines.append(light[((y + 3) * 40).astype(int), ((x + 3) * 40).astype(int)])
    return np.mean(lines, axis=0)


def test_satin_has_a_bright_band_that_wanders_as_the_column_turns():
    azimuth = math.degrees(math.atan2(-0.58, -0.42))
    square = across_satin(azimuth)  # the stitches lie square to the light: the band is in the middle
    along = across_satin(azimuth - 90)  # they point to the light: it lies nearer to that end
    middle = slice(18, 27)
    assert square[middle].mean() > 1.25 * np.mean([square[:6].mean(), square[-6:].mean()])
    assert abs(int(square.argmax()) - 22) <= 6
    assert abs(int(along.argmax()) - 22) > 8
    assert across_satin(azimuth + 90).argmax() != along.argmax()


def test_a_fill_is_even_between_its_penetrations_and_darker_at_them():
    row = block([(3.8 * i - 19.0, 0.0) for i in range(11)], BLUE)
    picture = draw([row], width_px=400, fabric_rgb=CLOTH, view=(0.0, -0.05, 3.8, 0.05))
    light = light_of(picture).mean(axis=0)
    between, holes = light[80:320], [light[:12].min(), light[-12:].min()]
    assert between.std() < 0.06 * between.mean()
    assert max(holes) < 0.85 * between.mean()


def test_a_strand_is_lighter_on_its_back_than_at_its_sides():
    picture = draw(
        [block([(-20.0, 0.0), (20.0, 0.0)], BLUE)],
        width_px=100,
        fabric_rgb=CLOTH,
        view=(-0.2, -0.2, 0.2, 0.2),
    )
    light = light_of(picture).mean(axis=1)
    assert light[40:60].mean() > light[:8].mean()
    assert light[40:60].mean() > 1.2 * light[-8:].mean()  # the side away from the light


def test_thread_casts_its_shadow_on_the_cloth_away_from_the_light():
    picture = draw([block([(-5.0, 0.0), (5.0, 0.0)])], width_px=400, fabric_rgb=CLOTH)
    light, cloth = light_of(picture)[:, 200], light_of(np.array([[CLOTH]], dtype=np.uint8))[0, 0]
    middle, thread_px = len(light) // 2, 0.22 * 400 / 12
    below, above = light[int(middle + thread_px + 3)], light[int(middle - thread_px - 12)]
    assert below < 0.8 * cloth
    assert above > 0.9 * cloth


@pytest.mark.parametrize("make", [fill, satin])
@pytest.mark.parametrize("rgb", [RED, BLUE, (128, 128, 128), (201, 165, 107), (60, 107, 72), WHITE])
def test_thread_seen_as_a_whole_keeps_its_colour(make: Callable[[], Points], rgb: Rgb) -> None:
    wanted = tuple(lab_from_hex(hex_of(rgb)))
    apart = []
    for degrees in (0, 45, 90, 135):
        drawn = draw(
            [block(turned(make(), degrees), rgb)],
            width_px=200,
            fabric_rgb=CLOTH,
            view=(-1.7, -1.7, 1.7, 1.7),
        )
        mean = to_linear(drawn.astype(float)).mean(axis=(0, 1))
        seen = hex_of(ENCODED[(mean * (ENCODED.size - 1)).astype(int)])
        apart.append(float(delta_e_00(wanted, [tuple(lab_from_hex(seen))])[0]))
    assert np.mean(apart) < 5.0
    assert max(apart) < 8.0


def test_a_block_without_a_colour_is_grey_thread_with_darker_stripes():
    bare, grey = (
        draw([block(fill(side_mm=8), rgb)], width_px=200, fabric_rgb=CLOTH)[40:160, 40:160]
        for rgb in (None, drawing.NO_COLOUR[0])
    )
    assert np.abs(bare[..., 0].astype(int) - bare[..., 2]).max() < 16
    darkened = light_of(bare) / light_of(grey)
    assert (darkened < 0.65).mean() > 0.3
    assert (darkened > 0.95).mean() > 0.3


def test_neighbours_without_a_colour_are_told_apart():
    pair = [block([(x + 6.0 * i, y) for x, y in fill(side_mm=5)], None) for i in range(2)]
    picture = draw(pair, width_px=330, fabric_rgb=CLOTH)
    left, right = light_of(picture[40:130, 40:130]).mean(), light_of(picture[40:130, 200:290]).mean()
    assert max(left, right) > 2 * min(left, right)


def test_srgb_is_that_of_the_standard():
    """IEC 61966-2-1, by colour-science."""
    values = np.arange(256.0)
    assert to_linear(values) == pytest.approx(reference.models.eotf_sRGB(values / 255), abs=1e-12)
    back = ENCODED[np.rint(to_linear(values) * (ENCODED.size - 1)).astype(int)]
    assert np.abs(back.astype(float) - values).max() <= 1
    assert np.array_equal(back[20:], values[20:])


# The frame


@given(st.floats(0, 900), st.floats(0, 900), st.integers(16, 2000))
def test_the_size_of_a_picture_is_known_before_it_is_drawn(width_mm, height_mm, width_px):
    design = [block([(-3.0, 5.0), (width_mm - 3.0, height_mm + 5.0)])]
    frame = frame_of(design, width_px=width_px)
    width, height = picture_size(width_mm, height_mm, width_px=width_px)
    assert width == frame.width_px == width_px
    assert abs(height - frame.height_px) <= 1
    assert 1 <= height <= 2 * width_px


def test_every_penetration_lies_in_the_frame_of_a_long_narrow_design():
    design = [block([(40.0, -100.0), (44.0, 250.0)])]
    frame = frame_of(design, width_px=100)
    for x, y in design[0].points_mm:
        assert 1 < (x - frame.left_mm) * frame.per_mm < frame.width_px - 1
        assert 1 < (y - frame.top_mm) * frame.per_mm < frame.height_px - 1


@pytest.mark.parametrize("width_px", [0, 15, 2001, -5])
def test_a_width_that_no_picture_has_is_refused_in_words(width_px):
    with pytest.raises(NoSuchPicture, match="16 to 2,000 pixels"):
        draw([block([(0.0, 0.0), (4.0, 0.0)])], width_px=width_px, fabric_rgb=CLOTH)


@pytest.mark.parametrize("view", [(0.0, 0.0, 0.0, 5.0), (5.0, 0.0, 1.0, 5.0), (0.0, 0.0, math.nan, 5.0)])
def test_a_window_without_a_size_is_refused(view):
    with pytest.raises(NoSuchPicture, match="above zero"):
        draw([block([(0.0, 0.0), (4.0, 0.0)])], width_px=50, fabric_rgb=CLOTH, view=view)


@pytest.mark.parametrize("blocks", [[], [block([])]])
def test_where_there_is_no_stitch_there_is_no_picture(blocks):
    for make in (lambda: draw(blocks, width_px=50, fabric_rgb=CLOTH), lambda: density(blocks, width_px=50)):
        with pytest.raises(NothingToDraw):
            make()


@pytest.mark.parametrize(
    "points", [[(1.0, 1.0)], [(1.0, 1.0), (1.0, 1.0)], [(0.0, 0.0), (0.3, 0.0)], [(5.0, 5.0), (5.0, 900.0)]]
)
def test_the_oddest_designs_are_drawn_all_the_same(points):
    picture = draw([block(points), block([])], width_px=64, fabric_rgb=CLOTH)
    assert picture.shape[1] == 64
    assert density([block(points)], width_px=64).most_per_mm2 > 0
    assert strip([block(points)], width_px=64).picture.shape == (32, 64, 3)


def blocks_of(path: Path) -> list[DrawnBlock]:
    walked = read_design_file(path).walked
    hexes = [each.thread.hex if each.thread else None for each in walked.blocks]
    return [
        DrawnBlock(
            each.points_mm,
            each.run_starts,
            (int(hex[1:3], 16), int(hex[3:5], 16), int(hex[5:7], 16)) if hex else None,
        )
        for each, hex in zip(walked.blocks, hexes, strict=True)
    ]


@pytest.mark.parametrize("path", DESIGNS, ids=lambda path: path.name)
def test_each_design_of_the_demo_covers_a_good_part_of_its_cloth(path):
    picture = draw(blocks_of(path), width_px=96, fabric_rgb=CLOTH).astype(int)
    assert (np.abs(picture - CLOTH).max(axis=2) > 30).mean() > 0.15


# The map of density


def test_the_map_counts_every_penetration_once():
    points = np.random.default_rng(5).uniform(0, 30, (500, 2)).round(1)
    design = DrawnBlock(points, np.array([0]), RED)
    frame = frame_of([design], width_px=200)
    # Nothing of a point's weight falls outside: the margin is wider than the window.
    wide = frame_of([design], width_px=200, view=(-5.0, -5.0, 35.0, 35.0))
    assert per_mm2(points, wide).sum() * cell_mm(wide) ** 2 == pytest.approx(500)
    assert per_mm2(points, frame).sum() * cell_mm(frame) ** 2 == pytest.approx(500, rel=0.05)


@pytest.mark.parametrize(("step_mm", "expected"), [(1.0, 1.0), (0.5, 4.0), (0.25, 16.0)])
def test_an_even_grid_of_stitches_has_the_density_of_its_grid(step_mm, expected):
    places = np.arange(0, 20, step_mm)
    points = np.stack(np.meshgrid(places, places), axis=2).reshape(-1, 2) + 0.1
    frame = frame_of([DrawnBlock(points, np.array([0]), RED)], width_px=200)
    inside = per_mm2(points, frame)[12:28, 12:28]
    assert inside.mean() == pytest.approx(expected, rel=0.03)


def test_the_map_darkens_from_step_to_step_so_that_it_is_read_in_grey():
    """CIE 1976 L*, by the project's own conversion."""
    lightness = [lab_from_hex(hex_of(step.rgb)).L for step in STEPS]
    assert lightness[0] < 98
    assert all(light - dark >= 7 for light, dark in itertools.pairwise(lightness))


def test_bare_cloth_is_white_on_the_map_and_a_hard_spot_is_dark():
    spot = [(5.0 + 0.2 * (i % 5), 5.0 + 0.2 * (i // 5 % 5)) for i in range(250)]
    design = block([(0.0, 0.0), (10.0, 10.0), *spot], run_starts=(0, 2))
    found = density([design], width_px=200)
    assert found.picture[10, 190].tolist() == [255, 255, 255]
    assert found.picture[105, 105].tolist() == list(STEPS[-1].rgb)
    assert found.most_per_mm2 > 16
    assert sum(found.shares) == pytest.approx(1)


# The strip


def test_the_strip_shows_each_block_where_it_is_sewn_in_its_colour():
    long = block([(4.0 * (i % 2), 0.1 * i) for i in range(300)], RED)
    short = block([(1.0 * (i % 2), 0.1 * i) for i in range(100)], BLUE)
    found = strip([long, short], width_px=400)
    assert found.starts_px == (0, 300)
    foot = found.picture.shape[0] - found.picture.shape[0] // 6 - 3
    assert found.picture[foot, 150].tolist() == list(RED)
    assert found.picture[foot, 350].tolist() == list(BLUE)
    assert found.longest_mm == pytest.approx(math.hypot(4, 0.1))
    height = [
        np.count_nonzero((found.picture[:, x] == rgb).all(axis=1)) for x, rgb in ((150, RED), (350, BLUE))
    ]
    # One row of each bar is inked: its top.
    assert (height[0] + 1) / (height[1] + 1) == pytest.approx(4, rel=0.25)


def test_a_cut_is_not_drawn_as_a_stitch_on_the_strip():
    points = [(0.0, 0.0), (1.0, 0.0), (90.0, 0.0), (91.0, 0.0)]
    assert strip([block(points, run_starts=(0, 2))], width_px=64).longest_mm == pytest.approx(1.0)
    assert strip([block(points)], width_px=64).longest_mm == pytest.approx(89.0)


def test_a_block_without_a_colour_is_striped_on_the_strip():
    found = strip([block([(4.0 * (i % 2), 0.1 * i) for i in range(300)], None)], width_px=64)
    foot = found.picture[found.picture.shape[0] - found.picture.shape[0] // 6 - 3]
    assert len({tuple(pixel) for pixel in foot.tolist()}) >= 2

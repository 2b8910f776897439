"""Thread of a colour block, against published values, a plain reference and the geometry's own laws."""

import math
from dataclasses import asdict, replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.errors import WorkshopError
from planning.compute.stitches.thread_length import (
    KAPPA_GRID,
    BlockSums,
    ThreadSettings,
    block_sums,
    bobbin_geometry_mm,
    bobbin_laid_mm,
    needle_geometry_mm,
    needle_laid_mm,
)

INCH_MM = 25.4
Points = list[tuple[float, float]]


def seam(*, stitches: int, stitch_mm: float) -> Points:
    return [(i * stitch_mm, 0.0) for i in range(stitches + 1)]


def satin(*, stitches: int, width_mm: float, advance_mm: float) -> Points:
    return [(i * advance_mm, width_mm * (i % 2)) for i in range(stitches + 1)]


def plain_fill(*, width_mm: float, rows: int, spacing_mm: float, stitch_mm: float) -> Points:
    across = [i * stitch_mm for i in range(round(width_mm / stitch_mm) + 1)]
    return [(x, row * spacing_mm) for row in range(rows) for x in (across if row % 2 == 0 else across[::-1])]


def both_mm(
    sums: BlockSums, *, kappa: float, thickness_mm: float, interlock_depth: float
) -> tuple[float, float]:
    lay = {"kappa": kappa, "thickness_mm": thickness_mm, "interlock_depth": interlock_depth}
    return needle_geometry_mm(sums, **lay), bobbin_geometry_mm(sums, **lay)


def interlocks(run: Points, kappa: float) -> tuple[list[tuple[float, float]], float]:
    """Say where each interlock of one run lies and the sum of back-draws, one angle at a time."""
    moved, drawn_back = [], 0.0
    for j, (x, y) in enumerate(run):
        if j in (0, len(run) - 1) or run[j - 1] == run[j] or run[j] == run[j + 1]:
            moved.append((x, y))
            continue
        before = (x - run[j - 1][0], y - run[j - 1][1])
        after = (run[j + 1][0] - x, run[j + 1][1] - y)
        theta = math.atan2(
            before[0] * after[1] - before[1] * after[0], before[0] * after[0] + before[1] * after[1]
        )
        u = kappa * min(math.hypot(*before), math.hypot(*after)) * math.sin(abs(theta) / 2)
        # unit(d_{j+1} − d_j) halves the angle between the way on and the way back.
        inward = [
            a / math.hypot(*after) - b / math.hypot(*before) for a, b in zip(after, before, strict=True)
        ]
        size = math.hypot(*inward)
        moved.append((x + u * inward[0] / size, y + u * inward[1] / size) if size > 0 else (x, y))
        drawn_back += u
    return moved, drawn_back


def bobbin_path_mm(run: Points, kappa: float) -> float:
    moved, _ = interlocks(run, kappa)
    return math.fsum(math.dist(a, b) for a, b in pairwise(moved))


coordinates = st.integers(min_value=-60, max_value=60).map(lambda tenths: tenths / 10)
runs_of_points = st.lists(st.tuples(coordinates, coordinates), min_size=1, max_size=30)
interlock_depths = st.floats(min_value=0, max_value=1)
thicknesses = st.floats(min_value=0, max_value=5)
kappas = st.floats(min_value=0, max_value=0.5)


# --- published values


@pytest.mark.parametrize(
    ("thickness_in", "ratio"),
    [
        # Lockstitch 301, 10 stitches/in: thread = seam · (2 + 2·T·S). M. Islam, Textile Calculation (2015);
        # agrees with the handbook ratio 1 : 2.5 of thread makers' stitch-type guides.
        (0.025, 2.5),
        # A. K. Das, Textile Calculation (2015).
        (0.010, 2.2),
    ],
)
@pytest.mark.parametrize("interlock_depth", [0.0, 0.3, 0.5, 1.0])
def test_a_lockstitch_seam_takes_the_handbook_multiple_of_its_length(thickness_in, ratio, interlock_depth):
    stitch_mm, thickness_mm = INCH_MM / 10, thickness_in * INCH_MM
    sums = block_sums(seam(stitches=500, stitch_mm=stitch_mm), [0])
    needle, bobbin = both_mm(sums, kappa=1 / 3, thickness_mm=thickness_mm, interlock_depth=interlock_depth)
    first_penetration_mm = 2 * thickness_mm  # the handbook counts stitches, of which there is one fewer
    in_all_mm = needle + bobbin - first_penetration_mm
    assert in_all_mm / (500 * stitch_mm) == pytest.approx(ratio, rel=1e-9)


def test_a_metre_of_seam_interlocked_in_the_middle_takes_as_much_needle_as_bobbin_thread():
    # 1.25 m + 1.25 m: the handbook's needle : bobbin of 1 : 1 for stitch type 301.
    thickness_mm, per_metre = 0.025 * INCH_MM, 1000 / (500 * INCH_MM / 10)
    sums = block_sums(seam(stitches=500, stitch_mm=INCH_MM / 10), [0])
    needle, bobbin = both_mm(sums, kappa=0.0, thickness_mm=thickness_mm, interlock_depth=0.5)
    assert (needle - thickness_mm) * per_metre == pytest.approx(1250.0, rel=1e-9)
    assert (bobbin - thickness_mm) * per_metre == pytest.approx(1250.0, rel=1e-9)


def test_the_worked_example_of_four_thousand_pieces_takes_fifteen_cones():
    # 4,000 pieces × 4,500 stitches × 4 mm = 72,000 m; 14.4 cones of 5,000 m, so 15: apparelscience.com,
    # "Calculating embroidery thread consumption".
    sums = block_sums(seam(stitches=4500, stitch_mm=4.0), [0])
    needle, _ = both_mm(sums, kappa=0.0, thickness_mm=0.0, interlock_depth=1.0)
    assert 4000 * needle / 1000 == 72_000
    assert 4000 * needle / 5_000_000 == 14.4
    assert math.ceil(4000 * needle / 5_000_000) == 15


def test_a_plain_fill_takes_its_area_divided_by_the_row_spacing():
    # Face thread = area / spacing, an identity; 0.4 mm = 63.5 rows an inch (Printwear, December 2016).
    sums = block_sums(plain_fill(width_mm=100, rows=250, spacing_mm=0.4, stitch_mm=4), [0])
    needle, bobbin = both_mm(sums, kappa=0.0, thickness_mm=0.0, interlock_depth=1.0)
    assert needle == pytest.approx(100 * 100 / 0.4, rel=0.01)
    assert bobbin == pytest.approx(100 * 100 / 0.4, rel=0.01)


def test_a_four_millimetre_satin_takes_five_thirds_of_its_width_and_leaves_a_third_to_the_bobbin():
    # Geometry; the back in equal thirds is common practice, no source.
    stitches = 2000
    sums = block_sums(satin(stitches=stitches, width_mm=4.0, advance_mm=0.4), [0])
    needle, bobbin = both_mm(sums, kappa=1 / 3, thickness_mm=0.6, interlock_depth=1.0)
    assert needle / stitches == pytest.approx(7.9, rel=0.02)
    assert bobbin / stitches == pytest.approx(1.4, rel=0.02)


@pytest.mark.parametrize("kappa", KAPPA_GRID)
def test_the_bobbin_shows_over_the_share_one_less_two_kappa_of_a_satin_back(kappa):
    # Common practice, no source: 1/3 of the width is the usual setting, nothing (κ = 1/2) too loose a needle.
    stitches, width_mm = 5000, 6.0
    sums = block_sums(satin(stitches=stitches, width_mm=width_mm, advance_mm=0.0), [0])
    _, bobbin = both_mm(sums, kappa=kappa, thickness_mm=0.6, interlock_depth=1.0)
    # The two ends of the run are drawn in on one side only.
    ends_mm = 2 * kappa * width_mm
    assert (bobbin - ends_mm) / (stitches * width_mm) == pytest.approx(1 - 2 * kappa, abs=1e-12)


# --- laws of the geometry


@given(
    lengths=st.lists(st.integers(0, 120).map(lambda tenths: tenths / 10), min_size=1, max_size=40),
    angle=st.floats(min_value=0, max_value=2 * math.pi),
    kappa=kappas,
    thickness_mm=thicknesses,
    interlock_depth=interlock_depths,
)
def test_a_straight_run_takes_two_lengths_and_two_thicknesses_per_stitch_wherever_it_interlocks(
    lengths, angle, kappa, thickness_mm, interlock_depth
):
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    sums = block_sums(np.outer(along, [math.cos(angle), math.sin(angle)]), [0])
    needle, bobbin = both_mm(sums, kappa=kappa, thickness_mm=thickness_mm, interlock_depth=interlock_depth)
    expected = 2 * sum(lengths) + 2 * thickness_mm * (len(lengths) + 1)
    assert needle + bobbin == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(run=runs_of_points, interlock_depth=interlock_depths)
def test_without_thickness_and_back_draw_both_threads_are_as_long_as_the_drawn_path(run, interlock_depth):
    sums = block_sums(run, [0])
    needle, bobbin = both_mm(sums, kappa=0.0, thickness_mm=0.0, interlock_depth=interlock_depth)
    drawn_mm = math.fsum(math.dist(a, b) for a, b in pairwise(run))
    assert needle == pytest.approx(drawn_mm, rel=1e-12, abs=1e-12)
    assert bobbin == pytest.approx(drawn_mm, rel=1e-12, abs=1e-12)


@given(
    run=runs_of_points,
    scale=st.floats(min_value=0.01, max_value=100),
    kappa=kappas,
    thickness_mm=thicknesses,
    interlock_depth=interlock_depths,
)
def test_enlarging_design_and_thickness_enlarges_both_threads_alike(
    run, scale, kappa, thickness_mm, interlock_depth
):
    once = both_mm(
        block_sums(run, [0]), kappa=kappa, thickness_mm=thickness_mm, interlock_depth=interlock_depth
    )
    enlarged = both_mm(
        block_sums(np.array(run) * scale, [0]),
        kappa=kappa,
        thickness_mm=thickness_mm * scale,
        interlock_depth=interlock_depth,
    )
    assert enlarged == pytest.approx([length * scale for length in once], rel=1e-9, abs=1e-9)


@given(run=runs_of_points)
def test_a_run_stitched_backwards_takes_the_same_thread(run):
    forwards, backwards = block_sums(run, [0]), block_sums(run[::-1], [0])
    assert backwards.drawn_mm == pytest.approx(forwards.drawn_mm, rel=1e-9, abs=1e-9)
    assert backwards.back_draw_mm == pytest.approx(forwards.back_draw_mm, rel=1e-9, abs=1e-9)
    assert backwards.bobbin_path_mm == pytest.approx(forwards.bobbin_path_mm, rel=1e-9, abs=1e-9)


@given(run=runs_of_points)
def test_the_sums_equal_those_worked_out_one_penetration_at_a_time(run):
    sums = block_sums(run, [0])
    assert sums.penetrations == len(run)
    assert sums.drawn_mm == pytest.approx(
        math.fsum(math.dist(a, b) for a, b in pairwise(run)), rel=1e-9, abs=1e-9
    )
    assert sums.back_draw_mm == pytest.approx(interlocks(run, 1.0)[1], rel=1e-9, abs=1e-9)
    assert sums.bobbin_path_mm == pytest.approx(
        [bobbin_path_mm(run, kappa) for kappa in KAPPA_GRID], rel=1e-9, abs=1e-9
    )


@given(runs=st.lists(runs_of_points, min_size=1, max_size=8))
def test_a_block_of_several_runs_has_the_sums_of_its_runs(runs):
    starts = np.cumsum([0, *(len(run) for run in runs[:-1])])
    together = block_sums([point for run in runs for point in run], starts)
    alone = [block_sums(run, [0]) for run in runs]
    assert together.runs == len(runs)
    assert together.penetrations == sum(sums.penetrations for sums in alone)
    for name in ("drawn_mm", "back_draw_mm"):
        expected = math.fsum(getattr(sums, name) for sums in alone)
        assert getattr(together, name) == pytest.approx(expected, rel=1e-9, abs=1e-9)
    for here, *there in zip(together.bobbin_path_mm, *(sums.bobbin_path_mm for sums in alone), strict=True):
        assert here == pytest.approx(math.fsum(there), rel=1e-9, abs=1e-9)


@given(run=runs_of_points, kappa=kappas)
def test_interpolation_never_underestimates_the_bobbin_path(run, kappa):
    _, bobbin = both_mm(block_sums(run, [0]), kappa=kappa, thickness_mm=0.0, interlock_depth=1.0)
    assert bobbin >= bobbin_path_mm(run, kappa) * (1 - 1e-9)


@pytest.mark.parametrize("width_mm", [1.0, 2.0, 4.0, 8.0])
def test_interpolation_is_within_half_a_percent_for_any_satin_a_shop_would_send_out(width_mm):
    # κ up to 0.4: a fifth of the back is bobbin. Measured: 0.33 % at most, and 1.9 % beyond, up to κ = 1/2.
    column = satin(stitches=60, width_mm=width_mm, advance_mm=0.4)
    sums = block_sums(column, [0])
    for kappa in np.linspace(0, 0.5, 201).tolist():
        _, bobbin = both_mm(sums, kappa=kappa, thickness_mm=0.0, interlock_depth=1.0)
        allowed = 0.005 if kappa <= 0.4 else 0.02
        assert bobbin == pytest.approx(bobbin_path_mm(column, kappa), rel=allowed)


def test_the_usual_kappa_is_a_point_of_the_grid_and_so_exact():
    assert ThreadSettings().kappa in KAPPA_GRID
    assert KAPPA_GRID[0] == 0
    assert KAPPA_GRID[-1] == 0.5
    assert all(a < b for a, b in pairwise(KAPPA_GRID))


# --- the corners of a stitch file


def test_a_zero_length_stitch_penetrates_but_draws_nothing():
    once = block_sums([(0, 0), (4, 0), (0, 0.4)], [0])
    twice = block_sums([(0, 0), (4, 0), (4, 0), (0, 0.4)], [0], zero_length=1)
    assert twice.penetrations == once.penetrations + 1
    assert twice.drawn_mm == once.drawn_mm
    assert twice.back_draw_mm == 0.0
    needle, bobbin = both_mm(twice, kappa=1 / 3, thickness_mm=0.6, interlock_depth=1.0)
    assert needle == pytest.approx(once.drawn_mm + 1.2 * 4)
    assert bobbin == pytest.approx(once.drawn_mm)


@given(
    run=st.lists(
        st.sampled_from([(0.0, 0.0), (1.0, 0.0), (1e-9, 0.0), (1e-200, 1e-200)]), min_size=1, max_size=12
    )
)
def test_repeated_and_all_but_equal_points_give_numbers(run):
    sums = block_sums(run, [0])
    assert all(math.isfinite(x) for x in (sums.drawn_mm, sums.back_draw_mm, *sums.bobbin_path_mm))


def test_a_block_without_penetrations_takes_no_thread():
    sums = block_sums([], [])
    assert (sums.penetrations, sums.runs, sums.drawn_mm) == (0, 0, 0.0)
    assert needle_laid_mm(sums, ThreadSettings()) == 0.0
    assert bobbin_laid_mm(sums, ThreadSettings()) == 0.0


def test_a_single_penetration_is_a_run_without_stitches():
    sums = block_sums([(5, 5)], [0])
    needle, bobbin = both_mm(sums, kappa=1 / 3, thickness_mm=0.6, interlock_depth=1.0)
    assert (needle, bobbin) == (1.2, 0.0)


def test_what_the_reader_counted_is_kept():
    sums = block_sums([(0, 0), (1, 0)], [0], trims=3, zero_length=2, dragged_mm=7.5)
    assert (sums.trims, sums.zero_length, sums.dragged_mm) == (3, 2, 7.5)


def test_the_sums_are_plain_numbers_that_can_be_stored():
    kept = asdict(block_sums(np.array([[0, 0], [4, 0], [0, 1]]), np.array([0])))
    assert {type(kept[name]) for name in ("drawn_mm", "back_draw_mm")} == {float}
    assert {type(kept[name]) for name in ("penetrations", "runs")} == {int}
    assert {type(path_mm) for path_mm in kept["bobbin_path_mm"]} == {float}


@pytest.mark.parametrize(
    ("points", "starts", "told"),
    [
        ([(0, 0), (math.nan, 1)], [0], "Penetration 1"),
        ([(0, 0, 0)], [0], "x, y pairs"),
        ([(0, 0), (1, 0)], [1], "begin at 0"),
        ([(0, 0), (1, 0)], [0, 2], "begin at 0"),
        ([(0, 0), (1, 0), (2, 0)], [0, 1, 1], "rising order"),
        ([(0, 0), (1, 0)], [], "index at which"),
        ([(0, 0), (1, 0)], [0.0], "whole-number"),
    ],
)
def test_a_path_that_makes_no_sense_is_refused_in_words(points, starts, told):
    with pytest.raises(WorkshopError, match=told):
        block_sums(points, starts)


# --- tails, allowance and settings


def test_each_run_leaves_a_tail_at_its_start_and_one_at_its_cut():
    one = block_sums(seam(stitches=4, stitch_mm=2), [0])
    two = block_sums(seam(stitches=4, stitch_mm=2), [0, 2])
    settings = ThreadSettings(
        thickness_mm=0.0,
        needle_tail_start_mm=30.0,
        needle_tail_trim_mm=5.0,
        bobbin_tail_start_mm=20.0,
        bobbin_tail_trim_mm=3.0,
    )
    assert needle_laid_mm(one, settings) == pytest.approx(8 + 35)
    assert bobbin_laid_mm(one, settings) == pytest.approx(8 + 23)
    assert needle_laid_mm(two, settings) == pytest.approx(6 + 2 * 35)  # the step between the runs is not laid
    assert bobbin_laid_mm(two, settings) == pytest.approx(6 + 2 * 23)


def test_the_allowance_enlarges_geometry_and_tails():
    sums = block_sums(satin(stitches=100, width_mm=4, advance_mm=0.4), [0])
    plain, with_allowance = ThreadSettings(), ThreadSettings(allowance=0.05)
    assert needle_laid_mm(sums, with_allowance) == pytest.approx(1.05 * needle_laid_mm(sums, plain))
    assert bobbin_laid_mm(sums, with_allowance) == pytest.approx(1.05 * bobbin_laid_mm(sums, plain))


def test_a_rethreaded_path_is_no_part_of_a_block():
    sums = block_sums(seam(stitches=10, stitch_mm=2), [0])
    settings = ThreadSettings()
    assert needle_laid_mm(sums, replace(settings, threaded_path_mm=9000.0)) == needle_laid_mm(sums, settings)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("kappa", 0.51),
        ("kappa", -0.01),
        ("kappa", math.nan),
        ("thickness_mm", -0.1),
        ("interlock_depth", 1.1),
        ("interlock_depth", -0.1),
        ("needle_tail_start_mm", -1.0),
        ("threaded_path_mm", math.inf),
        ("allowance", -0.05),
    ],
)
def test_a_setting_that_no_machine_has_is_refused(name, value):
    with pytest.raises(WorkshopError, match=str(value)):
        replace(ThreadSettings(), **{name: value})

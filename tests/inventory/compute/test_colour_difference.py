"""Colour differences and grades, against published data and colour-science."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.colour.lab import delta_e_00, delta_e_00_matrix, delta_e_76, lower_bound_00

with np.printoptions():  # the import changes NumPy's print options for the whole process
    import colour as reference

DATA = Path(__file__).parents[2] / "data"


def sharma_pairs() -> np.ndarray:
    """Return the 34 pairs of G. Sharma, W. Wu and E. N. Dalal, Color Research & Application 30 (2005) 21–30.

    Columns L1, a1, b1, L2, a2, b2, dE00.
    """
    with (DATA / "ciede2000_sharma.csv").open(encoding="utf-8", newline="") as file:
        return np.array([[float(value) for value in row] for row in list(csv.reader(file))[1:]])


def random_labs(n: int, *, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(0, 100, n), rng.uniform(-100, 100, n), rng.uniform(-100, 100, n)])


Triple = tuple[float, float, float]


def labs() -> st.SearchStrategy[Triple]:
    chroma = st.floats(min_value=-128, max_value=128)
    return st.tuples(st.floats(min_value=0, max_value=100), chroma, chroma)


def test_all_34_published_pairs_have_their_published_difference() -> None:
    pairs = sharma_pairs()
    assert len(pairs) == 34
    for pair in pairs:
        assert delta_e_00(pair[:3], pair[None, 3:6])[0] == pytest.approx(pair[6], abs=1e-4)
        assert delta_e_00(pair[3:6], pair[None, :3])[0] == pytest.approx(pair[6], abs=1e-4)


def test_the_matrix_holds_the_published_differences_on_its_diagonal() -> None:
    pairs = sharma_pairs()
    matrix = delta_e_00_matrix(pairs[:, :3], pairs[:, 3:6])
    assert matrix.shape == (34, 34)
    assert np.abs(np.diag(matrix) - pairs[:, 6]).max() < 1e-4


def test_ten_thousand_random_pairs_agree_with_the_reference_library() -> None:
    a, b = random_labs(100, seed=1), random_labs(100, seed=2)
    expected = reference.difference.delta_E_CIE2000(a[:, None, :], b[None, :, :])
    assert expected.size == 10_000
    assert np.abs(delta_e_00_matrix(a, b) - expected).max() < 1e-3


def test_close_pairs_agree_with_the_reference_library() -> None:
    a = random_labs(2_000, seed=3)
    b = a + np.random.default_rng(4).uniform(-2, 2, a.shape)
    expected = reference.difference.delta_E_CIE2000(a, b)
    ours = np.array([delta_e_00(one, other[None])[0] for one, other in zip(a, b, strict=True)])
    assert np.abs(ours - expected).max() < 1e-3


@given(labs(), labs())
def test_the_difference_is_the_same_both_ways_and_never_below_zero(one: Triple, other: Triple) -> None:
    there, back = delta_e_00(one, [other])[0], delta_e_00(other, [one])[0]
    assert there == pytest.approx(back, abs=1e-9)
    assert there >= 0
    assert delta_e_76(one, [other])[0] == pytest.approx(delta_e_76(other, [one])[0], abs=1e-12)


@given(labs())
def test_a_colour_does_not_differ_from_itself(lab: Triple) -> None:
    assert delta_e_00(lab, [lab])[0] == 0
    assert delta_e_76(lab, [lab])[0] == 0


@pytest.mark.parametrize(("m", "n"), [(1, 1), (3, 7), (7, 3), (5, 5), (0, 4), (4, 0), (0, 0)])
def test_the_matrix_is_each_row_whichever_side_is_longer(m: int, n: int) -> None:
    a, b = random_labs(m, seed=5), random_labs(n, seed=6)
    matrix = delta_e_00_matrix(a, b)
    assert matrix.shape == (m, n)
    for row, colour in enumerate(a):
        assert matrix[row] == pytest.approx(delta_e_00(colour, b), abs=1e-9)


def test_the_arrays_given_are_left_as_they_were() -> None:
    a, b = random_labs(3, seed=7), random_labs(4, seed=8)
    before = a.copy(), b.copy()
    delta_e_00_matrix(a, b)
    delta_e_76(a[0], b)
    assert (a == before[0]).all()
    assert (b == before[1]).all()


def test_colours_of_another_shape_are_refused() -> None:
    with pytest.raises(ValueError, match=r"shape \(3,\)"):
        delta_e_00([(1, 2, 3)], [(1, 2, 3)])
    with pytest.raises(ValueError, match=r"shape \(n, 3\)"):
        delta_e_00((1, 2, 3), (1, 2, 3))
    with pytest.raises(ValueError, match=r"shape \(n, 3\)"):
        delta_e_00_matrix(np.zeros((2, 4)), np.zeros((2, 3)))


def test_delta_e_76_is_the_distance_in_lab() -> None:
    # CIE 1976: Euclidean distance.
    a, b = random_labs(1, seed=9)[0], random_labs(500, seed=10)
    assert delta_e_76(a, b) == pytest.approx(np.linalg.norm(b - a, axis=1), rel=1e-12)


@given(labs(), labs())
def test_the_bound_never_exceeds_the_difference(one: Triple, other: Triple) -> None:
    difference = delta_e_00(one, [other])[0]
    bound = lower_bound_00(one, [other])[0]
    assert 0 <= bound <= difference + 1e-9


def test_the_bound_is_the_difference_of_two_greys() -> None:
    grey, greys = (50.0, 0.0, 0.0), [(lightness, 0.0, 0.0) for lightness in range(0, 101, 10)]
    assert lower_bound_00(grey, greys) == pytest.approx(delta_e_00(grey, greys), abs=1e-12)


def test_the_bound_works_on_a_whole_matrix() -> None:
    a, b = random_labs(20, seed=11), random_labs(30, seed=12)
    bound = lower_bound_00(a[:, None, :], b[None, :, :])
    assert bound.shape == (20, 30)
    assert (bound <= delta_e_00_matrix(a, b) + 1e-9).all()
    assert bound.max() > 10

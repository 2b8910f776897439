"""The gap map: covered is what is near, and the suggestions are as good as is said."""

import itertools
from dataclasses import replace

import numpy as np
import pytest

from inventory.compute.colour.lab import Lab, delta_e_00_matrix
from planning.compute.colour.gaps import cover_most, gap_map, region_of, within
from tests.planning.compute.colour.test_substitution import grey, shade


def random_labs(rng, n):
    return np.column_stack([rng.uniform(10, 95, n), rng.uniform(-70, 70, n), rng.uniform(-70, 80, n)])


def test_near_is_what_the_full_formula_says_of_every_pair():
    rng = np.random.default_rng(1)
    shades, points = random_labs(rng, 60), random_labs(rng, 500)
    for limit in (2.0, 5.0, 12.0):
        expected = delta_e_00_matrix(shades, points) <= limit
        assert (within(shades, points, limit=limit) == expected).all()
        assert expected.any()


@pytest.mark.parametrize("part", range(4))
def test_the_cover_lies_between_the_guarantee_and_its_bound_and_the_bound_holds(part):
    rng = np.random.default_rng(part)
    met = 0
    for _ in range(60):
        covers = rng.random((int(rng.integers(3, 9)), int(rng.integers(4, 25)))) < rng.uniform(0.1, 0.5)
        most = int(rng.integers(1, 4))
        best = max(
            covers[list(chosen)].any(axis=0).sum()
            for size in range(most + 1)
            for chosen in itertools.combinations(range(len(covers)), size)
        )
        cover = cover_most(covers, most=most)
        assert cover.covered == covers[list(cover.chosen)].any(axis=0).sum()
        assert (1 - 1 / np.e) * best - 1e-9 <= cover.covered <= best <= cover.bound
        met += cover.covered == best
    assert met > 30


def test_a_single_suggestion_is_the_best_there_is():
    rng = np.random.default_rng(9)
    for _ in range(20):
        covers = rng.random((7, 15)) < 0.3
        assert cover_most(covers, most=1).covered == covers.sum(axis=1).max()


def test_a_shelf_covers_what_lies_near_it_and_the_rest_is_suggested():
    owned = shade(1, grey(50))
    empty = shade(2, Lab(50, 60, 30), metres=0)
    far = [shade(number, grey(84 + number / 4)) for number in (3, 4, 5)]
    far = [replace(each, spools=()) for each in far]
    gaps = gap_map([owned, empty, *far, shade(9, grey(52), metres=0)], limit=5.0, most=1)
    assert gaps.is_covered == (True, False, False, False, False, True)
    (suggested,) = gaps.suggestions
    assert (suggested.adds, suggested.region, gaps.bound) == (3, ("light", "grey"), 3)


def test_regions_count_every_known_shade_once():
    rng = np.random.default_rng(2)
    shades = [
        shade(number, Lab(*map(float, lab)), metres=100 if number % 3 else 0)
        for number, lab in enumerate(random_labs(rng, 150))
    ]
    gaps = gap_map(shades, limit=6.0)
    assert sum(region.known for region in gaps.regions) == 150
    assert sum(region.covered for region in gaps.regions) == gaps.covered
    assert gaps.would_cover <= gaps.bound <= gaps.uncovered
    adds = [each.adds for each in gaps.suggestions]
    assert adds == sorted(adds, reverse=True)
    again = gap_map(
        [*shades, *(shade(900 + n, each.shade.lab) for n, each in enumerate(gaps.suggestions))], limit=6.0
    )
    assert again.covered >= gaps.covered + gaps.would_cover


def test_an_empty_catalogue_has_no_gaps():
    gaps = gap_map([], limit=5.0)
    assert (gaps.points, gaps.suggestions, gaps.bound) == ((), (), 0)


@pytest.mark.parametrize(
    ("lab", "region"),
    [
        (Lab(97, 0, 0), ("light", "grey")),
        (Lab(12, 1, -2), ("dark", "grey")),
        (Lab(45, 60, 35), ("middle", "red")),
        (Lab(85, 5, 80), ("light", "yellow")),
        (Lab(45, -45, 30), ("middle", "green")),
        (Lab(30, 15, -55), ("dark", "blue")),
        (Lab(60, 50, -5), ("middle", "pink")),
    ],
)
def test_colours_are_called_what_people_call_them(lab, region):
    assert region_of(lab) == region

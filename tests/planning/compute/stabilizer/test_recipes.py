"""A recipe that looks wrong for a fabric's stretch or a design's density is doubted, with the reason."""

import pytest

from planning.compute.stabilizer.layers import LayerNeed
from planning.compute.stabilizer.recipes import (
    DENSE_PER_CM2,
    FULL_FILL_PER_CM2,
    density_per_cm2,
    recipe_doubts,
)


def layer(kind, *, to=100, count=1, topping=False):
    return LayerNeed(kind, 20, to, "laid on top" if topping else "hooped", count, by_extent=topping)


def test_a_full_fill_is_what_rows_and_stitches_of_the_usual_length_lay_on_a_square_centimetre():
    """Rows 0.4 mm apart (63.5 per inch, Printwear, December 2016) with stitches of 4 mm."""
    assert pytest.approx(10 / 0.4 * 10 / 4) == FULL_FILL_PER_CM2
    assert density_per_cm2(625, 10, 100) == pytest.approx(62.5)
    assert density_per_cm2(10, 0, 50) == 0


@pytest.mark.parametrize(
    ("layers", "stretch", "density", "said"),
    [
        ([layer("tear-away", count=2)], "some", 30, "stretches a little, and its recipe has only tear-away"),
        ([layer("tear-away"), layer("wash-away")], "much", 30, "only tear-away and wash-away"),
        ([layer("tear-away")], "none", DENSE_PER_CM2, "one layer of tear-away"),
        ([layer("wash-away")], "none", 200, "one layer of wash-away"),
        ([layer("cut-away", to=50)], "much", FULL_FILL_PER_CM2, "one light layer of cut-away"),
        ([layer("topping", topping=True)], "none", 0, "only a topping"),
    ],
)
def test_what_looks_wrong_is_said_with_its_reason(layers, stretch, density, said):
    (doubt,) = recipe_doubts(layers, stretch=stretch, density=density)
    assert said in doubt
    assert "Common practice" in doubt


@pytest.mark.parametrize(
    ("layers", "stretch", "density"),
    [
        ([], "much", 300),
        ([layer("tear-away")], "none", DENSE_PER_CM2 - 1),
        ([layer("tear-away", count=2)], "none", 300),
        ([layer("cut-away")], "much", 300),
        ([layer("cut-away", to=50)], "much", FULL_FILL_PER_CM2 - 1),
        ([layer("cut-away", to=50, count=2)], "much", 300),
        ([layer("cut-away"), layer("topping", topping=True)], "some", 100),
    ],
)
def test_what_is_common_practice_is_not_doubted(layers, stretch, density):
    assert recipe_doubts(layers, stretch=stretch, density=density) == ()

"""What to buy instead is what exhaustive search over every purchase finds."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from inventory.compute.colour.lab import Lab, delta_e_00_matrix
from planning.compute.certainty.enough import NEEDLE_PRIOR, p_enough
from planning.compute.colour.instead import buy_instead
from planning.compute.colour.rules import Conditions
from planning.compute.colour.substitution import substitute
from tests.planning.compute.colour.test_substitution import grey, random_case, request, shade

ORDINARY = Conditions()


def buy(asked, owned, on_offer, conditions=ORDINARY, **particulars):
    now = substitute(asked, owned, conditions)
    return buy_instead(asked, owned, on_offer, conditions, now=now, **particulars)


def test_the_shade_that_most_thread_gains_by_is_bought_first():
    asked = [request(grey(30), metres=50), request(grey(60), metres=500)]
    owned = [shade(1, grey(33)), shade(2, grey(57))]
    one, two = buy(asked, owned, [shade(11, grey(30)), shade(12, grey(60)), shade(13, grey(90))])
    assert [each.shade.id for each in one.bought] == [12]
    assert sorted(each.shade.id for each in two.bought) == [11, 12]
    assert one.mean_before == two.mean_before > one.mean_after > two.mean_after
    assert two.mean_after == pytest.approx(0.0, abs=1e-9)
    assert one.bought[0].requests == (1,)
    assert one.bought[0].geometry_mm == 500_000


def test_nothing_is_bought_where_nothing_would_come_nearer():
    asked, owned = [request(grey(30))], [shade(1, grey(30))]
    assert buy(asked, owned, [shade(11, grey(31))]) == []
    assert buy(asked, owned, []) == []


def test_a_colour_with_nothing_near_gains_most():
    asked = [request(grey(30)), request(Lab(40.0, 50.0, 30.0))]
    (one,) = buy(asked, [shade(1, grey(30))], [shade(11, Lab(41.0, 50.0, 30.0))])
    assert [each.shade.id for each in one.bought] == [11]


def test_a_purchase_that_would_break_a_rule_is_not_named():
    # 11 is nearer to the light colour than what is owned, but darker than what is pinned to the dark one.
    asked = [request(grey(50)), request(grey(56))]
    owned = [shade(1, grey(51)), shade(2, grey(60)), shade(3, grey(55.3))]
    conditions = Conditions(excluded=frozenset({3}))
    assert len(buy(asked, owned, [shade(11, grey(55.2))], conditions)) == 1
    assert buy(asked, owned, [shade(11, grey(55.2))], replace(conditions, pinned={0: 3})) == []


def exhaustive(asked, owned, bought, conditions, most_broken):
    """Return the least mean with ``bought`` at hand that breaks no more than ``most_broken``, and that of now."""
    labs = [tuple(each.lab) for each in asked]
    shades = [*owned, *bought]
    distance = delta_e_00_matrix(labs, [tuple(each.lab) for each in shades])
    was = delta_e_00_matrix(labs, labs)
    now = delta_e_00_matrix([tuple(each.lab) for each in shades], [tuple(each.lab) for each in shades])
    thread = sum(each.geometry_mm for each in asked)
    options = []
    for row in range(len(asked)):
        usable = [column for column, each in enumerate(shades) if each.id not in conditions.excluded]
        near = [column for column in usable if distance[row, column] <= conditions.colour_limit]
        if row in conditions.pinned:
            options.append([(conditions.pinned[row] - 1, True)])
            continue
        options.append([(column, True) for column in near])
        mine = [column for column in usable if column < len(owned)]
        if mine and not any(column < len(owned) for column in near):
            nearest = min(mine, key=lambda column, row=row: distance[row, column])
            options[-1].append((nearest, False))
    best = math.inf
    for answer in itertools.product(*options):
        ruled = [row for row, (_, is_ruled) in enumerate(answer) if is_ruled]
        alike = order = short = 0
        for one, other in itertools.combinations(ruled, 2):
            c, d = answer[one][0], answer[other][0]
            alike += was[one, other] > 1.0 and now[c, d] < min(was[one, other] / 2, 5.0)
            up, down = labs[one][0] - labs[other][0], shades[c].lab.L - shades[d].lab.L
            order += (up >= 5 and down <= 0) or (up <= -5 and down >= 0)
        for column in {answer[row][0] for row in ruled if answer[row][0] < len(owned)}:
            needs_mm = sorted(asked[row].geometry_mm for row in ruled if answer[row][0] == column)
            free_mm, sigma_mm = shades[column].free
            held = sum(
                p_enough(sum(needs_mm[: n + 1]), NEEDLE_PRIOR, free_mm=free_mm, free_sigma_mm=sigma_mm)
                >= conditions.certainty
                for n in range(len(needs_mm))
            )
            short += len(needs_mm) - held
        if all(count <= most for count, most in zip((short, alike, order), most_broken, strict=True)):
            total = sum(
                each.geometry_mm / thread * distance[row, answer[row][0]] for row, each in enumerate(asked)
            )
            best = min(best, total)
    return best


def broken_now(asked, owned, conditions):
    """The fewest broken rules with what is owned, by trying caps in the order in which rules give way."""
    m = len(asked)
    pairs = m * (m - 1) // 2
    for caps in itertools.product(range(m + 1), range(pairs + 1), range(pairs + 1)):
        if exhaustive(asked, owned, [], conditions, caps) < math.inf:
            return caps
    raise AssertionError("no answer at all")


@pytest.mark.parametrize("cases", [4, pytest.param(36, marks=pytest.mark.thorough)])
def test_on_small_catalogues_every_purchase_is_that_of_exhaustive_search(cases):
    rng = np.random.default_rng(500)
    compared = 0
    for _ in range(cases):
        asked, shades, conditions = random_case(rng)
        asked, owned = asked[:3], shades[: max(2, len(shades) - 2)]
        pinned = {row: id for row, id in conditions.pinned.items() if row < len(asked) and id <= len(owned)}
        conditions = replace(conditions, pinned=pinned)
        on_offer = [
            shade(100 + number, Lab(*(np.array(tuple(asked[number % len(asked)].lab)) + rng.normal(0, 3, 3))))
            for number in range(4)
        ]
        found = buy(asked, owned, on_offer, conditions, least_fall=1e-6)
        caps = broken_now(asked, owned, conditions)
        before = exhaustive(asked, owned, [], conditions, caps)
        expected = []
        for most in (1, 2, 3):
            least = min(
                exhaustive(asked, owned, subset, conditions, caps)
                for subset in itertools.combinations(on_offer, most)
            )
            if least > (expected or [before])[-1] - 1e-6:
                break
            expected.append(least)
        assert [each.mean_after for each in found] == pytest.approx(expected, abs=1e-6)
        assert all(each.mean_before == pytest.approx(before, abs=1e-7) for each in found)
        assert all(len(each.bought) <= number for number, each in enumerate(found, 1))
        compared += len(found)
    assert compared > 5

"""Shades are chosen for a whole design: as few rules broken as can be, and then the least difference."""

import itertools
import math
from collections import defaultdict
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from inventory.compute.colour.lab import Lab, delta_e_00_matrix, lab_from_hex
from planning.compute.certainty.enough import NEEDLE_PRIOR, p_enough
from planning.compute.colour.choice import ColourRequest, OwnedShade, OwnedSpool
from planning.compute.colour.rules import Conditions, choice_problems
from planning.compute.colour.substitution import Substitution, prepare, substitute
from tests.sizes import searched

with np.printoptions():  # the import changes NumPy's print options for the whole process
    import colour as reference


def shade(id, colour, *, metres=10_000.0, sigma_mm=0.0):
    lab = colour if isinstance(colour, Lab) else lab_from_hex(colour)
    spools = (OwnedSpool(id, f"S{id:04}", round(metres * 1000), sigma_mm),)
    return OwnedShade(id, 1, "Skerry", "Forty", str(id), f"shade {id}", "#000000", lab, spools)


def request(colour, *, metres=100.0, name=""):
    lab = colour if isinstance(colour, Lab) else lab_from_hex(colour)
    return ColourRequest("#000000", lab, metres * 1000, name)


def ids(answer: Substitution):
    return [choice.shade.id if choice.shade else None for choice in answer.choices]


def rules(answer: Substitution):
    return [problem.rule for problem in answer.broken]


# Greys on one line: whichever rule is asked about, the others are easy to see.
def grey(L):
    return Lab(L, 0.0, 0.0)


def test_without_conflicts_each_colour_has_its_nearest():
    answer = substitute(
        [request(grey(20)), request(grey(80))], [shade(1, grey(21)), shade(2, grey(79))], Conditions()
    )
    assert ids(answer) == [1, 2]
    assert answer.broken == ()
    assert answer.is_proven


def test_two_colours_that_share_their_nearest_shade_are_kept_apart():
    asked = [request(grey(50), metres=200), request(grey(54))]
    shades = [shade(1, grey(52)), shade(2, grey(46)), shade(3, grey(57))]
    answer = substitute(asked, shades, Conditions())
    assert answer.broken == ()
    assert ids(answer) == [1, 3]


def test_the_lighter_colour_stays_the_lighter():
    one, other = Lab(50.0, 0.0, 0.0), Lab(55.0, 0.0, 0.0)
    shades = [shade(1, Lab(53.0, 1.0, 0.0)), shade(2, Lab(52.8, -2.0, 0.0)), shade(3, Lab(51.0, 3.0, 0.0))]
    answer = substitute([request(one), request(other)], shades, Conditions())
    chosen = [choice.shade.lab.L for choice in answer.choices]
    assert answer.broken == ()
    assert chosen[0] < chosen[1]


def test_colours_that_nobody_tells_apart_may_share_a_shade():
    asked = [request("#b01c2e"), request("#b01c2f")]
    answer = substitute(asked, [shade(1, "#b01c2e"), shade(2, "#b83038")], Conditions())
    assert ids(answer) == [1, 1]
    assert answer.broken == ()


def test_metres_go_to_all_that_use_a_shade():
    asked = [request("#b01c2e"), request("#b01c2f")]
    answer = substitute(asked, [shade(1, "#b01c2e", metres=150), shade(2, "#b21e30")], Conditions())
    assert sorted(ids(answer)) == [1, 2]
    assert answer.broken == ()


def test_a_shade_that_is_badly_known_covers_less():
    sure = substitute([request(grey(50))], [shade(1, grey(50), metres=130), shade(2, grey(51))], Conditions())
    unsure = substitute(
        [request(grey(50))],
        [shade(1, grey(50), metres=130, sigma_mm=30_000), shade(2, grey(51))],
        Conditions(),
    )
    assert (ids(sure), ids(unsure)) == ([1], [2])


def test_a_near_shade_with_too_little_gives_way_to_the_next_near_one():
    shades = [shade(2, "#b01c2e", metres=20), shade(3, "#b21e30")]
    assert ids(substitute([request("#b01c2e")], shades, Conditions())) == [3]


def test_where_none_has_enough_the_nearest_is_named():
    shades = [shade(2, "#b01c2e", metres=20), shade(3, "#b21e30", metres=30)]
    answer = substitute([request("#b01c2e", name="red")], shades, Conditions())
    assert ids(answer) == [2]
    assert [problem.text for problem in answer.broken] == ["2 does not surely cover red."]


def test_the_difference_told_is_the_difference_of_the_two():
    (choice,) = substitute([request("#b01c2e")], [shade(2, "#b21d30")], Conditions()).choices
    expected = delta_e_00_matrix([tuple(lab_from_hex("#b01c2e"))], [tuple(lab_from_hex("#b21d30"))])[0, 0]
    assert choice.delta_e_00 == pytest.approx(expected)


def test_order_gives_way_before_difference_and_difference_before_metres():
    dark, light = request(grey(50)), request(grey(56))
    level = [shade(1, Lab(53, 3, 0)), shade(2, Lab(53, -3, 0))]
    answer = substitute([dark, light], level, Conditions(colour_limit=9.0))
    assert rules(answer) == ["order"]
    assert "should be lighter" in answer.broken[0].text
    one = substitute([dark, light], [shade(1, grey(53)), shade(2, grey(52.9), metres=20)], Conditions())
    assert ids(one) == [1, 1]
    assert rules(one) == ["apart", "order"]
    too_little = substitute([dark, light], [shade(1, grey(53), metres=150)], Conditions())
    assert rules(too_little) == ["metres", "apart", "order"]


def test_a_far_colour_takes_the_nearest_and_no_rule_is_asked_of_it():
    answer = substitute([request("#b01c2e"), request("#2040a0")], [shade(1, "#2040a0")], Conditions())
    assert ids(answer) == [1, 1]
    assert [choice.near_enough for choice in answer.choices] == [False, True]
    assert rules(answer) == ["near"]


def test_a_pinned_shade_is_taken_and_the_rest_moves_around_it():
    asked = [request(grey(50)), request(grey(54))]
    shades = [shade(1, grey(50)), shade(2, grey(54)), shade(3, grey(57))]
    free = substitute(asked, shades, Conditions())
    pinned = substitute(asked, shades, Conditions(pinned={0: 2}))
    assert (ids(free), ids(pinned)) == ([1, 2], [2, 3])
    assert pinned.choices[0].near_enough


def test_an_excluded_shade_is_not_taken_unless_it_is_pinned():
    shades = [shade(1, grey(50)), shade(2, grey(52))]
    assert ids(substitute([request(grey(50))], shades, Conditions(excluded=frozenset({1})))) == [2]
    pinned = Conditions(excluded=frozenset({1}), pinned={0: 1})
    assert ids(substitute([request(grey(50))], shades, pinned)) == [1]


def test_a_block_without_a_colour_has_no_shade_but_the_one_pinned_to_it():
    uncoloured = ColourRequest("", None, 1000.0)
    assert ids(substitute([uncoloured], [shade(1, grey(50))], Conditions())) == [None]
    pinned = substitute([uncoloured], [shade(1, grey(50))], Conditions(pinned={0: 1}))
    assert ids(pinned) == [1]
    assert pinned.choices[0].delta_e_00 is None


def test_an_empty_shelf_gives_no_shade():
    answer = substitute([request(grey(50))], [], Conditions())
    assert ids(answer) == [None]
    assert rules(answer) == ["chosen"]


# Against brute force. Everything below is computed anew from the definitions, one answer at a time.


def random_case(rng):
    """A small case in a corner of the colours so narrow that the rules bind."""
    m, n = int(rng.integers(2, 5)), int(rng.integers(2, 6))

    def lab(spread):
        return Lab(*(np.array([50.0, 20.0, 10.0]) + rng.normal(0, spread, 3)))

    asked = [request(lab(5.0), metres=float(rng.uniform(20, 200))) for _ in range(m)]
    if m > 2 and rng.random() < 0.3:
        near = asked[0].lab
        asked[1] = replace(asked[1], lab=Lab(near.L + 0.3, near.a, near.b))
    shades = [
        shade(
            number + 1,
            lab(6.0),
            metres=float(rng.choice([rng.uniform(10, 400), 5_000])),
            sigma_mm=float(rng.choice([0.0, rng.uniform(0, 20_000)])),
        )
        for number in range(n)
    ]
    pinned = {int(rng.integers(m)): int(rng.integers(n)) + 1} if rng.random() < 0.25 else {}
    excluded = frozenset({int(rng.integers(n)) + 1}) if rng.random() < 0.25 else frozenset()
    limit = float(rng.choice([5.0, 9.0, math.inf]))
    return asked, shades, Conditions(pinned=pinned, excluded=excluded, colour_limit=limit)


def brute_force(asked, shades, conditions):
    """Return the least rank over all answers, and a function that ranks any one: rules by gravity, then total.

    Rules are asked of the requests that have a shade within the limit; the others take the nearest.
    """
    asked_labs, shade_labs = [tuple(each.lab) for each in asked], [tuple(each.lab) for each in shades]
    distance = delta_e_00_matrix(asked_labs, shade_labs)
    was, now = delta_e_00_matrix(asked_labs, asked_labs), delta_e_00_matrix(shade_labs, shade_labs)
    thread = sum(each.geometry_mm for each in asked)
    options, among = [], []
    for row in range(len(asked)):
        usable = [column for column in range(len(shades)) if column + 1 not in conditions.excluded]
        near = [column for column in usable if distance[row, column] <= conditions.colour_limit]
        if row in conditions.pinned:
            near = [conditions.pinned[row] - 1]
        if near:
            among.append(row)
        options.append(near or [min(usable, key=lambda column, row=row: distance[row, column])])

    @cache
    def covers(column, needs_mm):
        free_mm, sigma_mm = shades[column].free
        p = p_enough(sum(needs_mm), NEEDLE_PRIOR, free_mm=free_mm, free_sigma_mm=sigma_mm)
        return p >= conditions.certainty

    @cache
    def to_take_off(column, needs_mm):
        return next(
            gone
            for gone in range(len(needs_mm) + 1)
            if any(covers(column, rest) for rest in itertools.combinations(needs_mm, len(needs_mm) - gone))
        )

    def rank(chosen):
        users = defaultdict(tuple)
        for row in among:
            users[chosen[row]] += (asked[row].geometry_mm,)
        short = sum(to_take_off(column, needs_mm) for column, needs_mm in users.items())
        alike = order = 0
        for one, other in itertools.combinations(among, 2):
            a, b = asked_labs[one][0], asked_labs[other][0]
            c, d = shade_labs[chosen[one]][0], shade_labs[chosen[other]][0]
            apart = was[one, other]
            alike += apart > 1.0 and now[chosen[one], chosen[other]] < min(apart / 2, 5.0)
            order += (a - b >= 5 and c <= d) or (b - a >= 5 and d <= c)
        total = sum(each.geometry_mm / thread * distance[row, chosen[row]] for row, each in enumerate(asked))
        return (short, int(alike), int(order), float(total))

    return min(rank(chosen) for chosen in itertools.product(*options)), rank


@pytest.mark.parametrize("part", searched(range(10)))
def test_on_a_thousand_small_cases_the_answer_is_that_of_brute_force(part):
    answers_are_those_of_brute_force(np.random.default_rng(part), cases=100)


def test_on_small_cases_the_answer_is_that_of_brute_force():
    answers_are_those_of_brute_force(np.random.default_rng(10), cases=10)


def answers_are_those_of_brute_force(rng, *, cases):
    for _ in range(cases):
        asked, shades, conditions = random_case(rng)
        answer = substitute(asked, shades, conditions)
        best, rank = brute_force(asked, shades, conditions)
        chosen = tuple(choice.shade.id - 1 for choice in answer.choices)
        assert answer.is_proven
        assert rank(chosen)[:3] == best[:3]
        assert rank(chosen)[3] == pytest.approx(best[3], abs=1e-7)
        assert answer.mean_delta_e == pytest.approx(best[3], abs=1e-7)
        assert answer.bound == pytest.approx(best[3], abs=1e-6)
        # What the rank counts, the checker names: every rule by itself is found or not found by both.
        named = [problem.rule for problem in answer.broken]
        assert (named.count("apart"), named.count("order")) == best[1:3]
        assert ("metres" in named) == (best[0] > 0)


def test_the_small_cases_bind_every_rule():
    seen = set()
    for part in range(10):
        rng = np.random.default_rng(part)
        for _ in range(100):
            best, _ = brute_force(*random_case(rng))
            seen |= {name for name, broken in zip(("metres", "apart", "order"), best, strict=False) if broken}
            seen |= {"none"} if best[:3] == (0, 0, 0) else set()
    assert seen == {"metres", "apart", "order", "none"}


# Every deliberately broken answer is refused.

ASKED = [request(grey(30), name="ink"), request(grey(60), name="stone"), request(grey(64), name="fog")]
OWNED = [
    shade(1, grey(31)),
    shade(2, grey(59)),
    shade(3, grey(65)),
    shade(4, grey(62), metres=150),
    shade(5, Lab(59.0, 2.0, 0.0)),
    shade(6, Lab(61.5, 1.0, 0.0), metres=20),
]
GOOD = [OWNED[0], OWNED[1], OWNED[2]]


def test_the_checker_has_nothing_to_say_of_a_sound_choice():
    assert choice_problems(GOOD, ASKED, OWNED, Conditions()) == []
    assert ids(substitute(ASKED, OWNED, Conditions())) == [1, 2, 3]


@pytest.mark.parametrize(
    ("number", "instead", "conditions", "rule", "words"),
    [
        (0, None, Conditions(), "chosen", "No shade is chosen for ink"),
        (0, shade(99, grey(30)), Conditions(), "chosen", "is not to be had"),
        (1, OWNED[1], Conditions(excluded=frozenset({2})), "excluded", "2 is not to be used"),
        (1, OWNED[1], Conditions(pinned={1: 4}), "pinned", "stone does not have the shade pinned to it"),
        (0, OWNED[1], Conditions(), "near", "differs from ink by ΔE00"),
        (1, OWNED[5], Conditions(), "metres", "6 does not surely cover stone"),
        (1, OWNED[2], Conditions(), "apart", "stone and fog share 3"),
        (2, shade(7, grey(60)), Conditions(), "apart", "differ by only ΔE00 0.9 as 2 and 7"),
    ],
)
def test_the_checker_names_what_is_wrong_with_one_shade(number, instead, conditions, rule, words):
    chosen = [*GOOD[:number], instead, *GOOD[number + 1 :]]
    shades = [*OWNED, instead] if instead is not None and instead.id == 7 else OWNED
    problems = choice_problems(chosen, ASKED, shades, conditions)
    assert rule in [problem.rule for problem in problems]
    assert any(words in problem.text and number in problem.requests for problem in problems)


def test_the_checker_names_shades_that_turn_light_into_dark():
    light, dark = request(grey(66), name="fog"), request(grey(60), name="stone")
    turned = [shade(1, Lab(62.0, 4.0, 0.0)), shade(2, Lab(63.0, -4.0, 0.0))]
    (problem,) = choice_problems(turned, [light, dark], turned, Conditions(colour_limit=9.0))
    assert (problem.rule, problem.requests) == ("order", (0, 1))
    assert "fog should be lighter than stone" in problem.text


@pytest.mark.parametrize("cases", [3, pytest.param(60, marks=pytest.mark.thorough)])
def test_any_other_answer_to_a_sound_case_is_refused_or_worse(cases):
    rng = np.random.default_rng(100)
    refused = 0
    for _ in range(cases):
        asked, shades, conditions = random_case(rng)
        answer = substitute(asked, shades, conditions)
        if answer.broken:
            continue
        _, rank = brute_force(asked, shades, conditions)
        for columns in itertools.product(range(len(shades)), repeat=len(asked)):
            problems = choice_problems([shades[each] for each in columns], asked, shades, conditions)
            if problems:
                refused += 1
            else:
                assert rank(columns) >= (0, 0, 0, answer.mean_delta_e - 1e-7)
    assert refused > 0


# Against a reference library, with its own data.


def test_the_nearest_munsell_colour_of_every_chart_patch_is_that_of_the_reference_library():
    illuminant_c = reference.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]

    def labs(colours, white):
        return np.array([reference.XYZ_to_Lab(reference.xyY_to_XYZ(xyY), white) for xyY in colours])

    munsell = labs(
        [np.array([x, y, Y / 100]) for _, (x, y, Y) in reference.MUNSELL_COLOURS["real"]], illuminant_c
    )
    owned = [shade(number, Lab(*map(float, lab))) for number, lab in enumerate(munsell)]
    assert len(owned) > 2_000
    patches = 0
    for chart in reference.CCS_COLOURCHECKERS.values():
        asked = [request(Lab(*map(float, lab))) for lab in labs(chart.data.values(), chart.illuminant)]
        everything = Conditions(colour_limit=math.inf)
        distance = prepare(asked, owned, everything).distance
        for row, each in enumerate(asked):
            exhaustive = reference.difference.delta_E_CIE2000(np.array(tuple(each.lab)), munsell)
            assert exhaustive[distance[row].argmin()] == exhaustive.min()
            assert distance[row].min() == pytest.approx(exhaustive.min(), abs=1e-3)
        alone = substitute(asked[:1], owned, everything).choices[0]
        assert alone.shade.id == distance[0].argmin()
        patches += len(asked)
    assert patches >= 24

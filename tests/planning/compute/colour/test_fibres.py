"""One piece is stitched in the fibre that serves it best, and nothing but a person's word crosses that."""

from dataclasses import replace

import numpy as np
import pytest

from inventory.compute.colour.lab import Lab, delta_e_00
from inventory.compute.names.plain import share_a_hue
from planning.compute.certainty.enough import p_enough
from planning.compute.colour.choice import ColourRequest, OwnedShade, OwnedSpool
from planning.compute.colour.fibres import METALLIC, fibre_of_piece, in_one_fibre, spools_of_other_fibres
from planning.compute.colour.rules import Conditions, choice_problems
from planning.compute.colour.substitution import substitute
from planning.compute.colour.wishes import wished_thread_colour

LIMIT = 5.0
FIBRES = ("polyester", "rayon", METALLIC)


def shade(id, lab, fibre, *, metres=1_000.0):
    spools = (OwnedSpool(id, f"S{id:04}", round(metres * 1000), 0.0),)
    return OwnedShade(id, 1, "Skerry", fibre, f"{fibre} {id}", "", "#000000", lab, spools, fibre=fibre)


def demand(lab, *, metres=100.0, fibre=""):
    return ColourRequest("#000000", lab, metres * 1000, fibre=fibre)


def wish(lab, *, metres=100.0):
    return replace(demand(lab, metres=metres), wished=wished_thread_colour(lab))


def grey(L):
    return Lab(L, 0.0, 0.0)


def chosen(requests, shades, conditions=Conditions()):  # noqa: B008 (frozen)
    within = in_one_fibre(requests, shades, conditions)
    answer = substitute(requests, shades, within)
    return [choice.shade.code if choice.shade else None for choice in answer.choices]


def test_no_colour_of_a_piece_takes_a_nearer_shade_of_another_fibre():
    shades = [shade(1, grey(21), "polyester"), shade(2, grey(60), "polyester"), shade(3, grey(20), "rayon")]
    assert chosen([demand(grey(20)), demand(grey(60))], shades) == ["polyester 1", "polyester 2"]


def test_fewest_colours_without_a_near_shade_come_first_then_metres_then_the_difference():
    asked = [demand(grey(20)), demand(grey(60))]
    exact_but_one = [shade(1, grey(20), "polyester"), shade(2, grey(80), "polyester")]
    near = [shade(3, grey(22), "rayon"), shade(4, grey(62), "rayon")]
    assert fibre_of_piece(asked, [*exact_but_one, *near], Conditions()) == "rayon"
    nearer = [shade(1, grey(20), "polyester", metres=5), shade(2, grey(60), "polyester")]
    assert fibre_of_piece(asked, [*nearer, *near], Conditions()) == "rayon"
    enough = [shade(1, grey(20), "polyester"), shade(2, grey(61), "polyester")]
    assert fibre_of_piece(asked, [*enough, *near], Conditions()) == "polyester"


def test_of_two_that_serve_alike_the_one_with_most_thread_is_taken_then_the_first_by_name():
    asked = [demand(grey(50))]
    more = [shade(1, grey(50), "polyester", metres=500), shade(2, grey(50), "rayon", metres=900)]
    assert fibre_of_piece(asked, more, Conditions()) == "rayon"
    alike = [shade(2, grey(50), "rayon"), shade(1, grey(50), "polyester")]
    assert fibre_of_piece(asked, alike, Conditions()) == "polyester"


def test_a_wish_is_near_where_it_would_be_if_every_fibre_might_serve():
    # The orange of the other fibre has little left, but what the first calls orange is another colour to the eye.
    orange, pale = Lab(65.0, 45.0, 60.0), Lab(78.0, 18.0, 45.0)
    assert share_a_hue(wished_thread_colour(orange), orange)
    shades = [shade(1, orange, "polyester", metres=20), shade(2, pale, "rayon")]
    assert chosen([wish(orange)], shades) == ["polyester 1"]


def test_metallic_thread_stands_for_nothing_else_and_nothing_for_it():
    gold, other = Lab(70.0, 5.0, 60.0), Lab(69.0, 5.0, 58.0)
    metal, plain = shade(1, gold, METALLIC), shade(2, other, "polyester")
    assert chosen([demand(gold)], [metal, plain]) == ["polyester 2"]
    assert chosen([demand(gold)], [metal]) == [None]
    assert chosen([demand(gold, fibre=METALLIC), demand(other)], [metal, plain]) == [
        "metallic 1",
        "polyester 2",
    ]
    assert chosen([demand(gold, fibre=METALLIC)], [plain]) == [None]
    assert chosen([demand(gold, fibre=METALLIC), demand(other)], [plain]) == [None, "polyester 2"]
    assert chosen([demand(gold)], [metal, plain], Conditions(pinned={0: 1})) == ["metallic 1"]


def test_what_a_person_pinned_or_named_is_kept_and_the_rest_follows_where_it_can():
    shades = [
        shade(1, grey(20), "polyester"),
        shade(2, grey(60), "polyester"),
        shade(3, grey(21), "rayon"),
        shade(4, grey(61), "rayon"),
    ]
    asked = [demand(grey(20)), demand(grey(60))]
    assert chosen(asked, shades) == ["polyester 1", "polyester 2"]
    assert chosen(asked, shades, Conditions(pinned={0: 3})) == ["rayon 3", "rayon 4"]
    # Where the rest cannot follow, it does not: a person said so of one colour alone.
    assert chosen(asked, shades[:3], Conditions(pinned={0: 3})) == ["rayon 3", "polyester 2"]
    named = [demand(grey(20), fibre="rayon"), demand(grey(60))]
    assert chosen(named, shades) == ["rayon 3", "rayon 4"]
    assert chosen(named, shades[:2]) == [None, "polyester 2"]


def test_blocks_without_a_colour_say_nothing_of_a_fibre():
    uncoloured = ColourRequest("", None, 1_000.0)
    shades = [shade(1, grey(20), "polyester"), shade(2, grey(20), METALLIC)]
    assert in_one_fibre([uncoloured], shades, Conditions()).fibres == {}
    # Metallic thread on one block says nothing of the others, and plain thread does.
    assert in_one_fibre([uncoloured] * 2, shades, Conditions(pinned={0: 2})).fibres == {}
    assert in_one_fibre([uncoloured] * 2, shades, Conditions(pinned={0: 1})).fibres[1] == "polyester"


def test_the_checker_tells_a_shade_of_another_fibre():
    shades = [shade(1, grey(50), "polyester"), shade(2, grey(50), "rayon")]
    within = Conditions(fibres={0: "polyester"})
    (problem,) = choice_problems([shades[1]], [demand(grey(50))], shades, within)
    assert (problem.rule, problem.requests) == ("fibre", (0,))
    assert problem.text == "rayon 2 is rayon, and #000000 is to be polyester."
    assert choice_problems([shades[0]], [demand(grey(50))], shades, within) == []


def test_spools_that_nothing_may_have_for_their_fibre_are_told():
    shades = [shade(1, grey(50), "polyester"), shade(2, grey(50), "rayon"), shade(3, grey(50), METALLIC)]
    within = in_one_fibre([demand(grey(50)), demand(grey(50))], shades, Conditions(pinned={1: 3}))
    assert spools_of_other_fibres(shades, within) == {"spools of Skerry rayon": ["S0002"]}
    assert spools_of_other_fibres(shades, Conditions()) == {}


def a_case(rng):
    labs = [Lab(*rng.uniform((20, -30, -30), (80, 30, 30))) for _ in range(3)]

    def near(lab):
        return Lab(*(np.array(tuple(lab)) + rng.normal(0, 4, 3)))

    shades = [
        shade(
            id,
            near(labs[rng.integers(3)]),
            FIBRES[rng.choice(3, p=(0.4, 0.4, 0.2))],
            metres=rng.choice((40, 900)),
        )
        for id in range(1, rng.integers(2, 8))
    ]
    requests = [
        (
            wish(near(lab))
            if rng.random() < 0.5
            else demand(near(lab), fibre=rng.choice(("", "", "", *FIBRES)))
        )
        for lab in labs[: rng.integers(1, 4)]
    ]
    pinned = {0: int(rng.integers(1, len(shades) + 1))} if rng.random() < 0.3 else {}
    excluded = frozenset({int(rng.integers(1, len(shades) + 1))} if rng.random() < 0.2 else ())
    return requests, shades, Conditions(pinned=pinned, excluded=excluded)


def brute_force(requests, shades, conditions):
    """Return the fibre by looking at each shade of each fibre for each request, as the rule is told in words."""
    pins = {
        number: next(each for each in shades if each.id == id) for number, id in conditions.pinned.items()
    }
    usable = [each for each in shades if each.fibre != METALLIC and each.id not in conditions.excluded]
    served = [n for n, each in enumerate(requests) if n not in pins and not each.fibre]
    given = [pins[n].fibre if n in pins else each.fibre for n, each in enumerate(requests)]
    fibres = {each.fibre for each in shades} | set(given)
    if not served and not set(given) - {"", METALLIC}:
        return None
    total = sum(requests[n].geometry_mm for n in served)
    ways = []
    for fibre in sorted(fibres - {"", METALLIC}):
        another = sum(each not in ("", METALLIC, fibre) for each in given)
        without, short, apart, used = 0, 0, 0.0, {}
        for n in served:
            request = requests[n]
            off = {each.id: float(delta_e_00(tuple(request.sought), [tuple(each.lab)])[0]) for each in usable}
            of_hue = [
                off[each.id] for each in usable if request.wished and share_a_hue(request.wished, each.lab)
            ]
            own = [each for each in usable if each.fibre == fibre]
            near = [
                each
                for each in own
                if off[each.id] <= LIMIT
                or (of_hue and share_a_hue(request.wished, each.lab) and off[each.id] <= min(of_hue) + LIMIT)
            ]
            needed = request.geometry_mm * conditions.factor.median
            enough = [
                each
                for each in near
                if p_enough(needed, conditions.factor.about_one, free_mm=each.free[0], free_sigma_mm=0.0)
                >= conditions.certainty
            ]
            without += not near
            short += bool(near) and not enough
            best = min(enough or near or own, key=lambda each: off[each.id], default=None)
            apart += request.geometry_mm / total * (off[best.id] if best else 1_000.0)
            if best:
                used[best.id] = best.free[0]
        ways.append((without, another, short, round(apart, 6), -sum(used.values()), fibre))
    return min(ways)[-1] if ways else ""


@pytest.mark.parametrize(
    "seed", [*range(10), *(pytest.param(seed, marks=pytest.mark.thorough) for seed in range(10, 160))]
)
def test_the_fibre_is_that_of_a_search_through_all_of_them(seed):
    requests, shades, conditions = a_case(np.random.default_rng(seed))
    fibre = fibre_of_piece(requests, shades, conditions)
    assert fibre == brute_force(requests, shades, conditions)
    if fibre is None:
        return
    within = in_one_fibre(requests, shades, conditions)
    answer = substitute(requests, shades, within)
    for number, choice in enumerate(answer.choices):
        if choice.shade and number not in conditions.pinned:
            assert choice.shade.fibre == (requests[number].fibre or fibre)
    assert not [problem for problem in answer.broken if problem.rule in ("fibre", "pinned", "excluded")]

"""Which shade stands for each colour of a whole design, so that the design keeps working.

A choice for one colour is not looked at alone: two colours that take the same nearest shade are no longer two,
a light one may end darker than its neighbour, and the metres of a shade go to all that use it. The shades are
chosen together so that, with as few of these rules broken as can be, the mean difference is least.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from inventory.compute.colour.grade import grade_between
from inventory.compute.colour.knowing import difference_between
from inventory.compute.colour.lab import delta_e_00_matrix
from planning.compute.colour.case import Bools, Broken, ColourCase, Floats, Ints, colour_case, count_broken
from planning.compute.colour.choice import Choice, ColourRequest, OwnedShade
from planning.compute.colour.cliques import unbroken
from planning.compute.colour.program import Caps, Columns, solve
from planning.compute.colour.repair import repaired
from planning.compute.colour.rules import (
    ChoiceProblem,
    Conditions,
    choice_problems,
    lab_array,
    within_reach,
)
from planning.compute.search.linear import Rows, least_relaxed
from planning.compute.search.proof import Proof, SecondsLeft, proof_of

# Work of all stages in which rules give way, shared among them; the last one, the differences, always gets its part.
NODES = 2_000
LAST_PART = NODES // 4
# In larger programs than this the rules are not weighed against each other, for even the first node takes long: what
# was mended stands, with its bound.
MOST_WEIGHED, MOST_ENTRIES = 250, 12_000
_TRIFLE = 1e-9  # costs nearer than this are equal


@dataclass(frozen=True)
class Substitution:
    """A choice for each request, in their order, and the rules it breaks, in words.

    ``mean_delta_e`` is over the thread that is stitched. No choice that breaks as few rules has a mean below
    ``bound``; where it is the *least*, none breaks fewer, and none of those has a lower mean. Where a rule
    ``must_break``, it is proven that no choice keeps them all.
    """

    choices: tuple[Choice, ...]
    mean_delta_e: float
    bound: float
    proof: Proof
    broken: tuple[ChoiceProblem, ...]
    must_break: bool = False
    matching: "Matching | None" = field(default=None, compare=False, repr=False)  # what it was chosen from

    @property
    def is_proven(self) -> bool:
        return self.proof is Proof.LEAST

    @property
    def gap(self) -> float:
        """How far the mean may lie above the least there is, as a share of it."""
        return 0.0 if self.is_proven else (self.mean_delta_e - self.bound) / max(self.mean_delta_e, _TRIFLE)


@dataclass(frozen=True)
class Answer:
    """The shade of each request of a case, (m,)."""

    chosen: Ints
    total: float
    bound: float
    proof: Proof
    broken: Broken
    must_break: bool = False


@dataclass(frozen=True)
class Matching:
    """The requests that ask for a colour and the shades that have one, ready to be matched.

    ``numbers`` are the places of the requests among all that came in; ``distance`` (m, n) is CIEDE2000, with
    infinity for excluded shades, those of another fibre than is wanted, and all but the pinned one; ``open`` those
    within reach of the request, or pinned.
    ``asked`` is what shades are held against: of a wish, the colour of thread that it comes to.
    """

    numbers: tuple[int, ...]
    requests: tuple[ColourRequest, ...]
    shades: tuple[OwnedShade, ...]
    asked: Floats
    weights: Floats
    distance: Floats
    open: Bools


def substitute(
    requests: Sequence[ColourRequest],
    shades: Sequence[OwnedShade],
    conditions: Conditions,
    *,
    seconds_left: SecondsLeft = None,
) -> Substitution:
    """Return the shades chosen together for all ``requests``.

    Where the rules cannot all hold, the order from light to dark gives way first, then that colours stay apart,
    then metres. Among answers that break as few, the mean CIEDE2000, weighted by thread, is least. A request
    with no shade within the limit is given the nearest, marked as not near enough, and no rule is asked of it.
    """
    choices = [Choice(None)] * len(requests)
    matching = prepare(requests, shades, conditions)
    if not matching.numbers:
        problems = choice_problems([None] * len(requests), requests, shades, conditions)
        return Substitution(tuple(choices), 0.0, 0.0, Proof.LEAST, tuple(problems), matching=matching)
    near = np.flatnonzero(matching.open.any(axis=1))
    far = np.flatnonzero(~matching.open.any(axis=1) & np.isfinite(matching.distance).any(axis=1))
    picked = {int(row): int(matching.distance[row].argmin()) for row in far}
    apart = float(
        sum(matching.weights[row] * matching.distance[row, column] for row, column in picked.items())
    )
    total, bound, proof, must_break = apart, apart, Proof.LEAST, False
    if len(near):
        used = np.flatnonzero(matching.open[near].any(axis=0))
        case = colour_case(
            matching.asked[near],
            [matching.requests[row] for row in near],
            [matching.shades[column] for column in used],
            weights=matching.weights[near],
            open_pairs=matching.open[np.ix_(near, used)],
            conditions=conditions,
            apart=matching.distance[np.ix_(near, used)],
        )
        answer = least_broken(case, seconds_left=seconds_left)
        picked |= {int(row): int(used[column]) for row, column in zip(near, answer.chosen, strict=True)}
        total, bound = apart + answer.total, apart + answer.bound
        proof, must_break = answer.proof, answer.must_break
    for row, column in picked.items():
        choices[matching.numbers[row]] = _choice(matching, row, column)
    chosen = [choice.shade for choice in choices]
    broken = choice_problems(chosen, requests, shades, conditions)
    return Substitution(tuple(choices), total, bound, proof, tuple(broken), must_break, matching)


def prepare(
    requests: Sequence[ColourRequest],
    shades: Sequence[OwnedShade],
    conditions: Conditions,
    *,
    on_offer: frozenset[int] = frozenset(),
) -> Matching:
    """Return what can be matched. A request without a colour asks for that of the shade pinned to it.

    ``on_offer`` are ids of shades that are not owned: they do not say how far a wish reaches on the shelf.
    """
    known = [shade for shade in shades if shade.lab is not None]
    by_id = {shade.id: column for column, shade in enumerate(known)}
    pins = {number: by_id[shade] for number, shade in conditions.pinned.items() if shade in by_id}
    numbers = [
        number
        for number, request in enumerate(requests)
        if known and (request.lab is not None or number in pins)
    ]
    asked = lab_array([requests[number].sought or known[pins[number]].lab for number in numbers])
    distance = delta_e_00_matrix(asked, lab_array([shade.lab for shade in known]))
    barred = np.array([shade.id in conditions.excluded for shade in known], dtype=bool)
    distance[:, barred] = np.inf
    for row, number in enumerate(numbers):
        if number in conditions.fibres:
            distance[row, [not conditions.is_of_its_fibre(number, shade) for shade in known]] = np.inf
    own = np.array([shade.id not in on_offer for shade in known], dtype=bool)
    is_open = np.zeros(distance.shape, dtype=bool)
    for row, number in enumerate(numbers):
        is_open[row] = within_reach(
            requests[number], distance[row], known, limit=conditions.colour_limit, own=own
        )
    for row, number in enumerate(numbers):
        if number in pins:
            column = pins[number]
            difference = delta_e_00_matrix(asked[row : row + 1], lab_array([known[column].lab]))[0, 0]
            distance[row], is_open[row] = np.inf, False
            distance[row, column], is_open[row, column] = difference, True
    taken = [requests[number].geometry_mm + requests[number].path_mm for number in numbers]
    thread = np.array(taken, dtype=float)
    weights = thread / thread.sum() if thread.sum() > 0 else np.full(len(numbers), 1 / max(1, len(numbers)))
    return Matching(
        tuple(numbers),
        tuple(requests[number] for number in numbers),
        tuple(known),
        asked,
        weights,
        distance,
        is_open,
    )


@dataclass(frozen=True)
class RunnerUp:
    """A shade that a person may prefer for one request, and how far off it is."""

    shade: OwnedShade
    delta_e_00: float


def nearest_first(matching: Matching, *, most: int = 8) -> list[tuple[RunnerUp, ...]]:
    """Return for each request of ``matching`` the shades it may have, up to ``most``, the nearest first.

    How far off each is is told from the colour as it was asked for.
    """
    ranked = []
    known = lab_array([shade.lab for shade in matching.shades])
    for request, distances in zip(matching.requests, matching.distance, strict=True):
        told = distances if request.wished is None else delta_e_00_matrix(lab_array([request.lab]), known)[0]
        columns = np.argsort(distances, kind="stable")[:most]
        ranked.append(
            tuple(
                RunnerUp(matching.shades[column], float(told[column]))
                for column in columns
                if np.isfinite(distances[column])
            )
        )
    return ranked


def _choice(matching: Matching, row: int, column: int) -> Choice:
    request, shade = matching.requests[row], matching.shades[column]
    near_enough = bool(matching.open[row, column])
    if request.lab is None:
        return Choice(shade, near_enough=near_enough)
    # Told from the colour as it was asked for: a wish is brought onto the gamut only to choose by.
    asked, its = lab_array([request.lab]), lab_array([shade.lab])
    distance = float(delta_e_00_matrix(asked, its)[0, 0])
    return Choice(
        shade=shade,
        delta_e_00=distance,
        grade=grade_between(asked[0], its[0]),
        near_enough=near_enough,
        between=difference_between(distance, request.sigma, shade.sigma),
    )


def least_broken(case: ColourCase, *, seconds_left: SecondsLeft = None) -> Answer:
    """Return the answer that breaks fewest rules, the gravest first, and among those has the least total.

    If the best matching without the rules breaks none it is the answer. Else a quick answer is mended, and tells which
    pairs can be left out: CIEDE2000 obeys no triangle inequality, so nothing is concluded from where colours lie; but
    a pair that costs more, with the least of every other request, than an answer at hand is in no better one. The
    program over the rest finds the least, or proves that a rule must break; then rules give way in stages.
    """
    free = _matched(case)
    if free is not None and count_broken(case, free) == case.fewest:
        return Answer(free, case.total(free), case.total(free), Proof.LEAST, case.fewest)
    at_hand = _quick(case)
    if count_broken(case, at_hand) != case.fewest:
        at_hand = repaired(case, at_hand)
    is_unbroken = count_broken(case, at_hand) == case.fewest
    pairs = _worth_a_try(case, case.allowed, case.total(at_hand)) if is_unbroken else case.allowed
    found = unbroken(case, pairs, at_hand, seconds_left=seconds_left)
    lowest = float(np.where(case.open, case.cost, np.inf).min(axis=1).sum())
    chosen, bound, is_least = at_hand, found.bound, False
    # The solver works to a small tolerance: what it finds is counted again.
    if found.chosen is not None and count_broken(case, found.chosen) == case.fewest:
        chosen = found.chosen
        is_least = case.total(chosen) - bound <= _TRIFLE * 10
    elif found.is_none and int(case.allowed.sum()) <= MOST_WEIGHED:
        chosen, bound, is_least = _relaxed(case, at_hand, seconds_left)
    elif not is_unbroken:
        bound = lowest  # which rules give way is not known for sure
    total = case.total(chosen)
    return Answer(
        chosen=chosen,
        total=total,
        bound=min(max(lowest, bound), total),
        proof=proof_of(is_least=is_least, was_cut_short=seconds_left is not None and seconds_left() <= 0),
        broken=count_broken(case, chosen),
        must_break=found.is_none,
    )


def _relaxed(case: ColourCase, at_hand: Ints, seconds_left: SecondsLeft) -> tuple[Ints, float, bool]:
    """Give way in the stated order: to the order of lightness, to colours staying apart, to metres.

    Return the best choice, a bound on its total, and if that is proven. One budget of work serves all stages: each
    may use half of what is left but for the part of the last.
    """
    hard, soft = _columns(case, case.allowed), _columns_that_may_be_short(case)
    short = case.fewest.short
    ways = (
        (hard, ("out_of_order",), Caps(short, 0, None)),
        (hard, ("alike", "out_of_order"), Caps(short, None, None)),
        (soft, ("short", "alike", "out_of_order"), Caps(None, None, None)),
    )
    left, proven = NODES - LAST_PART, True
    for columns, stages, caps in ways:
        for rule in stages:
            found = solve(
                case,
                columns,
                least=rule,
                caps=caps,
                nodes=max(1, left // 2),
                most_entries=MOST_ENTRIES,
                seconds_left=seconds_left,
            )
            left -= min(found.nodes, left)
            proven = proven and found.is_proven
            if found.columns is None:
                break
            caps = Caps(**(vars(caps) | {rule: round(found.objective)}))
        if found.columns is None:
            continue
        last = solve(case, columns, caps=caps, nodes=left + LAST_PART, seconds_left=seconds_left)
        # Out of work, the answer of the stage before still breaks as few rules.
        best = (found if last.columns is None else last).columns
        assert best is not None
        chosen = columns.shade[best]
        # Where a stage was not finished, what was mended may be better.
        if (count_broken(case, at_hand), case.total(at_hand)) < (
            count_broken(case, chosen),
            case.total(chosen),
        ):
            return at_hand, -np.inf, False
        return chosen, last.bound if proven else -np.inf, proven and last.is_proven
    return at_hand, -np.inf, False


def _matched(case: ColourCase) -> Ints | None:
    """The cheapest shades with no rule asked; each for one request where none may share."""
    cost = np.where(case.allowed, case.cost, np.inf)
    nearest = cost.argmin(axis=1)
    may_share = (case.least_apart == 0).sum() > len(nearest)
    if len(set(nearest)) == len(nearest) or may_share or cost.shape[0] > cost.shape[1]:
        return nearest
    # In some cheapest matching each request has one of as many shades as there are requests, its cheapest.
    few = np.argsort(cost, axis=1, kind="stable")[:, : len(nearest)]
    request, place = np.nonzero(np.isfinite(np.take_along_axis(cost, few, axis=1)))
    shade = few[request, place]
    rows = Rows()
    for each in range(len(nearest)):
        rows.add(np.flatnonzero(request == each), low=1.0, high=1.0)
    for each in np.unique(shade):
        rows.add(np.flatnonzero(shade == each), high=1.0)
    found = least_relaxed(cost[request, shade], rows)  # a corner of it has whole numbers
    if found is None:  # there are not shades enough for one each
        return None
    return np.asarray(shade[found.amounts > 0.5])


def _quick(case: ColourCase) -> Ints:
    """An answer found request by request, most thread first, breaking as little as each one can."""
    order = np.argsort(-case.needs_mm.min(axis=1), kind="stable")
    chosen = np.full(len(order), -1)
    left_mm = case.covers_mm.copy()
    for place, request in enumerate(order):
        candidates = np.flatnonzero(case.open[request])
        before = order[:place]
        labs, others = case.shades[candidates], case.shades[chosen[before]]
        short = left_mm[candidates] < case.needs_mm[request, candidates]
        alike = (case.least_apart[request, before] > case.between(chosen[before], candidates).T).sum(axis=1)
        L, L_others = labs[:, :1], others[None, :, 0]
        inverted = (case.lighter[request, before] & (L_others >= L)) | (
            case.lighter[before, request] & (L_others <= L)
        )
        best = np.lexsort((case.cost[request, candidates], inverted.sum(axis=1), alike, short))[0]
        chosen[request] = candidates[best]
        if not short[best]:
            left_mm[candidates[best]] -= case.needs_mm[request, candidates[best]]
    return chosen


def _worth_a_try(case: ColourCase, pairs: Bools, at_hand: float) -> Bools:
    """The ``pairs`` that an answer no dearer than the one ``at_hand`` may use."""
    cost = np.where(pairs, case.cost, np.inf)
    least = cost.min(axis=1, keepdims=True)
    return np.asarray(cost - least <= at_hand - least.sum() + _TRIFLE)


def _columns(case: ColourCase, pairs: Bools) -> Columns:
    request, shade = np.nonzero(pairs)
    return Columns(
        request=request,
        shade=shade,
        cost=case.cost[request, shade],
        short=case.forced_short[request],
        ruled=np.ones(len(request), dtype=bool),
    )


def _columns_that_may_be_short(case: ColourCase) -> Columns:
    covered, short = np.nonzero(case.fits), np.nonzero(case.open)
    request, shade = (np.concatenate(both) for both in zip(covered, short, strict=True))
    return Columns(
        request=request,
        shade=shade,
        cost=case.cost[request, shade],
        short=np.arange(len(request)) >= len(covered[0]),
        ruled=np.ones(len(request), dtype=bool),
    )

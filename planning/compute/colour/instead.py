"""Which one, two or three shades that are not owned would bring a design nearest to its colours."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from planning.compute.colour.case import Bools, Broken, ColourCase, Ints, colour_case, count_broken
from planning.compute.colour.choice import ColourRequest, OwnedShade
from planning.compute.colour.program import Caps, Columns, buying_ever_more
from planning.compute.colour.rules import Conditions
from planning.compute.colour.substitution import Matching, Substitution, prepare
from planning.compute.search.proof import SecondsLeft

MOST_BOUGHT = 3
# A mean that falls by less than this is not worth an errand. Common practice, no source.
LEAST_FALL = 0.1
_TRIFLE = 1e-9
_NOT_FOR_NOTHING = 1e-5  # what is there already is used before the same is bought


@dataclass(frozen=True)
class BoughtShade:
    """A shade to buy, the requests that would use it, and the thread they take."""

    shade: OwnedShade
    requests: tuple[int, ...]
    geometry_mm: float
    path_mm: float = 0.0


@dataclass(frozen=True)
class Instead:
    """What to buy, and the mean CIEDE2000 over the thread without and with it."""

    bought: tuple[BoughtShade, ...]
    mean_before: float
    mean_after: float
    is_proven: bool


def more_of(shade: OwnedShade) -> OwnedShade:
    """Return what can be bought of a shade that is owned: the same colour under the negative of its number."""
    return replace(shade, id=-shade.id, spools=())


def buy_instead(
    requests: Sequence[ColourRequest],
    owned: Sequence[OwnedShade],
    on_offer: Sequence[OwnedShade],
    conditions: Conditions,
    *,
    now: Substitution,
    least_fall: float = LEAST_FALL,
    seconds_left: SecondsLeft = None,
) -> list[Instead]:
    """Return the best single purchase, the best two and the best three, as far as each lowers the mean further.

    ``now`` is the choice from what is owned. Of a bought shade there is as much as is needed; one that is owned is
    on offer as ``more_of`` it. No more rules of
    any kind may be broken than now; a colour with nothing near on the shelf may stay with the nearest. Only
    pairs that cost more, with the least of every other request, than the choice of now are left out.
    """
    conditions = replace(conditions, excluded=conditions.excluded | {-id for id in conditions.excluded})
    sold = frozenset(each.id for each in on_offer)
    matching = prepare(requests, [*owned, *on_offer], conditions, on_offer=sold)
    for_sale = np.array([shade.id in sold for shade in matching.shades], dtype=bool)
    rows = np.flatnonzero(
        matching.open.any(axis=1) & np.isfinite(matching.distance[:, ~for_sale]).any(axis=1)
    )
    if not len(rows) or not for_sale.any():
        return []
    case = colour_case(
        matching.asked[rows],
        [matching.requests[row] for row in rows],
        matching.shades,
        weights=matching.weights[rows],
        open_pairs=matching.open[rows],
        conditions=conditions,
        endless=for_sale,
        apart=matching.distance[rows],
    )
    places = {shade.id: column for column, shade in enumerate(matching.shades)}
    choices = [now.choices[matching.numbers[row]] for row in rows]
    chosen = np.array([places[choice.shade.id] for choice in choices if choice.shade], dtype=int)
    near = np.array([choice.near_enough for choice in choices], dtype=bool)
    already = [shade.id < 0 and _does_already(case, places.get(-shade.id)) for shade in matching.shades]
    does_already = np.array(already, dtype=bool)
    before, columns = case.total(chosen), _columns(case, for_sale, chosen, near, is_worth=~does_already)
    if len(columns.request) <= len(rows):
        return []
    broken = _broken_among(case, chosen, near)
    found, mean = [], now.mean_delta_e
    for answer in buying_ever_more(
        case,
        columns,
        caps=Caps(*broken),
        to_buy=for_sale,
        most=MOST_BOUGHT,
        seconds_left=seconds_left,
    ):
        if answer.columns is None:
            break
        cost = case.cost[np.arange(len(rows)), columns.shade[answer.columns]]
        after = now.mean_delta_e - before + float(cost.sum())
        if after > mean - least_fall:
            break
        picked = columns.shade[answer.columns]
        bought = _bought(matching, rows, picked, for_sale)
        found.append(Instead(bought, now.mean_delta_e, after, answer.is_proven))
        mean = after
    return found


def _does_already(case: ColourCase, owned: int | None) -> bool:
    """Whether the shelf has enough of a shade for all that it could stand for, so that no more of it is of use."""
    if owned is None:
        return False
    return float(case.needs_mm[case.open[:, owned], owned].sum()) <= case.covers_mm[owned]


def _columns(case: ColourCase, for_sale: Bools, chosen: Ints, near: Bools, *, is_worth: Bools) -> Columns:
    """The pairs that can lower the total of ``chosen``, bought, on the shelf, or as they are for what is not near."""
    fits, every = case.fits & is_worth, np.arange(len(chosen))
    lacking = case.open & ~for_sale
    as_it_is = np.zeros_like(fits)
    as_it_is[every[~near], chosen[~near]] = True
    kinds = [(fits, False, True), (lacking, True, True), (as_it_is, False, False)]
    cost = np.where(fits | lacking | as_it_is, case.cost, np.inf)
    least = cost.min(axis=1, keepdims=True)
    slack = case.total(chosen) - least.sum() + _TRIFLE
    worth = cost - least <= slack
    parts = [np.nonzero(pairs & worth) for pairs, _, _ in kinds]
    sizes = [len(requests) for requests, _ in parts]
    request = np.concatenate([requests for requests, _ in parts])
    shade = np.concatenate([shades for _, shades in parts])
    return Columns(
        request=request,
        shade=shade,
        cost=case.cost[request, shade] + _NOT_FOR_NOTHING * for_sale[shade],
        short=np.repeat([short for _, short, _ in kinds], sizes),
        ruled=np.repeat([ruled for _, _, ruled in kinds], sizes),
    )


def _broken_among(case: ColourCase, chosen: Ints, near: Bools) -> Broken:
    """What is broken now among the requests that have a shade near enough."""
    part = ColourCase(
        cost=case.cost[near],
        open=case.open[near],
        needs_mm=case.needs_mm[near],
        covers_mm=case.covers_mm,
        shades=case.shades,
        least_apart=case.least_apart[np.ix_(near, near)],
        lighter=case.lighter[np.ix_(near, near)],
    )
    return count_broken(part, chosen[near]) if near.any() else Broken(0, 0, 0)


def _bought(matching: Matching, rows: Ints, picked: Ints, for_sale: Bools) -> tuple[BoughtShade, ...]:
    return tuple(
        BoughtShade(
            shade=matching.shades[shade],
            requests=tuple(matching.numbers[row] for row in rows[picked == shade]),
            geometry_mm=float(sum(matching.requests[row].geometry_mm for row in rows[picked == shade])),
            path_mm=float(sum(matching.requests[row].path_mm for row in rows[picked == shade])),
        )
        for shade in dict.fromkeys(picked.tolist())
        if for_sale[shade]
    )

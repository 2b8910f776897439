"""Which fibre a batch of a season is stitched in: what ``planning.compute.colour.fibres`` says, read off arrays.

How near the shades of each fibre come rests on colours alone and is found once; how many metres they have, and with
that which fibre serves best, is looked at each time.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from planning.compute.colour.choice import ColourRequest
from planning.compute.colour.fibres import (
    METALLIC,
    Served,
    fibre_of_piece,
    fibres_to_choose_from,
    given_another,
    how_served,
    of_fibre,
    thread_shares,
    to_be_served,
)
from planning.compute.colour.rules import Conditions
from planning.compute.season.shades import Reached, reached
from planning.compute.season.wall import EVERYTHING, Wall

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class FibreWay:
    """A fibre that a batch may be stitched in, and how near its shades come; ``fibre`` is None where any will do.

    ``columns`` (c,) are the shades of the wall that say how it serves the m requests a fibre is chosen for;
    ``distance`` and ``is_open`` are (m, c).
    """

    fibre: str | None
    conditions: Conditions
    reach: Reached
    columns: Ints
    distance: Floats
    is_open: Bools
    given_another: int = 0


def fibre_ways(
    requests: Sequence[ColourRequest],
    wall: Wall,
    on_offer: Wall,
    conditions: Conditions,
    *,
    one_fibre: bool,
) -> tuple[FibreWay, ...]:
    """Return the fibres that a batch may be stitched in: one where nothing is to be chosen."""
    if not one_fibre:
        return (_only(None, requests, wall, conditions, named=False),)
    if not wall.has_other_than(METALLIC):
        every = (*wall.shades, *on_offer.shades)
        return (_only(fibre_of_piece(requests, every, conditions), requests, wall, conditions),)
    fibres = fibres_to_choose_from(requests, wall.shades, conditions)
    if len(fibres) == 1 or not to_be_served(requests, wall.shades, conditions):
        # What no colour asks for, metres say nothing of.
        return (_only(fibre_of_piece(requests, wall.shades, conditions), requests, wall, conditions),)
    served = to_be_served(requests, wall.shades, conditions)
    asking = [requests[number] for number in served]
    barred = conditions.excluded | wall.ids_of(METALLIC)
    near = reached(asking, wall, Conditions(colour_limit=conditions.colour_limit, excluded=barred))
    ways = []
    for fibre in fibres:
        columns, distance, is_open = _serving(fibre, asking, near, wall, conditions.excluded)
        ways.append(
            replace(
                _only(fibre, requests, wall, conditions),
                columns=columns,
                distance=distance,
                is_open=is_open,
                given_another=given_another(fibre, requests, wall.shades, conditions),
            )
        )
    return tuple(ways)


def columns_of(ways: Sequence[FibreWay]) -> Ints:
    """Return the shades of the wall that the choice of a fibre, and of shades in it, rests on."""
    return np.unique(np.concatenate([part for way in ways for part in (way.columns, way.reach.columns)]))


def best_way(ways: Sequence[FibreWay], requests: Sequence[ColourRequest], wall: Wall) -> FibreWay:
    """Return the fibre that serves a batch best with what is left on the wall now."""
    if len(ways) == 1:
        return ways[0]
    served = to_be_served(requests, wall.shades, ways[0].conditions)
    asking = [requests[number] for number in served]
    taken_mm = np.array([(each.geometry_mm, each.path_mm) for each in asking], dtype=float).reshape(-1, 2)
    found: list[tuple[Served, int]] = []
    for number, way in enumerate(ways):
        medians = wall.medians(way.columns, way.conditions)
        needs_mm = taken_mm[:, :1] * medians + taken_mm[:, 1:]
        served_so = how_served(
            way.fibre or "",
            weights=thread_shares(asking),
            distance=way.distance,
            is_open=way.is_open,
            needs_mm=needs_mm,
            covers_mm=wall.covered_mm(way.columns, way.conditions, enough_mm=needs_mm.sum(axis=0)),
            free_mm=wall.free_mm[way.columns],
            given_another=way.given_another,
        )
        found.append((served_so, number))
    return ways[min(found)[1]]


def _only(
    fibre: str | None,
    requests: Sequence[ColourRequest],
    wall: Wall,
    conditions: Conditions,
    *,
    named: bool = True,
) -> FibreWay:
    within = of_fibre(fibre, requests, conditions) if named else conditions
    nothing = np.zeros((0, 0))
    return FibreWay(
        fibre,
        within,
        reached(requests, wall, within),
        np.zeros(0, dtype=np.intp),
        nothing,
        nothing.astype(bool),
    )


def _serving(
    fibre: str, asking: Sequence[ColourRequest], near: Reached, wall: Wall, excluded: frozenset[int]
) -> tuple[Ints, Floats, Bools]:
    """Return the columns, distances and open pairs by which a fibre serves the requests."""
    own = wall.fibres == fibre
    own[[wall.ids[each] for each in excluded if each in wall.ids]] = False
    distance = np.full((len(asking), len(wall.shades)), np.inf)
    is_open = np.zeros(distance.shape, dtype=bool)
    for number, its in zip(near.near, near.within, strict=True):
        distance[number, its.columns] = its.apart
    distance[:, ~own] = np.inf
    is_open[np.isfinite(distance)] = True
    for number in np.flatnonzero(~is_open.any(axis=1)).tolist():
        sought = asking[number].sought
        assert sought is not None  # it asks for a colour
        apart = np.where(own, wall.differences(sought, within=EVERYTHING)[1], np.inf)
        nearest = int(apart.argmin()) if len(apart) else 0
        if len(apart) and np.isfinite(apart[nearest]):
            distance[number, nearest] = apart[nearest]
    columns = np.flatnonzero(np.isfinite(distance).any(axis=0))
    return columns, distance[:, columns], is_open[:, columns]

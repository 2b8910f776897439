"""Which fibre a piece is stitched in, where its needle threads are all to be of one.

Fibres shine, shrink and fade differently. Metallic thread is an effect: it stands for nothing else, and where a person
asked for a metallic shade by its name nothing else stands for that. A shade that a person pinned, or named for a
block, may be of another fibre than the rest.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from inventory.compute.left_out import spools_of
from planning.compute.colour.case import covered_mm
from planning.compute.colour.choice import ColourRequest, OwnedShade
from planning.compute.colour.rules import Conditions
from planning.compute.colour.substitution import prepare

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

METALLIC = "metallic"
# Where there is no shade at all it counts as this far off: farther than any two colours are.
NOTHING_AT_ALL = 1_000.0


class Served(NamedTuple):
    """How a fibre serves a piece; what compares as less serves it better.

    ``without`` counts the requests that have no near shade of it; ``given_another`` those to which a person gave
    another fibre, so that the piece would mix them; ``short`` those of which no near shade has enough metres for it
    alone. ``apart`` is CIEDE2000 from the shade that would serve each best, weighted by thread; ``minus_free_mm``,
    below zero so that more is better, is what is left of those shades.
    """

    without: int
    given_another: int
    short: int
    apart: float
    minus_free_mm: float
    fibre: str


def in_one_fibre(
    requests: Sequence[ColourRequest], shades: Sequence[OwnedShade], conditions: Conditions
) -> Conditions:
    """Return ``conditions`` with the fibre that each request is to have: that of the piece, or the one named for it.

    Where nothing says which fibre serves the piece, for no request asks for a colour, any will do.
    """
    return of_fibre(fibre_of_piece(requests, shades, conditions), requests, conditions)


def of_fibre(fibre: str | None, requests: Sequence[ColourRequest], conditions: Conditions) -> Conditions:
    """Return ``conditions`` for a piece of this fibre (None: any); a request for which one was named keeps that."""
    fibres = {
        number: request.fibre or fibre or ""
        for number, request in enumerate(requests)
        if request.fibre or fibre is not None
    }
    return replace(conditions, fibres=fibres)


def fibre_of_piece(
    requests: Sequence[ColourRequest], shades: Sequence[OwnedShade], conditions: Conditions
) -> str | None:
    """Return the fibre that serves the whole piece best, as ``Served`` orders them; None where nothing is asked for.

    It is empty where the only thread is metallic.
    """
    given = given_fibres(requests, shades, conditions)
    if not to_be_served(requests, shades, conditions) and not {*given} - {"", METALLIC}:
        return None
    fibres = fibres_to_choose_from(requests, shades, conditions)
    if len(fibres) < 2:
        return next(iter(fibres), "")
    return min(how_all_serve(requests, shades, conditions)).fibre


def fibres_to_choose_from(
    requests: Sequence[ColourRequest], shades: Sequence[OwnedShade], conditions: Conditions
) -> tuple[str, ...]:
    """Return the fibres that a piece may be stitched in: those of the shades and those that a person named."""
    there = {shade.fibre for shade in shades if shade.lab is not None}
    named = {fibre for fibre in given_fibres(requests, shades, conditions) if fibre}
    return tuple(sorted((there | named) - {METALLIC}))


def given_fibres(
    requests: Sequence[ColourRequest], shades: Sequence[OwnedShade], conditions: Conditions
) -> tuple[str, ...]:
    """Return the fibre that a person gave each request, by a pin or by the shade named for it; empty where none."""
    pinned = _pinned(shades, conditions)
    return tuple(
        pinned[number].fibre if number in pinned else request.fibre for number, request in enumerate(requests)
    )


def given_another(
    fibre: str, requests: Sequence[ColourRequest], shades: Sequence[OwnedShade], conditions: Conditions
) -> int:
    """Return to how many requests a person gave another fibre than this, so that the piece would mix them."""
    given = given_fibres(requests, shades, conditions)
    return sum(each not in ("", METALLIC, fibre) for each in given)


def to_be_served(
    requests: Sequence[ColourRequest], shades: Sequence[OwnedShade], conditions: Conditions
) -> list[int]:
    """Return the places of the requests that a fibre is chosen for: with a colour, and for which none is given."""
    pinned = _pinned(shades, conditions)
    return [
        number
        for number, request in enumerate(requests)
        if request.lab is not None and number not in pinned and not request.fibre
    ]


def how_all_serve(
    requests: Sequence[ColourRequest], shades: Sequence[OwnedShade], conditions: Conditions
) -> list[Served]:
    """Return how each fibre to choose from serves the piece.

    A shade is near where it would do if every fibre might: one that is only the nearest of its own fibre is not.
    """
    asking = [requests[number] for number in to_be_served(requests, shades, conditions)]
    own = [shade for shade in shades if shade.fibre != METALLIC and shade.lab is not None]
    matching = prepare(asking, own, replace(conditions, pinned={}, fibres={}))
    shape = (len(asking), len(own))
    medians = np.array([conditions.factor_of(shade).median for shade in own], dtype=float)
    taken_mm = np.array([(each.geometry_mm, each.path_mm) for each in asking], dtype=float).reshape(-1, 2)
    needs_mm = taken_mm[:, :1] * medians + taken_mm[:, 1:]
    covers_mm = covered_mm(own, conditions, enough_mm=needs_mm.sum(axis=0)) if own else np.zeros(0)
    free_mm = np.array([shade.free[0] for shade in own], dtype=float)
    weights = thread_shares(asking)
    found = []
    for fibre in fibres_to_choose_from(requests, shades, conditions):
        columns = np.array([shade.fibre == fibre for shade in own], dtype=bool)
        found.append(
            how_served(
                fibre,
                weights=weights,
                distance=matching.distance.reshape(shape)[:, columns],
                is_open=matching.open.reshape(shape)[:, columns],
                needs_mm=needs_mm[:, columns],
                covers_mm=covers_mm[columns],
                free_mm=free_mm[columns],
                given_another=given_another(fibre, requests, shades, conditions),
            )
        )
    return found


def thread_shares(requests: Sequence[ColourRequest]) -> Floats:
    """Return which share of their thread each of these requests takes, (m,)."""
    thread = np.array([request.geometry_mm + request.path_mm for request in requests], dtype=float)
    return thread / thread.sum() if thread.sum() > 0 else np.full(len(thread), 1 / max(1, len(thread)))


def how_served(
    fibre: str,
    *,
    weights: Floats,
    distance: Floats,
    is_open: Bools,
    needs_mm: Floats,
    covers_mm: Floats,
    free_mm: Floats,
    given_another: int,
) -> Served:
    """Return how the n shades of a fibre serve the m requests that may have it.

    ``distance``, ``is_open`` and ``needs_mm`` are (m, n), ``weights`` (m,), ``covers_mm`` and ``free_mm`` (n,). Each
    request is served by the nearest near shade that covers it alone, else the nearest near one, else the nearest.

    >>> two = dict(weights=np.array([1.0]), needs_mm=np.full((1, 2), 50.0), free_mm=np.array([90.0, 10.0]))
    >>> near = dict(distance=np.array([[3.0, 1.0]]), is_open=np.array([[True, True]]), covers_mm=np.array([80.0, 9.0]))
    >>> how_served("rayon", **two, **near, given_another=0)
    Served(without=0, given_another=0, short=0, apart=3.0, minus_free_mm=-90.0, fibre='rayon')
    """
    fits = is_open & (needs_mm <= covers_mm[None, :])
    without, short, apart, serving_shades = 0, 0, 0.0, set()
    for row in range(len(weights)):
        without += not is_open[row].any()
        short += bool(is_open[row].any()) and not fits[row].any()
        may = next(
            (each for each in (fits[row], is_open[row], np.isfinite(distance[row])) if each.any()), None
        )
        if may is None:
            apart += weights[row] * NOTHING_AT_ALL
            continue
        column = int(np.where(may, distance[row], np.inf).argmin())
        apart += weights[row] * distance[row, column]
        serving_shades.add(column)
    free = float(sum(free_mm[column] for column in sorted(serving_shades)))
    # Two ways to work a difference out may differ in its last digits: those decide nothing.
    return Served(without, given_another, short, round(float(apart), 6), -round(free, 3), fibre)


def spools_of_other_fibres(shades: Sequence[OwnedShade], conditions: Conditions) -> dict[str, list[str]]:
    """Return the labels of the spools that no request may have for their fibre, by what they are spools of."""
    found: dict[str, list[str]] = {}
    if conditions.fibres:
        wanted, pinned = set(conditions.fibres.values()), set(conditions.pinned.values())
        for shade in shades:
            if shade.fibre not in wanted and shade.id not in pinned:
                labels = [spool.label for spool in shade.spools]
                found.setdefault(spools_of(shade.maker, shade.range), []).extend(labels)
    return found


def _pinned(shades: Sequence[OwnedShade], conditions: Conditions) -> dict[int, OwnedShade]:
    if not conditions.pinned:
        return {}
    by_id = {shade.id: shade for shade in shades if shade.lab is not None}
    return {number: by_id[shade] for number, shade in conditions.pinned.items() if shade in by_id}

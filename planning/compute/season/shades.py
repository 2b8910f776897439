"""Which shade of a wall stands for each colour of a design: what ``substitute`` says, read off arrays."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inventory.compute.colour.lab import Lab, delta_e_00
from planning.compute.colour.case import ColourCase
from planning.compute.colour.choice import ColourRequest, OwnedShade
from planning.compute.colour.rules import Conditions, clearly_lighter, lab_array, least_apart
from planning.compute.colour.substitution import least_broken
from planning.compute.season.wall import EVERYTHING, FIRST_REACH, Wall

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]


@dataclass(frozen=True)
class Picked:
    """The shade of one request, by its column on the wall; None where nothing stands for it."""

    column: int | None
    near_enough: bool = False


@dataclass(frozen=True)
class Reached:
    """The requests of one design that ask for a colour, and which shades may stand for them.

    ``near`` are the places of the k requests that shades are near to, ``columns`` those u shades; ``apart`` (k, u) is
    CIEDE2000, endless where the shade may not stand for the request; ``far`` maps each other request to the nearest
    of all shades. All of it rests on the colours alone, not on what is left of the thread.
    """

    near: tuple[int, ...]
    columns: Ints
    apart: Floats
    weights: Floats
    least_apart: Floats
    lighter: Bools
    far: dict[int, int]


def reached(requests: Sequence[ColourRequest], wall: Wall, conditions: Conditions) -> Reached:
    """Return which shades of the wall may stand for each of the requests."""
    pins = {number: wall.ids[shade] for number, shade in conditions.pinned.items() if shade in wall.ids}
    numbers = [
        number
        for number, request in enumerate(requests)
        if wall.shades and (request.lab is not None or number in pins)
    ]
    barred = np.zeros(len(wall.shades), dtype=bool)
    barred[[wall.ids[shade] for shade in conditions.excluded if shade in wall.ids]] = True
    wall.look_at_hues([wished for number in numbers if (wished := requests[number].wished) is not None])
    near, asked, rows, far = [], [], [], {}
    for number in numbers:
        request = requests[number]
        sought = request.sought or wall.shades[pins[number]].lab
        assert sought is not None  # of a shade on the wall
        if number in pins:
            row, is_open = _pinned(wall, sought, pins[number])
        else:
            its = barred
            if number in conditions.fibres:
                its = barred | (wall.fibres != conditions.fibres[number])
            row, is_open = _within_reach(wall, request, sought, its, conditions.colour_limit)
        if is_open.any():
            near.append(number)
            asked.append(sought)
            rows.append(np.where(is_open, row, np.inf))
        elif np.isfinite(row).any():
            far[number] = int(row.argmin())
    thread = np.array(
        [requests[number].geometry_mm + requests[number].path_mm for number in numbers], dtype=float
    )
    weights = thread / thread.sum() if thread.sum() > 0 else np.full(len(numbers), 1 / max(1, len(numbers)))
    apart = np.array(rows, dtype=float).reshape(len(near), len(wall.shades))
    columns, labs = np.flatnonzero(np.isfinite(apart).any(axis=0)), lab_array(asked)
    return Reached(
        tuple(near),
        columns,
        apart[:, columns],
        weights[np.isin(numbers, near)],
        least_apart(labs),
        clearly_lighter(labs),
        far,
    )


def _pinned(wall: Wall, sought: Lab, column: int) -> tuple[Floats, Bools]:
    row, is_open = np.full(len(wall.shades), np.inf), np.zeros(len(wall.shades), dtype=bool)
    row[column] = delta_e_00(tuple(sought), wall.labs[column : column + 1])[0]
    is_open[column] = True
    return row, is_open


def _within_reach(
    wall: Wall, request: ColourRequest, sought: Lab, barred: Bools, limit: float
) -> tuple[Floats, Bools]:
    """Return the differences of a request and what is within its reach, as ``within_reach`` has it of owned shades."""
    known, row = wall.differences(sought, within=limit + FIRST_REACH)
    if barred.any():
        row = np.where(barred, np.inf, row)
    if request.wished is None:
        is_open = (row <= limit) & np.isfinite(row)
        if not is_open.any() and known < EVERYTHING:
            return _everything(wall, request, sought, barred, limit)
        return row, is_open
    of_its_hue = wall.sharing_a_hue(request.wished)
    nearest = float(row[of_its_hue].min(initial=np.inf))
    if known < EVERYTHING and nearest + limit > known:
        # The nearest of its hue lies farther, or others as near may: look as far as that asks for.
        wider = EVERYTHING if nearest > known else nearest + limit
        _, row = wall.differences(sought, within=wider)
        if barred.any():
            row = np.where(barred, np.inf, row)
        nearest = float(row[of_its_hue].min(initial=np.inf))
    is_open = np.isfinite(row) & ((row <= limit) | (of_its_hue & (row <= nearest + limit)))
    if not is_open.any() and known < EVERYTHING:
        row = np.where(barred, np.inf, wall.differences(sought, within=EVERYTHING)[1])
    return row, is_open


def _everything(
    wall: Wall, request: ColourRequest, sought: Lab, barred: Bools, limit: float
) -> tuple[Floats, Bools]:
    """Nothing is near: the nearest of all is what is told."""
    row = np.where(barred, np.inf, wall.differences(sought, within=EVERYTHING)[1])
    return row, (row <= limit) & np.isfinite(row)


def pick_shades(
    reach: Reached, requests: Sequence[ColourRequest], wall: Wall, conditions: Conditions
) -> list[Picked]:
    """Return the shade picked for each request, together, as ``substitute`` does."""
    picks = [Picked(None)] * len(requests)
    for number, column in reach.far.items():
        picks[number] = Picked(column)
    if reach.near:
        chosen = least_broken(_case(reach, requests, wall, conditions)).chosen
        for number, column in zip(reach.near, reach.columns[chosen].tolist(), strict=True):
            picks[number] = Picked(column, near_enough=True)
    return picks


def _case(
    reach: Reached, requests: Sequence[ColourRequest], wall: Wall, conditions: Conditions
) -> ColourCase:
    medians = wall.medians(conditions)[reach.columns]
    geometry_mm = np.array([requests[number].geometry_mm for number in reach.near], dtype=float)
    path_mm = np.array([requests[number].path_mm for number in reach.near], dtype=float)
    needs_mm = geometry_mm[:, None] * medians + path_mm[:, None]
    is_open = np.isfinite(reach.apart)
    return ColourCase(
        # Only open pairs are ever looked at.
        cost=reach.weights[:, None] * np.where(is_open, reach.apart, EVERYTHING),
        open=is_open,
        needs_mm=needs_mm,
        covers_mm=wall.covered_mm(reach.columns, conditions, enough_mm=needs_mm.sum(axis=0)),
        shades=wall.labs[reach.columns],
        least_apart=reach.least_apart,
        lighter=reach.lighter,
    )


def nearest_of(
    request: ColourRequest,
    wall: Wall,
    *,
    colour_limit: float,
    excluded: frozenset[int],
    fibre: str | None = None,
) -> OwnedShade | None:
    """Return the nearest shade of that fibre (None: any) within reach of a request, None where none is."""
    if request.lab is None or not wall.shades:
        return None
    fibres = {} if fibre is None else {0: fibre}
    conditions = Conditions(colour_limit=colour_limit, excluded=excluded, fibres=fibres)
    reach = reached([request], wall, conditions)
    return wall.shades[int(reach.columns[int(reach.apart[0].argmin())])] if reach.near else None

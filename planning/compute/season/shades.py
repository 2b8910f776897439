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

    ``numbers`` are their places; ``differences`` (m, n) with infinity for shades that are not to be used and those
    surely too far; ``open`` (m, n). All of it rests on the colours alone, not on what is left of the thread.
    """

    numbers: tuple[int, ...]
    asked: tuple[Lab, ...]
    differences: Floats
    open: Bools
    weights: Floats
    least_apart: Floats
    lighter: Bools

    @property
    def columns(self) -> Ints:
        """The shades whose metres the choice may rest on."""
        return np.flatnonzero(self.open.any(axis=0))


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
    asked, rows, opened = [], [], []
    for number in numbers:
        request = requests[number]
        sought = request.sought or wall.shades[pins[number]].lab
        assert sought is not None  # of a shade on the wall
        asked.append(sought)
        if number in pins:
            row, is_open = _pinned(wall, sought, pins[number])
        else:
            row, is_open = _within_reach(wall, request, sought, barred, conditions.colour_limit)
        rows.append(row)
        opened.append(is_open)
    thread = np.array([requests[number].geometry_mm + requests[number].path_mm for number in numbers], dtype=float)
    weights = thread / thread.sum() if thread.sum() > 0 else np.full(len(numbers), 1 / max(1, len(numbers)))
    shape = (len(numbers), len(wall.shades))
    labs = lab_array(asked)
    near = np.flatnonzero(np.array(opened, dtype=bool).reshape(shape).any(axis=1))
    return Reached(
        tuple(numbers),
        tuple(asked),
        np.array(rows, dtype=float).reshape(shape),
        np.array(opened, dtype=bool).reshape(shape),
        weights,
        least_apart(labs[near]),
        clearly_lighter(labs[near]),
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
    if not reach.numbers:
        return picks
    has_near = reach.open.any(axis=1)
    near, far = np.flatnonzero(has_near), np.flatnonzero(~has_near)
    for row in far.tolist():
        if np.isfinite(reach.differences[row]).any():
            picks[reach.numbers[row]] = Picked(int(reach.differences[row].argmin()))
    if len(near):
        used = reach.columns
        chosen = least_broken(_case(reach, near, used, requests, wall, conditions)).chosen
        for row, column in zip(near.tolist(), used[chosen].tolist(), strict=True):
            picks[reach.numbers[row]] = Picked(column, bool(reach.open[row, column]))
    return picks


def _case(
    reach: Reached, near: Ints, used: Ints, requests: Sequence[ColourRequest], wall: Wall, conditions: Conditions
) -> ColourCase:
    medians = wall.medians(conditions)[used]
    of_near = [requests[reach.numbers[row]] for row in near]
    geometry_mm = np.array([request.geometry_mm for request in of_near], dtype=float)
    path_mm = np.array([request.path_mm for request in of_near], dtype=float)
    needs_mm = geometry_mm[:, None] * medians + path_mm[:, None]
    open_pairs = reach.open[np.ix_(near, used)]
    # Only open pairs are ever looked at; what lies too far to be worked out costs nothing anybody asks for.
    apart = np.where(open_pairs, reach.differences[np.ix_(near, used)], EVERYTHING)
    return ColourCase(
        cost=reach.weights[near][:, None] * apart,
        open=open_pairs,
        needs_mm=needs_mm,
        covers_mm=wall.covered_mm(used, conditions, enough_mm=needs_mm.sum(axis=0)),
        shades=wall.labs[used],
        least_apart=reach.least_apart,
        lighter=reach.lighter,
    )


def nearest_of(request: ColourRequest, wall: Wall, *, colour_limit: float, excluded: frozenset[int]) -> OwnedShade | None:
    """Return the nearest shade of the wall within reach of a request, None where none is."""
    if request.lab is None or not wall.shades:
        return None
    reach = reached([request], wall, Conditions(colour_limit=colour_limit, excluded=excluded))
    if not reach.open.any():
        return None
    return wall.shades[int(np.where(reach.open[0], reach.differences[0], np.inf).argmin())]

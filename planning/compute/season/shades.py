"""Which shade of a wall stands for each colour of a design: what ``substitute`` says, read off arrays."""

import hashlib
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from inventory.compute.colour.lab import Lab, delta_e_00
from planning.compute.colour.case import ColourCase
from planning.compute.colour.choice import ColourRequest, OwnedShade
from planning.compute.colour.rules import Conditions, clearly_lighter, lab_array, least_apart
from planning.compute.colour.substitution import least_broken
from planning.compute.season.wall import EVERYTHING, FIRST_REACH, MOST_NEAR, NearShades, Wall

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

    ``near`` are the places of the k requests that shades are near to, ``within`` what is near to each, and
    ``columns`` all those u shades; ``far`` maps each other request to the nearest of all shades. All of it rests on
    the colours alone, not on what is left of the thread.
    """

    near: tuple[int, ...]
    within: tuple[NearShades, ...]
    columns: Ints
    weights: Floats
    least_apart: Floats
    lighter: Bools
    far: dict[int, int]

    def apart(self) -> Floats:
        """Return CIEDE2000 of each request and shade, (k, u), endless where the shade may not stand for the request.

        Written out each time: of all waiting jobs it would be the largest thing that a season keeps.
        """
        apart = np.full((len(self.near), len(self.columns)), np.inf)
        for row, its in enumerate(self.within):
            apart[row, np.searchsorted(self.columns, its.columns)] = its.apart
        return apart


def reached(requests: Sequence[ColourRequest], wall: Wall, conditions: Conditions) -> Reached:
    """Return which shades of the wall may stand for each of the requests."""
    pins = {number: wall.ids[shade] for number, shade in conditions.pinned.items() if shade in wall.ids}
    numbers = [
        number
        for number, request in enumerate(requests)
        if wall.shades and (request.lab is not None or number in pins)
    ]
    asks = [
        (requests[number].sought, requests[number].wished, conditions.fibres.get(number))
        for number in numbers
    ]
    new = [ask for number, ask in zip(numbers, asks, strict=True) if number not in pins]
    _look_at(wall, new, conditions)
    near, asked, found, far = [], [], [], {}
    for number, ask in zip(numbers, asks, strict=True):
        sought = ask[0] or wall.shades[pins[number]].lab
        assert sought is not None  # of a shade on the wall
        its = _pinned(wall, sought, pins[number]) if number in pins else wall.near[_key(ask, conditions)]
        if len(its.columns):
            near.append(number)
            asked.append(sought)
            found.append(its)
        elif its.far is not None:
            far[number] = its.far
    thread = np.array(
        [requests[number].geometry_mm + requests[number].path_mm for number in numbers], dtype=float
    )
    weights = thread / thread.sum() if thread.sum() > 0 else np.full(len(numbers), 1 / max(1, len(numbers)))
    columns = np.unique(np.concatenate([each.columns for each in found])) if found else np.zeros(0, np.intp)
    labs = lab_array(asked)
    return Reached(
        tuple(near),
        tuple(found),
        columns,
        weights[np.isin(numbers, near)],
        least_apart(labs),
        clearly_lighter(labs),
        far,
    )


def _pinned(wall: Wall, sought: Lab, column: int) -> NearShades:
    return NearShades(np.array([column]), delta_e_00(tuple(sought), wall.labs[column : column + 1]), None)


# The colour that is sought, what it is a wish for, and the fibre it may be of.
Ask = tuple[Lab | None, Lab | None, str | None]


def _key(ask: Ask, conditions: Conditions) -> Hashable:
    return ask, conditions.colour_limit, conditions.excluded


def _look_at(wall: Wall, asks: Sequence[Ask], conditions: Conditions) -> None:
    """Find what is near to each of these, where no batch before asked for the same."""
    new = [ask for ask in dict.fromkeys(asks) if _key(ask, conditions) not in wall.near]
    if not new:
        return
    if len(wall.near) + len(new) > MOST_NEAR:
        wall.near.clear()
        new = list(dict.fromkeys(asks))
    wall.look_at_hues([wished for _, wished, _ in new if wished is not None])
    barred = np.zeros(len(wall.shades), dtype=bool)
    barred[[wall.ids[shade] for shade in conditions.excluded if shade in wall.ids]] = True
    for ask in new:
        sought, wished, fibre = ask
        assert sought is not None  # it is not pinned, and asks for a colour
        its = barred if fibre is None else barred | (wall.fibres != fibre)
        row, is_open = _within_reach(wall, wished, sought, its, conditions.colour_limit)
        columns = np.flatnonzero(is_open & np.isfinite(row))
        far = None if len(columns) or not np.isfinite(row).any() else int(row.argmin())
        wall.near[_key(ask, conditions)] = NearShades(columns, row[columns], far)


def _within_reach(
    wall: Wall, wished: Lab | None, sought: Lab, barred: Bools, limit: float
) -> tuple[Floats, Bools]:
    """Return the differences of a request and what is within its reach, as ``within_reach`` has it of owned shades."""
    known, row = wall.differences(sought, within=limit + FIRST_REACH)
    if barred.any():
        row = np.where(barred, np.inf, row)
    if wished is None:
        is_open = (row <= limit) & np.isfinite(row)
        if not is_open.any() and known < EVERYTHING:
            return _everything(wall, sought, barred, limit)
        return row, is_open
    of_its_hue = wall.sharing_a_hue(wished)
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


def _everything(wall: Wall, sought: Lab, barred: Bools, limit: float) -> tuple[Floats, Bools]:
    """Nothing is near: the nearest of all is what is told."""
    row = np.where(barred, np.inf, wall.differences(sought, within=EVERYTHING)[1])
    return row, (row <= limit) & np.isfinite(row)


@dataclass(frozen=True)
class Metres:
    """What a batch needs of the shades it may have, and what they cover: all that its choice of shades rests on.

    ``needs_mm`` (k, u) is of each request; ``covers_mm`` (u,) is no more than all of them together need, where a shade
    has more: it makes no difference then how much.
    """

    needs_mm: Floats
    covers_mm: Floats

    @property
    def state(self) -> bytes:
        """A mark of it: the same mark, the same choice."""
        return hashlib.blake2b(self.covers_mm.tobytes(), digest_size=16).digest()


def metres_for(
    reach: Reached, requests: Sequence[ColourRequest], wall: Wall, conditions: Conditions
) -> Metres:
    """Return what the requests that shades are near to need of those, and what is left of them now."""
    medians = wall.medians(reach.columns, conditions)
    geometry_mm = np.array([requests[number].geometry_mm for number in reach.near], dtype=float)
    path_mm = np.array([requests[number].path_mm for number in reach.near], dtype=float)
    needs_mm = geometry_mm[:, None] * medians + path_mm[:, None]
    enough_mm = needs_mm.sum(axis=0)
    covers_mm = wall.covered_mm(reach.columns, conditions, enough_mm=enough_mm)
    return Metres(needs_mm, np.minimum(covers_mm, enough_mm * (1 + 1e-9)))


def pick_shades(
    reach: Reached, requests: Sequence[ColourRequest], wall: Wall, metres: Metres
) -> tuple[Picked, ...]:
    """Return the shade of each request, chosen together as ``substitute`` chooses."""
    picks = [Picked(None)] * len(requests)
    for number, column in reach.far.items():
        picks[number] = Picked(column)
    if reach.near:
        chosen = least_broken(_case(reach, wall, metres)).chosen
        for number, column in zip(reach.near, reach.columns[chosen].tolist(), strict=True):
            picks[number] = Picked(column, near_enough=True)
    return tuple(picks)


def _case(reach: Reached, wall: Wall, metres: Metres) -> ColourCase:
    apart = reach.apart()
    is_open = np.isfinite(apart)
    return ColourCase(
        # Only open pairs are ever looked at.
        cost=reach.weights[:, None] * np.where(is_open, apart, EVERYTHING),
        open=is_open,
        needs_mm=metres.needs_mm,
        covers_mm=metres.covers_mm,
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
    if not reach.near:
        return None
    (its,) = reach.within
    return wall.shades[int(its.columns[int(its.apart.argmin())])]

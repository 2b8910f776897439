"""The needle thread of a shelf as arrays, read once for a season: colours, metres, and how sure they are.

Differences are found once for each colour that is asked for, and no farther than anybody asks: of shades that lie
surely beyond, CIEDE2000 is not worked out. Jobs take their spools from it one after the other, and only the shades
they touch are made anew.
"""

import hashlib
import marshal
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from inventory.compute.colour.lab import Lab, delta_e_00_matrix, lower_bound_00
from inventory.compute.later import later
from inventory.compute.names.hues import Hues, hues_of, share_hues
from planning.compute.certainty.coverage import geometries_covered
from planning.compute.certainty.factor import Factor
from planning.compute.colour.choice import OwnedShade
from planning.compute.colour.rules import Conditions, lab_array

if TYPE_CHECKING:
    from scipy.special import ndtri
else:
    ndtri = later("scipy.special", "ndtri")

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]

# Differences are worked out this far beyond the colour limit at first; where more is asked for, twice as far.
FIRST_REACH = 8.0
SPARE_REACH = (
    1.0  # and so much beyond what is asked, so that a limit that moves a little asks for nothing new
)
EVERYTHING = 1_000.0  # beyond any difference of two colours
MOST_KEPT = 1_000_000  # differences that are kept of a wall: 8 MB
MOST_NEAR = 4_000  # colours of which it is kept what is near to them


@dataclass(frozen=True, eq=False)
class NearShades:
    """The shades that may stand for a colour, by their columns, (k,), and CIEDE2000 to each.

    Where none may, ``far`` is the nearest of all, or None where there is none at all.
    """

    columns: Ints
    apart: Floats
    far: int | None


class Wall:
    """The shades to choose from. ``labs`` (n, 3), ``free_mm`` and ``sigma_mm`` (n,) are of those with a colour.

    ``shades`` has each as it is now, in the same order; ``ids`` are the columns by the id of the shade.
    """

    def __init__(self, shades: Sequence[OwnedShade]) -> None:
        self.every_id = frozenset(shade.id for shade in shades)
        self.shades = [shade for shade in shades if shade.lab is not None]
        self.labs = lab_array([shade.lab for shade in self.shades])
        self.fibres = np.array([shade.fibre for shade in self.shades], dtype=object)
        self.ids = {shade.id: column for column, shade in enumerate(self.shades)}
        free = np.array([shade.free for shade in self.shades], dtype=float).reshape(-1, 2)
        self.free_mm, self.sigma_mm = free[:, 0].copy(), free[:, 1].copy()
        ranges = sorted({shade.range_id for shade in self.shades})
        self._ranges = ranges
        self._range_of = np.array([ranges.index(shade.range_id) for shade in self.shades], dtype=np.intp)
        self._at_spool = {
            spool.label: column for column, shade in enumerate(self.shades) for spool in shade.spools
        }
        # What is near to a colour rests on colours and fibres alone: it is the same for every wall of these shades.
        self.near: dict[Hashable, NearShades] = {}
        self._colours = _colours_of(self.labs.tobytes())
        # What is left of each shade, by a mark of its spools: made once, and anew for the shades that are touched.
        self._left = np.array([_mark_of(shade) for shade in self.shades], dtype="V16")

    def again(self) -> "Wall":
        """Return another wall with the same thread, from which other jobs may take; colours are shared with it."""
        other = object.__new__(Wall)
        other.__dict__.update(self.__dict__)
        other.shades, other.free_mm = list(self.shades), self.free_mm.copy()
        other.sigma_mm, other._left = self.sigma_mm.copy(), self._left.copy()
        return other

    def differences(self, asked: Lab, *, within: float) -> tuple[float, Floats]:
        """Return CIEDE2000 from ``asked`` to each shade, (n,), and how far it is worked out: infinite beyond that."""
        return self._colours.differences(asked, within=within)

    def sharing_a_hue(self, wished: Lab) -> Bools:
        """Return which shades may go by the same basic colour as ``wished``: (n,)."""
        return self._colours.sharing_a_hue(wished)

    def look_at_hues(self, wished: Sequence[Lab]) -> None:
        """Find out what ``sharing_a_hue`` says of each of these, together."""
        self._colours.look_at_hues(wished)

    def has_other_than(self, fibre: str) -> bool:
        """Return whether there is a shade of another fibre than this."""
        return bool((self.fibres != fibre).any())

    def ids_of(self, fibre: str) -> frozenset[int]:
        """Return the ids of the shades of this fibre."""
        return frozenset(self.shades[column].id for column in np.flatnonzero(self.fibres == fibre).tolist())

    def free_of(self, column: int) -> tuple[float, float]:
        """Return the free length of a shade in mm and its sigma, as ``OwnedShade.free`` has it."""
        return float(self.free_mm[column]), float(self.sigma_mm[column])

    def medians(self, columns: Ints, conditions: Conditions) -> Floats:
        """Return the median of the factor of each shade in ``columns``: (k,)."""
        of_range = [conditions.range_factors.get(range, conditions.factor).median for range in self._ranges]
        return np.array(of_range, dtype=float)[self._range_of[columns]]

    def covered_mm(self, columns: Ints, conditions: Conditions, *, enough_mm: Floats) -> Floats:
        """Return what ``planning.compute.colour.case.covered_mm`` says of the shades in ``columns``: (k,)."""
        free_mm, sigma_mm = self.free_mm[columns], self.sigma_mm[columns]
        surer = 1 - (1 - conditions.certainty) / 2
        spreads = [conditions.range_factors.get(range, conditions.factor).about_one for range in self._ranges]
        most = np.exp([spread.quantile(surer) for spread in spreads])
        range_of = self._range_of[columns]
        covers_mm = (free_mm - float(ndtri(surer)) * sigma_mm) / most[range_of]
        close = covers_mm < enough_mm
        kinds: dict[Factor, list[int]] = {}
        for number, spread in enumerate(spreads):
            kinds.setdefault(spread, []).append(number)
        for spread, numbers in kinds.items():
            rows = np.flatnonzero(close & np.isin(range_of, numbers))
            if len(rows):
                covers_mm[rows] = geometries_covered(
                    spread,
                    free_mm=free_mm[rows],
                    free_sigma_mm=sigma_mm[rows],
                    certainty=conditions.certainty,
                )
        return np.asarray(covers_mm)

    def take(self, claimed: Mapping[str, int]) -> None:
        """Take what was ``claimed`` of each spool, by its label in mm, off the wall; other things are passed over."""
        for column in {self._at_spool[label] for label in claimed if label in self._at_spool}:
            shade = self.shades[column]
            spools = tuple(
                replace(spool, free_mm=max(spool.free_mm - claimed[spool.label], 0))
                if spool.label in claimed
                else spool
                for spool in shade.spools
            )
            self._put(column, replace(shade, spools=spools))

    def give(self, held: Mapping[str, int]) -> None:
        """Put what somebody ``held`` of each spool back on the wall."""
        for column in {self._at_spool[label] for label in held if label in self._at_spool}:
            shade = self.shades[column]
            spools = tuple(
                replace(spool, free_mm=spool.free_mm + held[spool.label]) if spool.label in held else spool
                for spool in shade.spools
            )
            self._put(column, replace(shade, spools=spools))

    def _put(self, column: int, shade: OwnedShade) -> None:
        self.shades[column] = shade
        self.free_mm[column], self.sigma_mm[column] = shade.free
        self._left[column] = _mark_of(shade)

    @property
    def composition(self) -> bytes:
        """A mark of which shades there are, in which order, and of their colours; not of what is left of them."""
        written = repr((tuple(self.ids), sorted(self.every_id - self.ids.keys()))).encode()
        return hashlib.blake2b(written + self.labs.tobytes(), digest_size=16).digest()

    def mark_of(self, column: int) -> bytes:
        """Return a mark of all that is left of one shade."""
        return self._left[column].tobytes()

    def state_of(self, columns: Ints) -> bytes:
        """Return a mark of all that is left of the shades in ``columns``: the same mark, the same answers."""
        return hashlib.blake2b(self._left[columns].tobytes(), digest_size=16).digest()


class WallColours:
    """The colours of a wall, (n, 3), and what was found out about them: the same for every wall of these colours."""

    def __init__(self, labs: Floats) -> None:
        self.labs = labs
        # How far each is worked out, and what is within: most shades of a wall are far from any one colour.
        self._rows: dict[Lab, tuple[float, NDArray[np.int32], Floats]] = {}
        self._sharing: dict[Lab, Bools] = {}

    @cached_property
    def _hues(self) -> Hues:
        return hues_of(self.labs)

    def differences(self, asked: Lab, *, within: float) -> tuple[float, Floats]:
        """Return what ``Wall.differences`` does."""
        reach, columns, apart = self._rows.get(asked, (0.0, np.zeros(0, dtype=np.int32), np.zeros(0)))
        if reach < within:
            reach = EVERYTHING if within > 60.0 else within + SPARE_REACH
            close = lower_bound_00(np.array(tuple(asked)), self.labs) <= reach + 1e-6
            columns = np.flatnonzero(close).astype(np.int32)
            # What comes out farther than it was asked for stands: it is true as well.
            apart = delta_e_00_matrix([tuple(asked)], self.labs[columns])[0]
            self._rows[asked] = reach, columns, apart
            _forget_oldest(self._rows, most=MOST_KEPT // max(1, len(self.labs)))
        row = np.full(len(self.labs), np.inf)
        row[columns] = apart
        return reach, row

    def sharing_a_hue(self, wished: Lab) -> Bools:
        """Return what ``Wall.sharing_a_hue`` does."""
        self.look_at_hues([wished])
        return self._sharing[wished]

    def look_at_hues(self, wished: Sequence[Lab]) -> None:
        """Find which shades share a hue with each of these, those that are new all at once."""
        new = [each for each in dict.fromkeys(wished) if each not in self._sharing]
        if not new:
            return
        hues = hues_of([tuple(each) for each in new])
        for number, each in enumerate(new):
            self._sharing[each] = share_hues(hues.of(number), self._hues)
        _forget_oldest(self._sharing, most=max(len(new), 8 * MOST_KEPT // max(1, len(self.labs))))


def _mark_of(shade: OwnedShade) -> bytes:
    """Return a mark of all that is left of a shade, spool by spool."""
    spools = [
        (spool.id, spool.label, spool.free_mm, spool.sigma_mm, spool.lot, spool.is_open, spool.place)
        for spool in shade.spools
    ]
    # In the old form, that writes what is equal in equal bytes; in a tenth of the time of words.
    return hashlib.blake2b(marshal.dumps(spools, 2), digest_size=16).digest()


@lru_cache(maxsize=2)  # what is owned and what is on offer
def _colours_of(labs: bytes) -> WallColours:
    return WallColours(np.frombuffer(labs, dtype=np.float64).reshape(-1, 3))


def _forget_oldest(kept: dict[Lab, Any], *, most: int) -> None:
    while len(kept) > max(1, most):
        del kept[next(iter(kept))]

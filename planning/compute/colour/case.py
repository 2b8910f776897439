"""The arrays of one choice of shades for a whole design, and how many rules an answer breaks."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from inventory.compute.colour.lab import delta_e_00_matrix
from inventory.compute.later import later
from planning.compute.certainty.coverage import geometries_covered
from planning.compute.colour.choice import ColourRequest, OwnedShade
from planning.compute.colour.rules import Conditions, clearly_lighter, lab_array, least_apart

if TYPE_CHECKING:
    from scipy.special import ndtri
else:
    ndtri = later("scipy.special", "ndtri")

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.intp]


class Broken(NamedTuple):
    """How many rules are broken, the gravest first: fewer compare as less."""

    short: int
    alike: int
    out_of_order: int


NEVER = 1_000.0  # beyond any difference of two colours


@dataclass(frozen=True)
class ColourCase:
    """m requests and n shades: what each pair costs, which may be paired, and what the rules ask.

    ``cost`` (m, n) is the share of thread × CIEDE2000; ``open`` (m, n) are the pairs that pins, exclusions and
    the colour limit leave; ``needs_mm`` (m, n) is the length that each request takes of each shade at the median of
    that shade's factor, ``covers_mm`` (n,) the length that each shade has at the certainty;
    ``least_apart`` (m, m) and ``lighter`` (m, m) are the rules of two. Every request has an open shade.
    """

    cost: Floats
    open: Bools
    needs_mm: Floats
    covers_mm: Floats
    shades: Floats
    least_apart: Floats
    lighter: Bools

    @cached_property
    def fits(self) -> Bools:
        """Open pairs where the shade covers the request alone."""
        return self.open & (self.needs_mm <= self.covers_mm[None, :])

    @cached_property
    def forced_short(self) -> Bools:
        """Requests that no open shade covers, whatever the others have."""
        return np.asarray(~self.fits.any(axis=1))

    @cached_property
    def allowed(self) -> Bools:
        """The pairs of an answer in which no request is short that need not be."""
        return np.where(self.forced_short[:, None], self.open, self.fits)

    @cached_property
    def fewest(self) -> Broken:
        """No answer breaks fewer rules than this."""
        return Broken(int(self.forced_short.sum()), 0, 0)

    def total(self, chosen: Ints) -> float:
        return float(self.cost[np.arange(len(chosen)), chosen].sum())

    def between(self, some: Ints, others: Ints) -> Floats:
        """Return CIEDE2000 of ``some`` shades, (m,), from others, (k,): (m, k). Each is worked out once for a case."""
        new = [shade for shade in dict.fromkeys(some.tolist()) if shade not in self._rows]
        if new:
            self._rows.update(zip(new, delta_e_00_matrix(self.shades[new], self.shades), strict=True))
        return np.array([self._rows[shade][others] for shade in some.tolist()]).reshape(
            len(some), len(others)
        )

    def among(self, chosen: Ints) -> Floats:
        """Return CIEDE2000 of the ``chosen`` shades, (m,), from one another: (m, m)."""
        if self._rows:  # somebody weighs many answers
            return self.between(chosen, chosen)
        return delta_e_00_matrix(self.shades[chosen], self.shades[chosen])

    @cached_property
    def _rows(self) -> dict[int, Floats]:
        return {}


def colour_case(
    asked: Floats,
    requests: Sequence[ColourRequest],
    shades: Sequence[OwnedShade],
    *,
    weights: Floats,
    open_pairs: Bools,
    conditions: Conditions,
    endless: Bools | None = None,
    apart: Floats | None = None,
) -> ColourCase:
    """Return the case of ``requests``, which ask for the colours ``asked``, (m, 3), and ``shades``.

    ``endless`` (n,) are shades of which as much as is needed can be had. ``apart`` (m, n) is CIEDE2000 where known
    already, endless for pairs that are never asked for.
    """
    labs = lab_array([shade.lab for shade in shades])
    medians = np.array([conditions.factor_of(shade).median for shade in shades], dtype=float)
    geometry_mm = np.array([request.geometry_mm for request in requests], dtype=float)
    path_mm = np.array([request.path_mm for request in requests], dtype=float)
    needs_mm = geometry_mm[:, None] * medians + path_mm[:, None]
    covers_mm = np.full(len(shades), np.inf)
    stocked = np.arange(len(shades)) if endless is None else np.flatnonzero(~endless)
    covers_mm[stocked] = covered_mm(
        [shades[int(each)] for each in stocked], conditions, enough_mm=needs_mm.sum(axis=0)[stocked]
    )
    if apart is None:
        apart = delta_e_00_matrix(asked, labs)
    return ColourCase(
        cost=weights[:, None] * np.where(np.isfinite(apart), apart, NEVER),
        open=open_pairs,
        needs_mm=needs_mm,
        covers_mm=covers_mm,
        shades=labs,
        least_apart=least_apart(asked),
        lighter=clearly_lighter(asked),
    )


def covered_mm(shades: Sequence[OwnedShade], conditions: Conditions, *, enough_mm: Floats) -> Floats:
    """Return the length that each shade covers at the certainty, (n,); from ``enough_mm``, (n,), on only at least.

    Lengths are at the median of the shade's factor, so that only its spread is left to allow for.

    If the stock falls short of T with half the risk at most, and the need exceeds T with half the risk at most,
    together they fall short with no more than the whole. That is quick and does for well filled shelves.
    """
    free = np.array([shade.free for shade in shades], dtype=float).reshape(-1, 2)
    free_mm, sigma_mm = free[:, 0], free[:, 1]
    surer = 1 - (1 - conditions.certainty) / 2
    spreads = [conditions.factor_of(shade).about_one for shade in shades]
    most = {id(spread): spread.quantile(surer) for spread in spreads}
    covers_mm = (free_mm - float(ndtri(surer)) * sigma_mm) / np.exp([most[id(each)] for each in spreads])
    close = covers_mm < enough_mm
    for spread in dict.fromkeys(spreads):
        rows = np.flatnonzero(close & np.array([each == spread for each in spreads], dtype=bool))
        covers_mm[rows] = geometries_covered(
            spread, free_mm=free_mm[rows], free_sigma_mm=sigma_mm[rows], certainty=conditions.certainty
        )
    return np.asarray(covers_mm)


def count_broken(case: ColourCase, chosen: Ints) -> Broken:
    """Return how many rules the shades ``chosen``, (m,), break.

    Short are the fewest requests that would have to go for the metres to cover the rest.
    """
    short = int((case.needs_mm[np.arange(len(chosen)), chosen] > case.covers_mm[chosen]).sum())
    if len(set(chosen.tolist())) < len(chosen):
        shades, times = np.unique(chosen, return_counts=True)
        alone = np.isin(chosen, shades[times == 1])
        short = int((case.needs_mm[alone, chosen[alone]] > case.covers_mm[chosen[alone]]).sum())
        for shade in shades[times > 1]:
            needs_mm = np.sort(case.needs_mm[chosen == shade, shade])
            short += int((np.cumsum(needs_mm) > case.covers_mm[shade]).sum())
    labs = case.shades[chosen]
    alike = np.triu(case.among(chosen) < case.least_apart, 1).sum()
    out_of_order = (case.lighter & (labs[:, None, 0] <= labs[None, :, 0])).sum()
    return Broken(short, int(alike), int(out_of_order))

"""Which looks at the shelf would settle whether there is enough: value of information, by the model of the verdicts.

To look at a thing replaces what was thought of it by what is read, as the shelf does: with μ, s what is thought and e
the error of the look, what is read lies about N(μ, s² + e²) and is then known to e. Of a thing whose quantity nobody
knows, everything up to a full one is as likely as anything else. The verdict rises with what is read, so that for each
word there is an edge, and the chance of the word is that of reading beyond it (Raiffa and Schlaifer, *Applied
Statistical Decision Theory*, 1961: preposterior analysis; from memory).
"""

import math
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np

from inventory.compute.knowing import Look
from inventory.compute.later import later

if TYPE_CHECKING:
    from scipy.special import ndtr
else:
    ndtr = later("scipy.special", "ndtr")

MOST_LOOKS = 3  # so many things are named together
MOST_CANDIDATES = 10
WORTH_SAYING = 0.02  # of probability; less is no reason to fetch a scale
SHARPER = 0.8  # a look must leave less doubt than this share of what there is
_MIDDLES = (np.arange(24) + 0.5) / 24


class WordChances(NamedTuple):
    """How likely each word is."""

    enough: float
    tight: float
    short: float
    unknown: float = 0.0


@dataclass(frozen=True)
class Doubt:
    """A thing of which ``free_mm`` are thought to be free, ± ``sigma_mm``; None where nobody knows how much is there.

    ``held_mm`` is on it too and is not free. ``most_mm`` is what a full one holds. Without a ``look`` it stays so.
    """

    label: str
    free_mm: float
    sigma_mm: float | None
    look: Look | None = None
    held_mm: float = 0.0
    most_mm: float = 0.0

    @property
    def is_worth_a_look(self) -> bool:
        if self.look is None:
            return False
        if self.sigma_mm is None:
            return self.most_mm > 0
        return self.error_at(self.free_mm) < SHARPER * self.sigma_mm

    @property
    def mean_mm(self) -> float:
        return self.free_mm if self.sigma_mm is not None else self.most_mm / 2 - self.held_mm

    @property
    def variance(self) -> float:
        return self.most_mm**2 / 12 if self.sigma_mm is None else self.sigma_mm**2

    def error_at(self, free_mm: float) -> float:
        """Return one sigma in mm of what a look tells while so much of it is free."""
        assert self.look is not None
        return self.look.sigma_at(max(0.0, free_mm + self.held_mm))


class Part(Protocol):
    """A part of a plan with a verdict of its own: a thread, the bobbins, a layer."""

    @property
    def doubts(self) -> tuple[Doubt, ...]: ...

    def words_after(self, looked: Collection[str]) -> WordChances:
        """Return how likely each word is of this part once the things with these labels were looked at."""
        ...


@dataclass(frozen=True)
class LengthPart:
    """A length out of several things. ``needed(certainty, sigma_mm)`` is the stock that is enough at a certainty."""

    doubts: tuple[Doubt, ...]
    needed: Callable[[float, float], float]
    enough_at: float = 0.95
    tight_at: float = 0.5

    def words_after(self, looked: Collection[str]) -> WordChances:
        seen = [each for each in self.doubts if each.label in looked and each.look is not None]
        rest = [each for each in self.doubts if each not in seen and each.sigma_mm is not None]
        if not seen and not rest:
            return WordChances(0.0, 0.0, 0.0, 1.0)
        rest_mm = math.fsum(each.free_mm for each in rest)
        rest_variance = math.fsum(each.variance for each in rest)
        if not seen:
            at_least = [
                float(rest_mm >= self.needed(level, math.sqrt(rest_variance)))
                for level in (self.enough_at, self.tight_at)
            ]
            return _words(*at_least)
        mean_mm = math.fsum(each.mean_mm for each in seen)
        variance = math.fsum(each.variance for each in seen)

        def sigma_after(read_mm: float) -> float:
            # What is read of all, shared out among them as it most likely lies.
            off = (read_mm - mean_mm) / variance if variance > 0 else 0.0
            errors = (each.error_at(each.mean_mm + each.variance * off) for each in seen)
            return math.sqrt(rest_variance + math.fsum(error**2 for error in errors))

        at_least = []
        for level in (self.enough_at, self.tight_at):
            edge = mean_mm
            for _ in range(12):  # the error hardly changes with what is read
                before, edge = edge, self.needed(level, sigma_after(edge)) - rest_mm
                if abs(edge - before) < 1.0:
                    break
            at_least.append(_chance_of_reading(seen, at_least=edge))
        return _words(*at_least)


def _words(enough: float, tight_or_better: float) -> WordChances:
    better = max(enough, tight_or_better)
    return WordChances(enough, better - enough, 1 - better)


def _chance_of_reading(seen: Sequence[Doubt], *, at_least: float) -> float:
    """Return the chance that what is read of all of ``seen`` adds up to ``at_least`` mm."""
    mean_mm = math.fsum(each.free_mm if each.sigma_mm is not None else -each.held_mm for each in seen)
    errors = [each.error_at(each.mean_mm) ** 2 for each in seen]
    spread = math.sqrt(
        math.fsum(errors) + math.fsum(each.variance for each in seen if each.sigma_mm is not None)
    )
    spread = max(spread, 1e-6)
    full_mm = [each.most_mm for each in seen if each.sigma_mm is None]
    if not full_mm:
        return float(ndtr((mean_mm - at_least) / spread))
    others = np.array(
        [sum(drawn) for drawn in product(*(length * _MIDDLES for length in full_mm[1:]))] or [0.0]
    )
    low = (mean_mm + others - at_least) / spread
    high = low + full_mm[0] / spread
    # The mean of Φ over a rectangle, in closed form: x Φ(x) + φ(x) is its antiderivative.
    risen = _antiderivative(high) - _antiderivative(low)
    return float(np.clip((risen * spread / full_mm[0]).mean(), 0.0, 1.0))


def _antiderivative(x: np.ndarray) -> np.ndarray:
    return np.asarray(x * ndtr(x) + np.exp(-x * x / 2) / math.sqrt(2 * math.pi))


@dataclass(frozen=True)
class CountPart:
    """So many of one kind, each ``each_mm`` long, of which ``there`` are there and more may be wound from spools.

    A spool gives as many as it holds at ``sure_sigmas``.
    """

    doubts: tuple[Doubt, ...]
    there: int
    each_mm: float
    enough_count: int
    tight_count: int
    sure_sigmas: float

    def words_after(self, looked: Collection[str]) -> WordChances:
        chance_of = {self.there: 1.0}
        for doubt in self.doubts:
            counts = self._counts(doubt, is_seen=doubt.label in looked and doubt.look is not None)
            grown: dict[int, float] = {}
            for (before, p), (more, q) in product(chance_of.items(), counts.items()):
                grown[before + more] = grown.get(before + more, 0.0) + p * q
            chance_of = grown
        enough = math.fsum(p for count, p in chance_of.items() if count >= self.enough_count)
        tight = math.fsum(p for count, p in chance_of.items() if count >= self.tight_count)
        return _words(min(1.0, enough), min(1.0, tight))

    def _counts(self, doubt: Doubt, *, is_seen: bool) -> dict[int, float]:
        """Return how likely it is that so many can be wound from one spool."""
        if not is_seen:
            sure = 0.0 if doubt.sigma_mm is None else doubt.free_mm - self.sure_sigmas * doubt.sigma_mm
            return {max(0, int(sure / self.each_mm)): 1.0}
        most = max(0, int((doubt.mean_mm + 5 * math.sqrt(doubt.variance)) / self.each_mm)) + 1
        at_least = []
        for count in range(1, most + 1):
            edge = count * self.each_mm
            for _ in range(8):
                edge = count * self.each_mm + self.sure_sigmas * doubt.error_at(edge)
            at_least.append(_chance_of_reading([doubt], at_least=edge))
        reached = [1.0, *at_least, 0.0]
        return {count: max(0.0, reached[count] - reached[count + 1]) for count in range(most + 1)}


@dataclass(frozen=True)
class Settling:
    """Things to look at, and how likely that turns the verdict into *enough*, or into *short*.

    ``chance`` is that of either; of a verdict that is short already, only *enough* settles anything.
    """

    labels: tuple[str, ...]
    chance: float
    enough: float
    short: float


@dataclass(frozen=True)
class LookedAt:
    """A thing to look at, as a person finds it on the shelf, and how."""

    item_id: int
    label: str
    what: str
    place: str
    act: str


@dataclass(frozen=True)
class LookFirst:
    """Things to look at before anything is bought, and how likely that settles the verdict.

    ``of`` is the part whose verdict that is; empty for that of the whole.
    """

    items: tuple[LookedAt, ...]
    settling: Settling
    of: str = ""


@dataclass
class _Words:
    """The words of all parts together, each part's worked out once for what of it is looked at."""

    parts: Sequence[Part]
    fixed: tuple[str, ...]
    made: dict[tuple[int, frozenset[str]], WordChances] = field(default_factory=dict)

    def of(self, place: int, looked: frozenset[str]) -> WordChances:
        own = looked & {each.label for each in self.parts[place].doubts}
        if (place, own) not in self.made:
            self.made[place, own] = self.parts[place].words_after(own)
        return self.made[place, own]

    def enough_and_short(self, looked: frozenset[str]) -> tuple[float, float]:
        """Return how likely the whole is enough, and how likely short: the worst part is the whole's word."""
        words = [self.of(place, looked) for place in range(len(self.parts))]
        enough = math.prod(each.enough for each in words) if set(self.fixed) <= {"enough"} else 0.0
        short = 1.0 if "short" in self.fixed else 1 - math.prod(1 - each.short for each in words)
        return enough, short


def best_looks(parts: Sequence[Part], *, now: str, fixed: Iterable[str] = ()) -> tuple[Settling, ...]:
    """Return the one, two and three things whose looks most likely settle the verdict, each set only if it adds.

    ``now`` is the verdict as it is; ``fixed`` are the words of parts that no look changes.
    """
    words = _Words(parts, tuple(fixed))
    if now == "enough" or "short" in words.fixed:
        return ()

    def settling(labels: tuple[str, ...]) -> Settling:
        enough, short = words.enough_and_short(frozenset(labels))
        chance = enough if now == "short" else enough + short
        return Settling(labels, chance, enough, short)

    found: list[Settling] = []
    least = WORTH_SAYING
    candidates = _candidates(parts, words)
    for count in range(1, min(MOST_LOOKS, len(candidates)) + 1):
        best = max((settling(each) for each in combinations(candidates, count)), key=lambda each: each.chance)
        if best.chance >= least:
            found.append(best)
            least = best.chance + WORTH_SAYING
    return tuple(found)


def _candidates(parts: Sequence[Part], words: _Words) -> list[str]:
    """Return the things worth a look, those first whose own part they settle most."""
    merits: dict[str, float] = {}
    for place, part in enumerate(parts):
        for doubt in part.doubts:
            if doubt.is_worth_a_look:
                own = words.of(place, frozenset([doubt.label]))
                settled = own.enough + (own.short if words.of(place, frozenset()).short < 1 else 0.0)
                # Of equal ones, those that are known worst may settle it together with others.
                merits[doubt.label] = (
                    merits.get(doubt.label, 0.0) + settled + 1e-9 * math.sqrt(doubt.variance)
                )
    return sorted(merits, key=lambda label: (-merits[label], label))[:MOST_CANDIDATES]

"""A workshop as it really is, kept beside what the program believes of it: thread, bobbins and cloth of its own.

Nothing here is drawn from what the program reckons with. How much thread a block takes follows from its points by
loops written for this purpose, with a draw-in, a thickness and an interlock that nobody told the program; thread is
off its stated tex, spools off their stated length, empty ones off their stated weight. Spreads are flat or triangular
where the program believes in normals. All widths: common practice, no source.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field

from inventory.compute.lengths import ScaleReading
from inventory.models import BobbinBatch, Entry, Spool, StabilizerRoll, StockItem

Point = tuple[float, float]
Block = list[Point]

KIND = StockItem.Kind


def satin(width_mm: float, height_mm: float, *, step_mm: float = 0.4, at: Point = (0.0, 0.0)) -> Block:
    """Return the points of a zigzag across a column."""
    count = round(height_mm / step_mm)
    return [(at[0] + width_mm * (each % 2), at[1] + step_mm * each) for each in range(count)]


def fill(
    width_mm: float, height_mm: float, *, stitch_mm: float = 3.5, row_mm: float = 0.4, at: Point = (0, 0)
) -> Block:
    """Return the points of rows to and fro."""
    across = max(2, round(width_mm / stitch_mm))
    points = []
    for row in range(round(height_mm / row_mm)):
        steps = range(across + 1) if row % 2 == 0 else range(across, -1, -1)
        points += [(at[0] + width_mm * step / across, at[1] + row_mm * row) for step in steps]
    return points


@dataclass
class TrueMachine:
    """How a machine really lays thread: what is in its bobbin case, and what a job scatters by."""

    kappa: float
    thickness_mm: float
    interlock: float
    needle_tails_mm: float
    bobbin_tails_mm: float
    path_mm: float
    needles: int
    bobbin_drag: float
    in_case_mm: float = 0.0
    known: dict[tuple[int, int, float], tuple[float, float]] = field(default_factory=dict)


def laid_mm(block: Sequence[Point], machine: TrueMachine) -> tuple[float, float]:
    """Return the needle and bobbin thread that lies in one block on this machine, in mm."""
    through = 2 * machine.thickness_mm * len(block)
    drawn = back = path = 0.0
    locks: list[Point] = []
    for at, (x, y) in enumerate(block):
        pull = (0.0, 0.0)
        if at:
            drawn += math.dist(block[at - 1], (x, y))
        if 0 < at < len(block) - 1:
            before, after = block[at - 1], block[at + 1]
            a, b = math.dist(before, (x, y)), math.dist((x, y), after)
            if a > 0 and b > 0:
                turn = ((after[0] - x) / b - (x - before[0]) / a, (after[1] - y) / b - (y - before[1]) / a)
                reach = machine.kappa * min(a, b) / 2
                pull = (turn[0] * reach, turn[1] * reach)
                back += math.hypot(*pull)
        locks.append((x + pull[0], y + pull[1]))
        if at:
            path += math.dist(locks[at - 1], locks[at])
    return drawn + 2 * back + machine.interlock * through, path + (1 - machine.interlock) * through


@dataclass(frozen=True)
class OffBy:
    """A thing by the books, with the sigma that they state, and what is really there."""

    kind: str
    label: str
    books: int
    sigma: float
    really: float

    @property
    def sigmas(self) -> float:
        error = self.really - self.books
        if abs(error) < 0.5:
            return 0.0
        return error / self.sigma if self.sigma else math.inf


@dataclass
class TrueWorkshop:
    """What is really there, by the number of the item: mm of thread or roll, and full bobbins."""

    rng: random.Random
    mm: dict[int, float] = field(default_factory=dict)
    bobbins: dict[int, int] = field(default_factory=dict)
    bobbin_mm: dict[int, float] = field(default_factory=dict)
    tare_mg: dict[int, float] = field(default_factory=dict)
    tex: dict[int, float] = field(default_factory=dict)
    drag: dict[int, float] = field(default_factory=dict)
    hand_mm: float = 0.0

    def __post_init__(self) -> None:
        self.hand_mm = self.rng.uniform(0.0, 4.0)  # by so much each strip is cut too long, on the whole

    def about(self, value: float, share: float) -> float:
        """Return ``value`` off by up to ``share`` of it either way, evenly."""
        return value * (1 + self.rng.uniform(-share, share))

    def spool_came(self, spool: Spool) -> None:
        """Note what a spool that the books have as full really holds and weighs."""
        range = spool.shade.range
        self.tex.setdefault(range.pk, self.about(range.tex, 0.04))
        self.drag.setdefault(range.pk, self.about(1.0, 0.08))
        self.mm[spool.pk] = self.about(spool.put_up.length_mm, 0.035)
        self.tare_mg[spool.pk] = self.about(spool.put_up.tare_mg, 0.05)

    def batch_came(self, batch: BobbinBatch, *, off: float) -> None:
        self.bobbins[batch.pk] = batch.on_hand
        self.bobbin_mm[batch.pk] = self.about(batch.length_mm, off)

    def roll_came(self, roll: StabilizerRoll) -> None:
        self.mm[roll.pk] = self.about(roll.on_hand, 0.017)

    def on_scale(self, spool: Spool, *, step_mg: int) -> ScaleReading:
        """Return what a scale with this step shows of a spool."""
        gross = self.tare_mg[spool.pk] + self.mm[spool.pk] * self.tex[spool.shade.range_id] / 1000
        return ScaleReading(round(gross / step_mg) * step_mg, resolution_mg=step_mg)

    def off_by(self) -> list[OffBy]:
        """Return by how many of its sigmas each thing is off that anything was taken of, and whose quantity is known.

        Where the books claim to be exact, any error is infinitely many.
        """
        kept = {**self.mm, **self.bobbins}
        taken = Entry.objects.filter(quantity__lt=0).values("item_id")
        known = StockItem.objects.filter(pk__in=kept, sigma__isnull=False)
        return [
            OffBy(item.kind, item.label, item.on_hand, item.sigma or 0.0, kept[item.pk])
            for item in known.filter(pk__in=taken).order_by("pk")
        ]

"""For how many pieces each thing of a plan lasts: surely, and perhaps."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.certainty.enough import pieces_covered
from planning.compute.stabilizer.supply import LayerPlan

Kind = Literal["thread", "bobbins", "stabilizer"]
# The gravest first; what lasts for all comes in the order of sewing.
GRAVE = ("short", "off colour", "bare", "unknown", "tight", "enough")
_LEAST_CERTAINTY = 1e-6


@dataclass(frozen=True)
class Lasting:
    """How many of ``total`` pieces a thing lasts for: ``sure`` at the rules' certainty, ``perhaps`` at the rest of it.

    ``place`` is its place among those of its kind, ``word`` one of ``GRAVE``. ``reach`` is what is free as a share of
    what is needed, None where that is not known.
    """

    kind: Kind
    place: int
    word: str
    total: int
    sure: int
    perhaps: int
    reach: float | None

    @property
    def decides(self) -> bool:
        return self.word != "enough"


def lasting_of(plan: BatchPlan) -> list[Lasting]:
    """Return every thread of the plan, its bobbins and its layers: what decides first, then in the order of sewing."""
    found = [_thread(plan, place, thread) for place, thread in enumerate(plan.threads)]
    found.sort(key=lambda each: GRAVE.index(each.word) if each.decides else len(GRAVE))
    found.append(_bobbins(plan))
    return [*found, *(_layer(plan, place, layer) for place, layer in enumerate(plan.stabilizer))]


def pieces_perhaps(thread: PlannedThread, *, enough_at: float) -> int:
    """Return how many pieces a thread may last for: more are as unlikely as fewer than the sure ones."""
    lengths_mm = _cumulative(thread.geometry_mm) * thread.factor_median + _cumulative(thread.path_mm)
    return pieces_covered(
        lengths_mm,
        thread.spread,
        free_mm=float(thread.free_mm),
        free_sigma_mm=float(thread.free_sigma_mm),
        certainty=max(1 - enough_at, _LEAST_CERTAINTY),
    )


def _cumulative(each_mm: Sequence[float]) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(each_mm)])


def _thread(plan: BatchPlan, place: int, thread: PlannedThread) -> Lasting:
    total = plan.pieces.total
    if not thread.is_asked:
        return Lasting("thread", place, "bare", total, 0, 0, None)
    if thread.colour_verdict == "off colour" and not thread.choice.near_enough:
        return Lasting("thread", place, "off colour", total, 0, 0, 0.0)
    if thread.verdict == "unknown" or thread.choice.shade is None:
        return Lasting("thread", place, thread.verdict, total, 0, 0, None)
    word = (
        "off colour"
        if thread.colour_verdict == "off colour" and thread.verdict == "enough"
        else thread.verdict
    )
    sure = min(thread.pieces_possible, total)
    perhaps = total if sure >= total else max(sure, pieces_perhaps(thread, enough_at=plan.enough_at))
    reach = thread.free_mm / thread.needed_mm if thread.needed_mm else None
    return Lasting("thread", place, word, total, sure, min(perhaps, total), reach)


def _bobbins(plan: BatchPlan) -> Lasting:
    bobbins, total = plan.bobbins, plan.pieces.total
    if bobbins.verdict == "unknown" or not bobbins.count:
        return Lasting("bobbins", 0, bobbins.verdict, total, 0, 0, None)
    there = bobbins.owned + bobbins.to_wind
    if bobbins.verdict == "enough":
        return Lasting("bobbins", 0, "enough", total, total, total, there / bobbins.count)
    # Bobbins are used up evenly, as far as a number of pieces can tell.
    sure = total * there // max(bobbins.sure_count, bobbins.count, 1)
    perhaps = min(total, total * there // bobbins.count)
    return Lasting("bobbins", 0, bobbins.verdict, total, min(sure, perhaps), perhaps, there / bobbins.count)


def _layer(plan: BatchPlan, place: int, layer: LayerPlan) -> Lasting:
    total, word = plan.pieces.total, layer.verdict
    if word == "unknown" or not layer.is_planned:
        return Lasting("stabilizer", place, word, total, 0, 0, None)
    if layer.spray is not None:
        share = layer.spray.free_mg / layer.spray.needed_mg if layer.spray.needed_mg else 1.0
        lasts = total if word == "enough" else min(total, int(total * share))
        return Lasting("stabilizer", place, word, total, total if word == "enough" else 0, lasts, share)
    if word == "enough":
        used = layer.cut.roll_mm if layer.cut else 0
        return Lasting("stabilizer", place, word, total, total, total, layer.free_mm / used if used else 1.42)
    missing = layer.missing_pieces
    there = total * (layer.pieces - missing) // layer.pieces if layer.pieces else total
    reach = (layer.pieces - missing) / layer.pieces if layer.pieces else 1.0
    return Lasting("stabilizer", place, word, total, there if missing else 0, there, reach)

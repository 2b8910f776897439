"""How the answer for one thread was found: each step with its formula, this plan's own values, and its source."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.compute.lengths import format_length
from inventory.compute.units import Units
from inventory.models import Spool
from planning.compute.batch.asked import AskedBlock
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.stitches.placing import scaled_sums
from planning.compute.stitches.thread_length import ThreadSettings

LOCKSTITCH = "the geometry of a lockstitch; for a straight seam the handbooks' formula of stitch type 301"
PRACTICE = "common practice, no source"
MEASURING = "JCGM 100:2008 (errors add as squares)"


@dataclass(frozen=True)
class FoundStep:
    """One step: what is found, by which formula, from which values, with what result, and who says so."""

    what: str
    formula: str
    values: str
    result: str
    source: str


def found_steps(
    plan: BatchPlan, thread: PlannedThread, *, settings: ThreadSettings, units: Units
) -> list[FoundStep]:
    """Return the way from the stitches to the verdict of ``thread``.

    Its blocks' own sums are told for one piece that carries each of them once.
    """

    def length(mm: float) -> str:
        return format_length(mm, unit=units.length, places=1)

    mine = set(thread.blocks)
    sums = [
        scaled_sums(block.sums, plan.designs[design].placement)
        for design, block in _blocks(plan)
        if (design, block.number) in mine
    ]
    drawn = sum(each.drawn_mm for each in sums)
    penetrations = sum(each.penetrations for each in sums)
    through = 2 * settings.interlock_depth * settings.thickness_mm * penetrations
    drawn_in = 2 * settings.kappa * sum(each.back_draw_mm for each in sums)
    tails = sum(each.runs for each in sums) * (settings.needle_tail_start_mm + settings.needle_tail_trim_mm)
    a_piece = (drawn + through + drawn_in + tails) * (1 + settings.allowance)
    batch, path = sum(thread.geometry_mm), sum(thread.path_mm)
    return [
        FoundStep(
            "Drawn by the stitches", "Σ s", f"{penetrations:,} stitches", length(drawn), "the stitch file"
        ),
        FoundStep(
            "Down through the cloth and up again",
            "2 · q · t · n",
            f"q = {settings.interlock_depth:g}, t = {settings.thickness_mm:g} mm, n = {penetrations:,}",
            length(through),
            LOCKSTITCH,
        ),
        FoundStep(
            "Drawn in where the stitches turn",
            "2 · κ · Σ min(s, s′) · sin(θ/2)",
            f"κ = {settings.kappa:.2f}",
            length(drawn_in),
            LOCKSTITCH,
        ),
        FoundStep(
            "Ends at starts and cuts, and an allowance for breaks",
            "(sum + ends) · (1 + allowance)",
            f"ends {length(tails)}, allowance {settings.allowance * 100:.0f} in a hundred",
            f"{length(a_piece)} a piece",
            f"the workshop's rules; {PRACTICE}",
        ),
        FoundStep(
            "All pieces, tests and spoiled ones with them",
            "Σ over the pieces",
            f"{plan.pieces.total} pieces",
            length(batch),
            "the question",
        ),
        FoundStep(
            "What this machine really takes, and what rethreading loses",
            "sum · factor + path",
            f"factor {thread.factor_median:.2f}, path {length(path)}",
            f"{length(thread.needed_mm)}, good to {length(thread.needed_sigma_mm)}",
            "what was weighed after earlier runs; before the first, a stated start",
        ),
        FoundStep(
            "Free on the shelf",
            "Σ of its spools",
            _stock(thread, units),
            "not known"
            if thread.verdict == "unknown"
            else f"{length(thread.free_mm)}, good to {length(thread.free_sigma_mm)}",
            MEASURING,
        ),
        FoundStep(
            "How sure it is that this is enough",
            "P(free − sum · e^Z ≥ 0)",
            f"enough from {plan.enough_at * 100:.0f} in a hundred, tight from {plan.tight_at * 100:.0f}",
            "not known" if thread.verdict == "unknown" else f"{thread.p_enough * 100:.0f} in a hundred",
            "what is left of both errors; the workshop's rules",
        ),
    ]


def good_to(thread: PlannedThread) -> str:
    """Return in a few words how well the need is known."""
    if not thread.needed_mm:
        return ""
    share = 100 * thread.needed_sigma_mm / thread.needed_mm
    return f"Lengths from the stitches, good to {share:.0f} in a hundred"


def _blocks(plan: BatchPlan) -> Sequence[tuple[int, AskedBlock]]:
    return [(each.design, each.block) for each in plan.blocks]


def _stock(thread: PlannedThread, units: Units) -> str:
    """Return how each spool of a thread is known."""
    labels = [spool.label for spool in (thread.choice.shade.spools if thread.choice.shade else ())]
    spools = Spool.objects.filter(label__in=labels).order_by("label")[:6]
    told = [
        f"{spool.label} {spool.get_known_display()}"
        + (
            ""
            if spool.sigma is None
            else f", good to {format_length(spool.sigma, unit=units.length, places=0)}"
        )
        for spool in spools
    ]
    more = f"; {len(labels) - len(told)} more" if len(labels) > len(told) else ""
    return "; ".join(told) + more if told else "no spool"

"""How the answer for one thread was found: each step with its formula, this plan's own values, and its source."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.compute.lengths import format_length
from inventory.compute.spoken import N_, _, as_written_here, figure, ngettext
from inventory.compute.units import Units
from inventory.models import Spool
from planning.compute.batch.asked import AskedBlock
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.stitches.placing import scaled_sums
from planning.compute.stitches.thread_length import ThreadSettings

LOCKSTITCH = N_("the geometry of a lockstitch; for a straight seam the handbooks' formula of stitch type 301")
MEASURING = N_("JCGM 100:2008 (errors add as squares)")


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

    def good(mm: float, sigma_mm: float) -> str:
        return _("{length}, good to {error}").format(length=length(mm), error=length(sigma_mm))

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
            _("Drawn by the stitches"),
            "Σ s",
            ngettext("{number} stitch", "{number} stitches", penetrations).format(
                number=figure(penetrations)
            ),
            length(drawn),
            _("the stitch file"),
        ),
        FoundStep(
            _("Down through the cloth and up again"),
            "2 · q · t · n",
            f"q = {as_written_here(f'{settings.interlock_depth:g}')}, "
            f"t = {as_written_here(f'{settings.thickness_mm:g}')} mm, n = {figure(penetrations)}",
            length(through),
            _("{source}; q of your machine, t of your fabric").format(source=_(LOCKSTITCH)),
        ),
        FoundStep(
            _("Drawn in where the stitches turn"),
            "2 · κ · Σ min(s, s′) · sin(θ/2)",
            f"κ = {figure(settings.kappa, 2)}",
            length(drawn_in),
            _("{source}; κ of your machine").format(source=_(LOCKSTITCH)),
        ),
        FoundStep(
            _("Ends at starts and cuts, and an allowance for breaks"),
            _("(sum + ends) · (1 + allowance)"),
            _("ends {length}, allowance {hundredths} in a hundred").format(
                length=length(tails), hundredths=f"{settings.allowance * 100:.0f}"
            ),
            _("{length} a piece").format(length=length(a_piece)),
            _("your machine and your rules; common practice, no source"),
        ),
        FoundStep(
            _("All pieces, tests and spoiled ones with them"),
            _("Σ over the pieces"),
            ngettext("{number} piece", "{number} pieces", plan.pieces.total).format(number=plan.pieces.total),
            length(batch),
            _("the question"),
        ),
        FoundStep(
            _("What this machine really takes, and what rethreading loses"),
            _("sum · factor + path"),
            _("factor {factor}, path {length}").format(
                factor=figure(thread.factor_median, 2), length=length(path)
            ),
            good(thread.needed_mm, thread.needed_sigma_mm),
            _("what was weighed after earlier runs; before the first, what is usual"),
        ),
        FoundStep(
            _("Free on the shelf"),
            _("Σ of its spools"),
            _stock(thread, units),
            _("not known") if thread.verdict == "unknown" else good(thread.free_mm, thread.free_sigma_mm),
            _(MEASURING),
        ),
        FoundStep(
            _("How sure it is that this is enough"),
            _("P(free − sum · e^Z ≥ 0)"),
            _("enough from {enough} in a hundred, tight from {tight}").format(
                enough=f"{plan.enough_at * 100:.0f}", tight=f"{plan.tight_at * 100:.0f}"
            ),
            _("not known")
            if thread.verdict == "unknown"
            else _("{hundredths} in a hundred").format(hundredths=f"{thread.p_enough * 100:.0f}"),
            _("what is left of both errors; your rules"),
        ),
    ]


def good_to(thread: PlannedThread) -> str:
    """Return in a few words how well the need is known."""
    if not thread.needed_mm:
        return ""
    share = 100 * thread.needed_sigma_mm / thread.needed_mm
    return _("Lengths from the stitches, good to {hundredths} in a hundred").format(hundredths=f"{share:.0f}")


def _blocks(plan: BatchPlan) -> Sequence[tuple[int, AskedBlock]]:
    return [(each.design, each.block) for each in plan.blocks]


def _stock(thread: PlannedThread, units: Units) -> str:
    """Return how each spool of a thread is known."""
    labels = [spool.label for spool in (thread.choice.shade.spools if thread.choice.shade else ())]
    spools = Spool.objects.filter(label__in=labels).order_by("label")[:6]
    told = [f"{spool.label} {spool.get_known_display()}{_good_to(spool.sigma, units)}" for spool in spools]
    if not told:
        return _("no spool")
    if len(labels) > len(told):
        told.append(_("{number} more").format(number=len(labels) - len(told)))
    return "; ".join(told)


def _good_to(sigma_mm: float | None, units: Units) -> str:
    if sigma_mm is None:
        return ""
    return _(", good to {length}").format(length=format_length(sigma_mm, unit=units.length, places=0))

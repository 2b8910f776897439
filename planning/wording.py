"""The answer in words: the same sentences on the page and in the terminal."""

from dataclasses import dataclass

from inventory.compute.lengths import format_length
from inventory.compute.units import Units
from planning.compute.batch import BatchPlan
from planning.compute.needle_thread import PlannedThread
from planning.compute.priced_instead import PricedInstead
from planning.compute.spools import SpoolUse

MOST_LINES = 4


@dataclass(frozen=True)
class AnswerInWords:
    """The verdict as a headline, and under it the numbers a person acts on."""

    headline: str
    lines: tuple[str, ...]


def answer_in_words(plan: BatchPlan, *, units: Units) -> AnswerInWords:
    """Return the headline and at most a few lines: how many pieces can be stitched, and what is missing."""
    wanting = [thread for thread in plan.threads if thread.verdict != "enough"]
    others = ["bobbins"] if plan.bobbins.verdict != "enough" else []
    others += [layer.kind for layer in plan.stabilizer if layer.verdict != "enough"]
    if not wanting and not others:
        return AnswerInWords(
            f"Enough for all {plan.pieces.total} pieces",
            ("Every colour, the bobbins and the stabilizer do for the whole batch.",),
        )
    parts = [f"{len(wanting)} of {len(plan.threads)} colours"] if wanting else []
    headline = f"{plan.verdict.capitalize()}: {' and '.join([*parts, *dict.fromkeys(others)])}"
    possible = min((thread.pieces_possible for thread in plan.threads), default=0)
    lines = [
        f"The thread on the shelf surely stitches {possible} of the {plan.pieces.total} pieces, "
        "tests and spoilage counted in."
    ]
    coloured = [thread for thread in wanting if thread.hex]
    lines += [f"{thread_name(thread)}: {_missing(thread, units)}." for thread in coloured[:MOST_LINES]]
    if len(coloured) > MOST_LINES:
        lines.append(f"{len(coloured) - MOST_LINES} more colours are in the table.")
    bare = len(wanting) - len(coloured)
    if bare:
        lines.append(
            f"{bare} block{'s' if bare > 1 else ''} without a colour in the file: choose one for each."
        )
    return AnswerInWords(headline, tuple(lines))


def thread_name(thread: PlannedThread) -> str:
    """Return the name of the chosen thread, or of what was asked for where none is near enough."""
    shade = thread.choice.shade
    if shade and thread.choice.near_enough:
        return f"{shade.name or shade.code} ({shade.maker} {shade.code})"
    return asked_name(thread)


def asked_name(thread: PlannedThread) -> str:
    return thread.name or thread.hex or f"No colour (block {thread.blocks[0][1]})"


def spool_goes_on(use: SpoolUse) -> str:
    """Return where inside its first piece a spool goes on; empty where it goes on before the piece.

    >>> from planning.compute.spools import SpoolUse
    >>> spool_goes_on(SpoolUse("S0002", 3, 9, 0, 0, from_block=1, inside=0.4, at_block=(0, 5)))
    ', from about 40 % into block 5 of piece 3'
    """
    if not (use.from_block or use.inside) or use.at_block is None:
        return ""
    into = f"about {use.inside * 100:.0f} % into " if use.inside else ""
    return f", from {into}block {use.at_block[1]} of piece {use.from_piece}"


def _missing(thread: PlannedThread, units: Units) -> str:
    if thread.reason:
        return thread.reason.rstrip(".")
    return f"{format_length(thread.missing_mm, unit=units.length, places=0)} more would make it sure"


def instead_in_words(instead: PricedInstead, *, currency: str) -> str:
    """Return what buying one, two or three shades would bring, with the price."""
    names = [
        f"{each.shade.maker} {each.shade.range} {each.shade.code} {each.shade.name}".strip()
        for each in instead.shades
    ]
    which = "this one shade" if len(names) == 1 else f"these {('two', 'three')[len(names) - 2]} shades"
    return (
        f"Buying {which} would bring the mean difference from ΔE00 {instead.mean_before:.1f} to "
        f"{instead.mean_after:.1f}, for {currency} {instead.total}: {', '.join(names)}."
    )

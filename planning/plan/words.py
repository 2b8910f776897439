"""The answer in words: the same sentences on the page and in the terminal."""

from dataclasses import dataclass

from inventory.compute.lengths import format_length
from inventory.compute.units import Units
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.buying.priced_instead import PricedInstead
from planning.compute.colour.choice import Choice
from planning.compute.spools.turns import SpoolUse

MOST_LINES = 4


@dataclass(frozen=True)
class AnswerInWords:
    """The verdict as a headline, and under it the numbers a person acts on."""

    headline: str
    lines: tuple[str, ...]
    sign: str


def answer_in_words(plan: BatchPlan, *, units: Units) -> AnswerInWords:
    """Return the headline and at most a few lines: how many pieces can be stitched, and what is missing."""
    wanting = [
        thread
        for thread in plan.threads
        if thread.verdict != "enough" or thread.colour_verdict == "off colour"
    ]
    others = ["bobbins"] if plan.bobbins.verdict != "enough" else []
    others += [layer.kind for layer in plan.stabilizer if layer.verdict != "enough"]
    if not wanting and not others:
        return AnswerInWords(
            f"Enough for all {plan.pieces.total} pieces",
            ("Every colour, the bobbins and the stabilizer do for the whole batch.",),
            plan.verdict,
        )
    parts = [f"{len(wanting)} of {len(plan.threads)} colours"] if wanting else []
    all_off = not others and all(each.colour_verdict == "off colour" for each in wanting)
    # Where all that is wrong is colours, it is no matter of metres.
    sign = "off colour" if all_off else plan.verdict
    headline = f"{sign.capitalize()}: {' and '.join([*parts, *dict.fromkeys(others)])}"
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
    return AnswerInWords(headline, tuple(lines), sign)


def shown_verdict(thread: PlannedThread) -> str:
    """Return the one word that stands for a thread: ``off colour`` whatever its stock, else that of the stock.

    A pinned shade that is off colour may also be short; then that is said, and its colour in the notes.
    """
    if thread.colour_verdict == "off colour" and not (
        thread.choice.near_enough and thread.verdict != "enough"
    ):
        return "off colour"
    return thread.verdict


def thread_name(thread: PlannedThread) -> str:
    """Return the name of the chosen thread, or of what was asked for where none is near enough."""
    shade = thread.choice.shade
    if shade and thread.choice.near_enough:
        return f"{shade.name or shade.code} ({shade.maker} {shade.code})"
    return asked_name(thread)


def difference_in_words(choice: Choice) -> str:
    """Return the difference of a choice, and between which two it lies as far as the colours are known.

    >>> difference_in_words(Choice(None, delta_e_00=2.4, between=(1.77, 2.95)))
    '2.4 (between 1.8 and 3.0)'
    """
    if choice.delta_e_00 is None:
        return ""
    between = between_in_words(choice)
    return f"{choice.delta_e_00:.1f} ({between})" if between else f"{choice.delta_e_00:.1f}"


def between_in_words(choice: Choice) -> str:
    """Return between which two a difference lies; nothing where that is one number."""
    if choice.between is None or choice.between[1] - choice.between[0] < 0.05:
        return ""
    return f"between {choice.between[0]:.1f} and {choice.between[1]:.1f}"


def asked_name(thread: PlannedThread) -> str:
    return thread.name or thread.hex or f"No colour (block {thread.blocks[0][1]})"


def spool_goes_on(use: SpoolUse) -> str:
    """Return where inside its first piece a spool goes on; empty where it goes on before the piece.

    >>> from planning.compute.spools.turns import SpoolUse
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
    if thread.verdict == "enough":
        return f"pinned, and off colour by ΔE00 {thread.choice.delta_e_00:.1f}"
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

"""The answer in words: the same sentences on the page and in the terminal."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.compute.colour.lab import delta_e_00_matrix
from inventory.compute.lengths import format_length
from inventory.compute.units import Units
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.buying.priced_instead import PricedInstead
from planning.compute.colour.choice import Choice, OwnedShade
from planning.compute.colour.rules import lab_array
from planning.compute.spools.turns import SpoolUse
from planning.plan.pins import written_blocks, written_pin

MOST_LINES = 4
MOST_BARE = 8


@dataclass(frozen=True)
class AnswerInWords:
    """The verdict as a headline, and under it the numbers a person acts on."""

    headline: str
    lines: tuple[str, ...]
    sign: str


def answer_in_words(plan: BatchPlan, *, units: Units) -> AnswerInWords:
    """Return the headline and at most a few lines: how many pieces can be stitched, and what is missing."""
    asked = [thread for thread in plan.threads if thread.is_asked]
    wanting = [thread for thread in asked if _is_wanting(thread)]
    counted = _counted(plan, wanting)
    bare = [thread for thread in plan.threads if not thread.is_asked]
    lines = [*_size_lines(plan), *_bare_lines(bare, plan, units)]
    if not counted and not bare and not plan.too_big:
        planned = (
            "Every colour, the bobbins and the stabilizer do"
            if plan.stabilizer
            else "Every colour and the bobbins do"
        )
        every = f"{planned} for the whole batch."
        return AnswerInWords(
            f"Enough for all {plan.pieces.total} pieces", (every, *_wish_lines(plan), *lines), plan.verdict
        )
    sign = _sign(plan, list(counted), bare)
    choose = [f"choose {_count(len(bare), 'colour')}"] if bare else []
    said = [f"{word}: {' and '.join(parts)}" for word, parts in counted.items()]
    # What is short is the gravest; a colour that nobody chose yet comes before what is merely not known.
    grave = [each for each in said if each.startswith(("short", "off colour"))]
    headline = "; ".join([*grave, *choose, *(each for each in said if each not in grave)])
    if plan.too_big:
        headline = "; ".join(filter(None, ["too big for every hoop of this machine", headline]))
    if wanting:
        possible = min(thread.pieces_possible for thread in asked)
        lines.insert(
            0,
            f"The thread on the shelf surely stitches {possible} of the {plan.pieces.total} pieces, "
            "tests and spoilage counted in.",
        )
    lines += [f"{thread_name(thread)}: {_missing(thread, units)}." for thread in wanting[:MOST_LINES]]
    if len(wanting) > MOST_LINES:
        lines.append(f"{len(wanting) - MOST_LINES} more colours are in the table.")
    lines += _wish_lines(plan)
    return AnswerInWords(headline[:1].upper() + headline[1:], tuple(lines), sign)


def _is_wanting(thread: PlannedThread) -> bool:
    return thread.verdict != "enough" or thread.colour_verdict == "off colour"


def _counted(plan: BatchPlan, wanting: Sequence[PlannedThread]) -> dict[str, list[str]]:
    """Return what is not enough by its word, the gravest first: short, tight and unknown are counted apart."""
    counted: dict[str, list[str]] = {}
    for word in ("short", "off colour", "tight", "unknown"):
        threads = [thread for thread in wanting if _headline_word(thread) == word]
        parts = [f"{len(threads)} of {len(plan.threads)} colours"] if threads else []
        parts += ["bobbins"] if plan.bobbins.verdict == word else []
        parts += dict.fromkeys(layer.kind for layer in plan.stabilizer if layer.verdict == word)
        if parts:
            counted[word] = parts
    return counted


def _headline_word(thread: PlannedThread) -> str:
    """A thread of another colour than the one demanded is off colour, and no matter of metres."""
    return "off colour" if thread.colour_verdict == "off colour" else thread.verdict


def _sign(plan: BatchPlan, words: Sequence[str], bare: Sequence[PlannedThread]) -> str:
    # Where all that is wrong is colours, it is no matter of metres.
    if list(words) == ["off colour"] and not bare and not plan.too_big:
        return "off colour"
    return plan.verdict


def _size_lines(plan: BatchPlan) -> list[str]:
    return [plan.too_big] if plan.too_big else []


def _bare_lines(bare: Sequence[PlannedThread], plan: BatchPlan, units: Units) -> list[str]:
    """What each block takes whose colour nobody has said, so that a person can choose by it."""
    if not bare:
        return []
    several = len(plan.designs) > 1
    takes = [
        f"block {_blocks(thread, several=several)} takes "
        f"{format_length(thread.needed_mm, unit=units.length, places=0)}"
        for thread in bare[:MOST_BARE]
    ]
    more = f" and {len(bare) - MOST_BARE} more are in the table" if len(bare) > MOST_BARE else ""
    bobbins = (
        "; the bobbins on the shelf do"
        if plan.bobbins.verdict == "enough"
        else f"; {_count(plan.bobbins.count, 'bobbin')} in all"
        if plan.bobbins.count
        else ""
    )
    return [
        f"The file names no colours. {'; '.join(takes)[:1].upper()}{'; '.join(takes)[1:]}{more}{bobbins}."
    ]


def _wish_lines(plan: BatchPlan) -> list[str]:
    """Where the file's colours are stood for by threads that are not near: how, once a word."""
    found = [each for each in plan.threads if each.given_up and each.given_up.word != "near"]
    # One of another colour says so as its reason.
    told = [each for each in found if each.colour_verdict != "off colour"]
    lines = [f"{thread_name(each)} for {asked_name(each)}: {_wish_text(each)}" for each in told[:MOST_LINES]]
    if len(told) > MOST_LINES:
        lines.append(f"How {len(told) - MOST_LINES} more stand for the file's colours is in the table.")
    return lines


def _wish_text(thread: PlannedThread) -> str:
    assert thread.given_up
    text = thread.given_up.text
    return text[:1].lower() + text[1:]


def colour_word(thread: PlannedThread) -> str:
    """Return the word for how a thread stands for what was asked: the words of a wish, or of a demand."""
    if not thread.is_asked:
        return "none asked"
    if thread.given_up is not None:
        return thread.given_up.word
    if thread.is_remembered and thread.colour_verdict != "off colour":
        return "remembered"
    if thread.is_pinned and thread.colour_verdict != "off colour":
        return "chosen by you"
    return thread.colour_verdict


def pins_to_type(plan: BatchPlan) -> str:
    """Return the words for a command that pin a shade with enough metres to each block without a colour.

    The shades are proposed so that blocks differ: the darkest first, then each time the one farthest from the others.
    Nothing is returned where nothing is left to choose, or no shade has enough.
    """
    several = len(plan.designs) > 1
    words: list[str] = []
    proposed: list[OwnedShade] = []
    for thread in plan.threads:
        shade = _proposal(thread.may_have, proposed) if not thread.is_asked else None
        if shade is not None:
            proposed.append(shade)
            words.append(f'--pin "{written_pin(thread.blocks[0], shade, several=several)}"')
    return " ".join(words)


def _proposal(shades: Sequence[OwnedShade], before: Sequence[OwnedShade]) -> OwnedShade | None:
    coloured = [shade for shade in shades if shade.lab is not None]
    if not coloured:
        return shades[0] if shades else None
    labs = lab_array([shade.lab for shade in coloured])
    if not before:
        return coloured[int(labs[:, 0].argmin())]
    apart = delta_e_00_matrix(labs, lab_array([shade.lab for shade in before if shade.lab])).min(axis=1)
    return coloured[int(apart.argmax())]


def _blocks(thread: PlannedThread, *, several: bool) -> str:
    return written_blocks(thread.blocks, several=several)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


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
    from planning.plan.pins import written_blocks, written_pin
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


def instead_in_words(instead: PricedInstead, *, currency: str, now: str = "") -> str:
    """Return what buying one, two or three shades would bring, with the price, where the verdict is ``now``."""
    names = [
        f"{each.shade.maker} {each.shade.range} {each.shade.code} {each.shade.name}".strip()
        for each in instead.shades
    ]
    which = "this one shade" if len(names) == 1 else f"these {('two', 'three')[len(names) - 2]} shades"
    return (
        f"Buying {which} would bring the mean difference from ΔE00 {instead.mean_before:.1f} to "
        f"{instead.mean_after:.1f}{_verdict_then(instead, now)}, for {currency} {instead.total}: {', '.join(names)}."
    )


def _verdict_then(instead: PricedInstead, now: str) -> str:
    if not instead.verdict_after:
        return ""
    if instead.verdict_after == now:
        return f"; the verdict stays {now}"
    return f" and the verdict from {now} to {instead.verdict_after}" if now else ""

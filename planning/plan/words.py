"""The answer in words: the same sentences on the page and in the terminal."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.compute.colour.lab import delta_e_00_matrix
from inventory.compute.colour.seen import difference_seen
from inventory.compute.lengths import format_length
from inventory.compute.spoken import N_, _, as_written_here, figure, ngettext, said_again
from inventory.compute.units import Units
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.buying.priced_instead import PricedInstead
from planning.compute.colour.choice import Choice, OwnedShade
from planning.compute.colour.rules import lab_array
from planning.compute.spools.turns import SpoolUse
from planning.compute.stabilizer.sentences import ACROSS_THE_GRAIN
from planning.compute.stabilizer.supply import LayerPlan
from planning.plan.pins import written_blocks, written_pin

MOST_LINES = 4
MOST_BARE = 8
# The words of verdicts, of colours and of layers are codes: data and programs have them as they are, people as said.
CODES = (
    N_("enough"), N_("tight"), N_("short"), N_("unknown"), N_("off colour"), N_("near"),
    N_("as near as thread comes"), N_("nearest of the shades you know"), N_("something nearer can be bought"),
    N_("no thread of that colour"), N_("none asked"), N_("remembered"), N_("chosen by you"),
    N_("tear-away"), N_("cut-away"), N_("wash-away"), N_("heat-away"), N_("topping"), N_("adhesive"), N_("spray"),
    N_("foam"), N_("fabric"),
)  # fmt: skip
# How a headline says them where the code is a word of the sums.
PLAINLY = {"off colour": N_("no match"), "unknown": N_("not known")}


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
        every = (
            _("Every colour, the bobbins and the stabilizer do for the whole batch.")
            if plan.stabilizer
            else _("Every colour and the bobbins do for the whole batch.")
        )
        headline = ngettext(
            "Enough for the one piece", "Enough for all {pieces} pieces", plan.pieces.total
        ).format(pieces=plan.pieces.total)
        return AnswerInWords(headline, (every, *_wish_lines(plan), *lines), plan.verdict)
    sign = _sign(plan, list(counted), bare)
    choose = [
        ngettext("choose {number} colour", "choose {number} colours", len(bare)).format(number=len(bare))
    ]
    # What is short is the gravest; a colour that nobody chose yet comes before what is merely not known.
    grave = [word for word in counted if word in ("short", "off colour")]
    said = {
        word: f"{_(PLAINLY.get(word, word))}: {_(' and ').join(parts)}" for word, parts in counted.items()
    }
    headline = "; ".join(
        [
            *(said[word] for word in grave),
            *(choose if bare else []),
            *(each for word, each in said.items() if word not in grave),
        ]
    )
    if plan.too_big:
        headline = "; ".join(filter(None, [_("too big for every hoop of this machine"), headline]))
    if wanting:
        possible = min(thread.pieces_possible for thread in asked)
        lines.insert(
            0,
            ngettext(
                "The thread on the shelf surely stitches {possible} of the {total} piece, "
                "tests and spoilage counted in.",
                "The thread on the shelf surely stitches {possible} of the {total} pieces, "
                "tests and spoilage counted in.",
                plan.pieces.total,
            ).format(possible=possible, total=plan.pieces.total),
        )
    lines += [f"{thread_name(thread)}: {_missing(thread, units)}." for thread in wanting[:MOST_LINES]]
    if len(wanting) > MOST_LINES:
        more = len(wanting) - MOST_LINES
        lines.append(
            ngettext(
                "{number} more colour is in the table.", "{number} more colours are in the table.", more
            ).format(number=more)
        )
    lines += _wish_lines(plan)
    return AnswerInWords(headline[:1].upper() + headline[1:], tuple(lines), sign)


def _is_wanting(thread: PlannedThread) -> bool:
    return thread.verdict != "enough" or thread.colour_verdict == "off colour"


def _counted(plan: BatchPlan, wanting: Sequence[PlannedThread]) -> dict[str, list[str]]:
    """Return what is not enough by its word, the gravest first: short, tight and unknown are counted apart."""
    counted: dict[str, list[str]] = {}
    for word in ("short", "off colour", "tight", "unknown"):
        threads = [thread for thread in wanting if _headline_word(thread) == word]
        of = ngettext("{number} of {total} colour", "{number} of {total} colours", len(plan.threads)).format(
            number=len(threads), total=len(plan.threads)
        )
        parts = [of] if threads else []
        parts += [_("bobbins")] if plan.bobbins.verdict == word else []
        parts += dict.fromkeys(_(layer.kind) for layer in plan.stabilizer if layer.verdict == word)
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
        _("block {block} takes {length}").format(
            block=_blocks(thread, several=several),
            length=format_length(thread.needed_mm, unit=units.length, places=0),
        )
        for thread in bare[:MOST_BARE]
    ]
    said = "; ".join(takes)
    if len(bare) > MOST_BARE:
        said = _("{blocks} and {number} more are in the table").format(
            blocks=said, number=len(bare) - MOST_BARE
        )
    if plan.bobbins.verdict == "enough":
        said += "; " + _("the bobbins on the shelf do")
    elif plan.bobbins.count:
        said += "; " + ngettext(
            "{number} bobbin in all", "{number} bobbins in all", plan.bobbins.count
        ).format(number=plan.bobbins.count)
    return [f"{_('The file names no colours.')} {said[:1].upper()}{said[1:]}."]


def _wish_lines(plan: BatchPlan) -> list[str]:
    """Where the file's colours are stood for by threads that are not near: how, once a word."""
    found = [each for each in plan.threads if each.given_up and each.given_up.word != "near"]
    # One of another colour says so as its reason.
    told = [each for each in found if each.colour_verdict != "off colour"]
    lines = [
        _("{thread} for {colour}: {how}").format(
            thread=thread_name(each), colour=asked_name(each), how=_wish_text(each)
        )
        for each in told[:MOST_LINES]
    ]
    if len(told) > MOST_LINES:
        number = len(told) - MOST_LINES
        lines.append(
            _("How {number} more stand for the file's colours is in the table.").format(number=number)
        )
    return lines


def _wish_text(thread: PlannedThread) -> str:
    assert thread.given_up
    text = thread.given_up.text
    return text[:1].lower() + text[1:]


def colour_word(thread: PlannedThread) -> str:
    """Return the code for how a thread stands for what was asked: the words of a wish, or of a demand."""
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
    return shade_name(shade) if shade and thread.choice.near_enough else asked_name(thread)


def shade_name(shade: OwnedShade) -> str:
    """Return what a shade of the shelf is called where it is chosen."""
    return f"{shade.name or shade.code} ({shade.maker} {shade.code})"


def difference_in_words(choice: Choice) -> str:
    """Return the difference of a choice, and between which two it lies as far as the colours are known.

    >>> difference_in_words(Choice(None, delta_e_00=2.4, between=(1.77, 2.95)))
    '2.4 (between 1.8 and 3.0)'
    """
    if choice.delta_e_00 is None:
        return ""
    between = between_in_words(choice)
    difference = figure(choice.delta_e_00, 1)
    return f"{difference} ({between})" if between else difference


def between_in_words(choice: Choice) -> str:
    """Return between which two a difference lies; nothing where that is one number."""
    if choice.between is None or choice.between[1] - choice.between[0] < 0.05:
        return ""
    least, most = (figure(each, 1) for each in choice.between)
    return _("between {least} and {most}").format(least=least, most=most)


def in_currency(amount: Decimal | str, currency: str) -> str:
    """Return an amount as it is, with its currency, as the reader's language has the two.

    >>> in_currency("1234.50", "EUR")
    'EUR 1234.50'
    """
    return _("{currency} {amount}").format(currency=currency, amount=as_written_here(str(amount)))


def layer_name(layer: LayerPlan) -> str:
    return f"{_(layer.kind)}, {method_said(layer.words or layer.method)}"


def layer_said(name: str) -> str:
    """Return the name of a layer, as data have it, in the reader's language.

    >>> layer_said("tear-away, hooped with the cloth")
    'tear-away, hooped with the cloth'
    """
    kind, comma, method = name.partition(", ")
    return f"{_(kind)}{comma}{method_said(method)}"


def method_said(words: str) -> str:
    """Return how a layer is laid, as data have it, in the reader's language; of an applique's fabric, for which."""
    if not words.startswith("applique "):
        return _(words)
    name, several, number = words.removeprefix("applique ").partition(", design ")
    said = _("applique {name}, design {number}") if several else _("applique {name}")
    return said.format(name=name, number=number)


def piece_said(label: str) -> str:
    """Return what a piece of stabilizer is cut for, as data have it, in the reader's language.

    >>> piece_said("job 4: tear-away, hooped with the cloth")
    'job 4: tear-away, hooped with the cloth'
    """
    job, several, name = label.partition(": ")
    if not several or "," in job:
        return _across_said(label)
    return f"{said_again(job, (N_('job {number}'),))}: {_across_said(name)}"


def _across_said(name: str) -> str:
    upright, across, _rest = name.partition(ACROSS_THE_GRAIN.format(piece=""))
    return _(ACROSS_THE_GRAIN).format(piece=layer_said(upright)) if across else layer_said(upright)


def asked_name(thread: PlannedThread) -> str:
    return thread.name or thread.hex or _("No colour (block {block})").format(block=thread.blocks[0][1])


def spool_goes_on(use: SpoolUse) -> str:
    """Return where inside its first piece a spool goes on; empty where it goes on before the piece.

        >>> from planning.compute.spools.turns import SpoolUse
    from planning.plan.pins import written_blocks, written_pin
        >>> spool_goes_on(SpoolUse("S0002", 3, 9, 0, 0, from_block=1, inside=0.4, at_block=(0, 5)))
        ', from about 40 % into block 5 of piece 3'
    """
    if not (use.from_block or use.inside) or use.at_block is None:
        return ""
    where = (
        _(", from about {percent} % into block {block} of piece {piece}")
        if use.inside
        else _(", from block {block} of piece {piece}")
    )
    return where.format(percent=f"{use.inside * 100:.0f}", block=use.at_block[1], piece=use.from_piece)


def _missing(thread: PlannedThread, units: Units) -> str:
    if thread.reason:
        return thread.reason.rstrip(".")
    if thread.verdict == "enough":
        seen = difference_seen(thread.choice.delta_e_00 or 0.0)
        return _("pinned, and no match: {seen}").format(seen=seen)
    length = format_length(thread.missing_mm, unit=units.length, places=0)
    return _("{length} more would make it sure").format(length=length)


def instead_in_words(instead: PricedInstead, *, currency: str, now: str = "") -> str:
    """Return what buying one, two or three shades would bring, with the price, where the verdict is ``now``."""
    names = [
        f"{each.shade.maker} {each.shade.range} {each.shade.code} {each.shade.name}".strip()
        for each in instead.shades
    ]
    said = (
        _("Buying this one shade would bring the mean difference from ΔE00 {before} to {after}"),
        _("Buying these two shades would bring the mean difference from ΔE00 {before} to {after}"),
        _("Buying these three shades would bring the mean difference from ΔE00 {before} to {after}"),
    )[len(names) - 1].format(before=figure(instead.mean_before, 1), after=figure(instead.mean_after, 1))
    return _("{what}, for {price}: {shades}.").format(
        what=said + _verdict_then(instead, now),
        price=in_currency(instead.total, currency),
        shades=", ".join(names),
    )


def _verdict_then(instead: PricedInstead, now: str) -> str:
    if not instead.verdict_after:
        return ""
    if instead.verdict_after == now:
        return _("; the verdict stays {verdict}").format(verdict=_(now))
    if not now:
        return ""
    return _(" and the verdict from {now} to {then}").format(now=_(now), then=_(instead.verdict_after))

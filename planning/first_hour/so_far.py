"""What can be said before everything was asked."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.compute.lengths import format_length
from inventory.compute.spoken import listed
from inventory.compute.units import Units
from planning.compute.batch.plan import BatchPlan, worst_verdict
from planning.first_hour.colours import FileColour


@dataclass(frozen=True)
class SoFar:
    """A verdict on the colours that were answered, in a few words, and a sentence for each kind of them."""

    sign: str
    headline: str
    lines: tuple[str, ...]


def so_far_in_words(plan: BatchPlan, colours: Sequence[FileColour], *, units: Units) -> SoFar:
    """Return what the threads that a person has named come to, for all pieces of the plan."""
    named = [each for each in colours if each.is_answered and each.thread]
    missing = [each for each in colours if each.is_left_out and not each.is_answered]
    total = plan.pieces.total
    if not named and not missing:
        to_look_for = ngettext(
            "{number} colour to look for", "{number} colours to look for", len(colours)
        ).format(number=len(colours))
        return SoFar("unknown", to_look_for, (_("Nothing is asked yet."),))
    by_verdict: dict[str, list[str]] = {}
    for each in named:
        assert each.thread
        by_verdict.setdefault(each.thread.verdict, []).append(each.called)
    says = {
        "enough": _("{colours}: enough for all {pieces}."),
        "tight": _("{colours}: likely enough: weigh it to be sure."),
        "short": _("{colours}: not enough for all {pieces}."),
        "unknown": _("{colours}: not known: nobody has said how full it is."),
    }
    lines = [
        says[verdict].format(colours=listed(names), pieces=total)
        for verdict in ("short", "unknown", "tight", "enough")
        if (names := by_verdict.get(verdict))
    ]
    lines += [
        _("Not owned: {colour}, {length} for all {pieces}.").format(
            colour=each.called, length=_metres(each.mm_a_piece * total, units), pieces=total
        )
        for each in missing
    ]
    still = len(colours) - len(named) - len(missing)
    if still:
        lines.append(
            ngettext("{n} colour is not asked yet.", "{n} colours are not asked yet.", still).format(n=still)
        )
    sign = "short" if missing else worst_verdict(by_verdict)
    so_far = ngettext(
        "So far: {named} of {colours} colour", "So far: {named} of {colours} colours", len(colours)
    ).format(named=len(named), colours=len(colours))
    return SoFar(sign, so_far, tuple(lines))


def _metres(mm: float, units: Units) -> str:
    return format_length(mm, unit=units.length, places=0)

"""What can be said before everything was asked."""

from collections.abc import Sequence
from dataclasses import dataclass

from inventory.compute.lengths import format_length
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
    pieces = f"all {plan.pieces.total}"
    if not named and not missing:
        return SoFar("unknown", f"{len(colours)} colours to look for", ("Nothing is asked yet.",))
    by_verdict: dict[str, list[str]] = {}
    for each in named:
        assert each.thread
        by_verdict.setdefault(each.thread.verdict, []).append(each.called)
    says = {
        "enough": f"enough for {pieces}",
        "tight": "likely enough: weigh it to be sure",
        "short": f"not enough for {pieces}",
        "unknown": "not known: nobody has said how full it is",
    }
    lines = [
        f"{_listed(names)}: {says[verdict]}."
        for verdict in ("short", "unknown", "tight", "enough")
        if (names := by_verdict.get(verdict))
    ]
    lines += [
        f"Not owned: {each.called}, {_metres(each.mm_a_piece * plan.pieces.total, units)} for {pieces}."
        for each in missing
    ]
    still = len(colours) - len(named) - len(missing)
    if still:
        lines.append(f"{still} colour{'s are' if still > 1 else ' is'} not asked yet.")
    sign = "short" if missing else worst_verdict(by_verdict)
    return SoFar(sign, f"So far: {len(named)} of {len(colours)} colours", tuple(lines))


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _metres(mm: float, units: Units) -> str:
    return format_length(mm, unit=units.length, places=0)

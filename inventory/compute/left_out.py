"""What was not considered when something was chosen from the shelf, and why: nothing is left out in silence."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from inventory.compute.spoken import N_, _, figure, ngettext

Why = Literal["weight", "fibre", "purpose", "tex", "quantity", "colour", "set aside", "retired", "no seller"]

IN_WORDS: dict[str, str] = {
    "weight": N_("of another weight"),
    "fibre": N_("of another fibre"),
    "purpose": N_("of bobbin thread"),
    "tex": N_("whose tex is not known"),
    "quantity": N_("never measured"),
    "colour": N_("whose colour is not known"),
    "set aside": N_("set aside for other jobs"),
    "retired": N_("off the shelf"),
    "no seller": N_("not owned, and sold by nobody you know"),
}
_COUNTED: dict[str, Callable[[int], str]] = {
    "spool": lambda count: ngettext("{count} spool", "{count} spools", count),
    "shade": lambda count: ngettext("{count} shade", "{count} shades", count),
    "roll": lambda count: ngettext("{count} roll", "{count} rolls", count),
    "sheet": lambda count: ngettext("{count} sheet", "{count} sheets", count),
    "pack": lambda count: ngettext("{count} pack", "{count} packs", count),
    "offcut": lambda count: ngettext("{count} offcut", "{count} offcuts", count),
    "can": lambda count: ngettext("{count} can", "{count} cans", count),
}


@dataclass(frozen=True)
class LeftOut:
    """So many things of one kind that were left out for one reason; ``labels`` are theirs, where they carry any."""

    what: str
    count: int
    why: Why
    labels: tuple[str, ...] = ()


def spools_of(maker: str, range: str) -> str:
    """Return what spools of a range are called where they are left out.

    >>> spools_of("Skerry", "Sixty")
    'spools of Skerry Sixty'
    """
    return f"spools of {maker} {range}"


def also_left_out(
    left_out: Sequence[LeftOut], labels_of: Mapping[str, Iterable[str]], *, why: Why
) -> tuple[LeftOut, ...]:
    """Return what is left out with labelled things that are left out too, by what they are, for this reason.

    One that is listed for another reason stays there.

    >>> known = [LeftOut("spools of Forty", 1, "set aside", ("S1",)), LeftOut("spools of Sixty", 1, "weight", ("S9",))]
    >>> more = {"spools of Forty": ["S2"], "rolls": ["S9"]}
    >>> [(each.count, each.labels) for each in also_left_out(known, more, why="set aside")]
    [(1, ('S9',)), (2, ('S1', 'S2'))]
    """
    listed = {label for each in left_out for label in each.labels}
    before = {each.what: each.labels for each in left_out if each.why == why}
    added = {
        what: tuple(label for label in labels if label not in listed) for what, labels in labels_of.items()
    }
    whats = dict.fromkeys((*before, *added))
    all_of_them = {what: (*before.get(what, ()), *added.get(what, ())) for what in whats}
    return (
        *(each for each in left_out if each.why != why),
        *(LeftOut(what, len(labels), why, labels) for what, labels in all_of_them.items() if labels),
    )


def left_out_as_data(left_out: Iterable[LeftOut]) -> list[dict[str, object]]:
    """Return what was left out as JSON-ready data.

    >>> left_out_as_data([LeftOut("spools of Skerry Sixty", 2, "weight", ("S0001", "S0002"))])[0]["why"]
    'weight'
    """
    return [
        {"what": each.what, "count": each.count, "why": each.why, "labels": list(each.labels)}
        for each in left_out
    ]


def left_out_in_words(left_out: Sequence[LeftOut]) -> str:
    """Return in one line what was left out, by reason; nothing where nothing was.

    >>> left_out_in_words([LeftOut("spools of Skerry Sixty", 2, "weight"), LeftOut("shades", 1, "no seller")])
    'Not considered: 2 spools of another weight; 1 shade not owned, and sold by nobody you know.'
    """
    counts: dict[tuple[str, str], int] = {}
    for each in left_out:
        kind = each.what.split()[0].rstrip("s")
        counts[kind, each.why] = counts.get((kind, each.why), 0) + each.count
    parts = [
        _("{things} {why}").format(things=_counted(kind, count), why=_(IN_WORDS[why]))
        for (kind, why), count in counts.items()
    ]
    return _("Not considered: {parts}.").format(parts="; ".join(parts)) if parts else ""


def _counted(kind: str, count: int) -> str:
    """Return so many things of a kind, in words."""
    if kind in _COUNTED:
        return _COUNTED[kind](count).format(count=figure(count))
    return f"{figure(count)} {kind}{'' if count == 1 else 's'}"

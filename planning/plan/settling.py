"""Which weighing, measuring or counting would settle a plan: the looks at the shelf that come before buying."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from inventory.compute.knowing import strips_of
from inventory.compute.later import later
from inventory.compute.spoken import N_, _
from inventory.shelf.looking import ShelfLook, looks_by_label
from planning.compute.batch.bobbin_thread import PlannedBobbins
from planning.compute.batch.plan import BatchPlan
from planning.compute.certainty.enough import missing_mm
from planning.compute.certainty.factor import Factor
from planning.compute.certainty.settling import (
    CountPart,
    Doubt,
    LengthPart,
    LookedAt,
    LookFirst,
    Part,
    best_looks,
)
from planning.compute.colour.choice import OwnedShade, OwnedSpool
from planning.compute.season.stand import Stood
from planning.compute.stabilizer.cutting import SourceCut
from planning.compute.stabilizer.supply import LayerPlan
from planning.plan.words import layer_name, shade_name

if TYPE_CHECKING:
    from scipy.special import ndtri
else:
    ndtri = later("scipy.special", "ndtri")

Looks = Mapping[str, ShelfLook]
IN_WORDS = {
    "weigh": N_("weigh"),
    "measure across": N_("measure across"),
    "judge by eye": N_("look at"),
    "measure along": N_("measure"),
}
# The same with what is looked at, so that the verb stands where a language wants it.
_OF_THINGS = {
    "weigh": N_("weigh {things}"),
    "measure across": N_("measure across {things}"),
    "judge by eye": N_("look at {things}"),
    "measure along": N_("measure {things}"),
}


@dataclass(frozen=True)
class ThreadInDoubt:
    """One thread of what may not be enough; ``rests_on`` is the shade where looking at its spools may change that."""

    verdict: str
    is_off_colour: bool
    rests_on: OwnedShade | None
    needed_mm: int
    spread: Factor


@dataclass(frozen=True)
class InDoubt:
    """What looks at the shelf may change of a verdict: of a whole plan, or of a job's standing."""

    verdict: str
    is_too_big: bool
    threads: tuple[ThreadInDoubt, ...]
    bobbins: PlannedBobbins
    stabilizer: tuple[LayerPlan, ...]
    enough_at: float
    tight_at: float


def look_first(plan: BatchPlan) -> tuple[LookFirst, ...]:
    """Return the one, two and three things to look at that most likely settle the plan's verdict, read in one go."""
    doubt = doubt_of_plan(plan)
    labels = labels_in_doubt(doubt)
    return look_first_of(doubt, looks_by_label(labels)) if labels else ()


def doubt_of_plan(plan: BatchPlan) -> InDoubt:
    """Return what looks may change of a whole plan."""
    return InDoubt(
        plan.verdict,
        bool(plan.too_big),
        tuple(
            ThreadInDoubt(
                thread.verdict,
                thread.colour_verdict == "off colour",
                thread.choice.shade if thread.verdict != "enough" and thread.choice.near_enough else None,
                thread.needed_mm,
                thread.spread,
            )
            for thread in plan.threads
        ),
        plan.bobbins,
        plan.stabilizer,
        plan.enough_at,
        plan.tight_at,
    )


def doubt_of_standing(stood: Stood) -> InDoubt:
    """Return the same of a job as it stands in its turn, without planning it whole."""
    return InDoubt(
        stood.verdict,
        stood.is_too_big,
        tuple(
            ThreadInDoubt(
                thread.verdict, thread.is_off_colour, thread.in_doubt, thread.needed_mm, thread.spread
            )
            for thread in stood.threads
        ),
        stood.bobbins,
        stood.stabilizer,
        stood.enough_at,
        stood.tight_at,
    )


def labels_in_doubt(doubt: InDoubt) -> list[str]:
    """Return the labels of what the parts that are not enough rest on."""
    if doubt.verdict == "enough":
        return []
    spools = [spool for thread in doubt.threads if thread.rests_on for spool in thread.rests_on.spools]
    spools += [] if doubt.bobbins.verdict == "enough" else doubt.bobbins.wind_from
    rolls = [roll for layer in doubt.stabilizer if layer.verdict != "enough" for roll in _rolls(layer)]
    return [*dict.fromkeys([*(spool.label for spool in spools), *rolls])]


def look_first_of(doubt: InDoubt, looks: Looks) -> tuple[LookFirst, ...]:
    """Return ``look_first`` where what the shelf has was read before.

    The shades stay those that are chosen. Of a roll that is not long enough it is taken that no other does. Where
    nothing settles the whole, because a part of it is short for sure, each other part has the looks that settle it.
    """
    parts, fixed = _parts(doubt, looks)
    whole = best_looks([part for part, *_name in parts], now=doubt.verdict, fixed=fixed)
    told = [(each, "") for each in whole]
    if not whole:
        told = [(each, name) for part, name, word in parts for each in best_looks([part], now=word)]
    return tuple(
        LookFirst(tuple(_looked_at(looks[label]) for label in each.labels), each, of) for each, of in told
    )


def _parts(doubt: InDoubt, looks: Looks) -> tuple[list[tuple[Part, str, str]], list[str]]:
    """Return the parts that looks may change, each with its name and its verdict, and the verdicts of the others."""
    parts: list[tuple[Part, str, str]] = []
    fixed: list[str] = ["unknown"] if doubt.is_too_big else []
    for thread in doubt.threads:
        if thread.is_off_colour:
            fixed.append("tight")
        if thread.rests_on is not None:
            part = _thread_part(thread, thread.rests_on, doubt, looks)
            parts.append((part, shade_name(thread.rests_on), thread.verdict))
        else:
            fixed.append(thread.verdict)
    if doubt.bobbins.verdict == "enough" or not doubt.bobbins.thread:
        fixed.append(doubt.bobbins.verdict)
    else:
        parts.append((_bobbin_part(doubt.bobbins, doubt, looks), _("bobbins"), doubt.bobbins.verdict))
    cut_together: set[int] = set()
    for layer in doubt.stabilizer:
        of_roll = None if layer.verdict == "enough" else _layer_part(layer, looks)
        if of_roll is None or layer.cut is None:
            fixed.append(layer.verdict)
        elif id(layer.cut.product_cut) not in cut_together:  # layers of one cut stand and fall together
            cut_together.add(id(layer.cut.product_cut))
            parts.append((of_roll, layer_name(layer), layer.verdict))
    return parts, fixed


def _looked_at(seen: ShelfLook) -> LookedAt:
    return LookedAt(seen.item_id, seen.label, seen.what, seen.place, seen.look.act)


def _rolls(layer: LayerPlan) -> list[str]:
    if layer.cut is None or layer.cut.missing:
        return []
    return [part.label for part in layer.cut.product_cut.rolls]


def _doubt(spool: OwnedSpool, looks: Looks) -> Doubt:
    seen = looks.get(spool.label)
    return Doubt(
        label=spool.label,
        free_mm=float(spool.free_mm),
        sigma_mm=spool.sigma_mm,
        look=seen.look if seen else None,
        held_mm=float(max(0, seen.on_hand_mm - spool.free_mm)) if seen else 0.0,
        most_mm=float(seen.most_mm) if seen else 0.0,
    )


def _thread_part(thread: ThreadInDoubt, shade: OwnedShade, doubt: InDoubt, looks: Looks) -> LengthPart:
    def needed(certainty: float, sigma_mm: float) -> float:
        return missing_mm(
            float(thread.needed_mm), thread.spread, free_mm=0.0, free_sigma_mm=sigma_mm, certainty=certainty
        )

    doubts = tuple(_doubt(spool, looks) for spool in shade.spools)
    return LengthPart(doubts, needed, doubt.enough_at, doubt.tight_at)


def _bobbin_part(bobbins: PlannedBobbins, doubt: InDoubt, looks: Looks) -> CountPart:
    return CountPart(
        doubts=tuple(_doubt(spool, looks) for spool in bobbins.wind_from),
        there=bobbins.owned,
        each_mm=bobbins.length_mm,
        enough_count=bobbins.sure_count,
        tight_count=bobbins.tight_count,
        sure_sigmas=float(ndtri(doubt.enough_at)),
    )


def _layer_part(layer: LayerPlan, looks: Looks) -> LengthPart | None:
    """Return the part of a layer that is cut from one roll; of several, measuring one alone says little."""
    if layer.cut is None or layer.cut.missing:
        return None
    rolls = layer.cut.product_cut.rolls
    if len(rolls) != 1 or rolls[0].label not in looks:
        return None
    seen, used = looks[rolls[0].label], rolls[0]
    if layer.free_mm > seen.on_hand_mm:  # there are others
        return None
    doubt = Doubt(
        label=used.label,
        free_mm=float(layer.free_mm),
        sigma_mm=layer.free_sigma_mm,
        look=seen.look,
        held_mm=float(max(0, seen.on_hand_mm - layer.free_mm)),
    )
    return LengthPart((doubt,), partial(_needed_of_roll, used))


def _needed_of_roll(used: SourceCut, certainty: float, sigma_mm: float) -> float:
    # Measured now, it is cut after that: how long the strips come off is not known by then either.
    by_then_mm = math.hypot(sigma_mm, strips_of(used.roll_mm, strips=len(used.strips)).sigma_mm)
    return used.roll_mm + float(ndtri(certainty)) * by_then_mm


def look_first_in_words(first: LookFirst) -> str:
    """Return what to look at and how likely that settles it, as a sentence."""
    acts: dict[str, list[str]] = {}
    for item in first.items:
        acts.setdefault(item.act, []).append(
            f"{item.label} ({', '.join(filter(None, [item.what, item.place]))})"
        )
    asked = "; ".join(_(_OF_THINGS[act]).format(things=_(" and ").join(names)) for act, names in acts.items())
    chance, enough, short = first.settling.chance, first.settling.enough, first.settling.short
    outcomes = [f"{_('enough')} {_percent(enough)}"] if enough >= 0.005 else []
    if chance > enough + 0.005:
        outcomes.append(f"{_('short')} {_percent(short)}")
    said = (
        _("{looks}: {chance} likely to settle whether {thing} is enough ({outcomes}).")
        if first.of
        else _("{looks}: {chance} likely to settle it ({outcomes}).")
    )
    return said.format(
        looks=f"{asked[:1].upper()}{asked[1:]}",
        chance=_percent(chance),
        thing=first.of,
        outcomes=", ".join(outcomes),
    )


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %"


def look_first_as_data(found: Iterable[LookFirst]) -> list[dict[str, object]]:
    return [
        {
            "items": [
                {"label": item.label, "what": item.what, "place": item.place, "act": item.act}
                for item in each.items
            ],
            "of": each.of or None,
            "chance": round(each.settling.chance, 4),
            "enough": round(each.settling.enough, 4),
            "short": round(each.settling.short, 4),
        }
        for each in found
    ]

"""How long a batch that stands takes, from its standing: the same as in its full plan."""

from collections.abc import Mapping
from dataclasses import replace

from planning.compute.batch.copies_compared import NO_SPOOLS, SpoolHands, batch_minutes
from planning.compute.batch.spool_ends import spool_ends
from planning.compute.colour.choice import OwnedShade
from planning.compute.season.stand import ReadyBatch, Stood
from planning.compute.spools.needle_places import needle_places
from planning.compute.spools.second_needles import spool_changes


def minutes_of(ready: ReadyBatch, stood: Stood, shades: Mapping[int, OwnedShade]) -> float:
    """Return the minutes of the machine and of hands that the batch takes, one after the other.

    ``shades`` are those that its threads were chosen from, by their id.
    """
    terms = ready.terms.at_speed_of(shades.get(thread.shade or 0) for thread in stood.threads)
    chosen = {place: number for number, thread in enumerate(stood.threads) for place in thread.blocks}
    carried = replace(
        ready.carried,
        thread_of={block.colour: chosen[block.design, block.block.number] for block in ready.carried.blocks},
    )
    spools = NO_SPOOLS
    if any(len(thread.spools) > 1 for thread in stood.threads):
        needles = needle_places(
            [carried.threads_of_load(load) for load in range(carried.load_count)], needles=terms.times.needles
        )
        changes = spool_changes(needles, spool_ends(carried, stood.threads))
        spools = SpoolHands(sum(not each.is_anyway for each in changes), sum(each.stops for each in changes))
    bobbin_changes = len(stood.bobbins.changes) + stood.bobbins.inside_blocks
    return sum(batch_minutes(carried, terms, bobbin_changes=bobbin_changes, spools=spools))

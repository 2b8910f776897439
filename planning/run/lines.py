"""Lines of the ledger that a run posts: thread with its uncertainty, and the bobbins that go in."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from inventory.ledger import Line, added_sigma, reckoned_since_looked
from inventory.models import Reservation, StockItem
from planning.compute.run.state import RunThreadPlan
from planning.models import Job
from planning.run.promise import bobbin_batches
from planning.run.standing import BOBBIN_IN_CASE, Run, used_so_far

# Bobbins go in whole, so that of a share of one that is not known a whole one comes or does not. Where in a bobbin a
# job really ends lies anywhere against where it was reckoned to: √(1/6) of one (the mean of f·(1 - f) over a bobbin).
# Whether it began with a fresh one is yes or no: √(p·(1 - p)) of what is thought of that.
WHOLE_BOBBINS = math.sqrt(1 / 6 + BOBBIN_IN_CASE * (1 - BOBBIN_IN_CASE))


@dataclass
class Reckoned:
    """What was reckoned of each item before a line is written: by the run, and by all jobs since a person looked.

    Within one job the same pieces come again, and on every job the machine is the same: both errors add up straight
    and not by squares, the first over the job, the second over all that nobody has looked at since.
    """

    of_run: Counter[int]
    of_all: Counter[int]

    def added_sigma(self, item: int, quantity: int, *, scatter: float, level: float) -> float:
        """Return by how much ``quantity`` more of ``item`` widens what is not known of it; it counts from then on."""
        before, all_before = self.of_run[item], max(self.of_all[item], 0)
        self.of_run[item] += quantity
        self.of_all[item] += quantity
        own = added_sigma(scatter, quantity, before=min(before, all_before))
        return math.hypot(own, added_sigma(level, quantity, before=all_before))


def reckoned(run: Run, items: Iterable[int]) -> Reckoned:
    """Return what was reckoned of ``items`` so far."""
    wanted = set(items)
    used = {pk: quantity for pk, quantity in used_so_far(run.job).items() if pk in wanted}
    return Reckoned(Counter(used), Counter(reckoned_since_looked(wanted)))


def thread_line(item: int, quantity_mm: int, *, thread: RunThreadPlan, so_far: Reckoned) -> Line:
    """Return the line that takes ``quantity_mm`` of ``item`` for ``thread``."""
    added = so_far.added_sigma(item, quantity_mm, scatter=thread.scatter, level=thread.level)
    return Line(StockItem(pk=item), -quantity_mm, added_sigma=added)


def bobbin_lines(run: Run, count: int, *, told: bool = False) -> list[Line]:
    """Return the lines that take ``count`` bobbins: those set aside first, then what is free.

    ``told`` where a person said that they went in: then they did, and nothing becomes less known by it. Else the first
    that a job takes of a box makes it less known by more than its share: bobbins go in whole.
    """
    lines: list[Line] = []
    if count <= 0:
        return lines
    own = dict(Reservation.objects.filter(holder=run.job.holder).values_list("item_id", "quantity"))
    batches = bobbin_batches(run.job)
    so_far = reckoned(run, (each.pk for each in batches))
    scatter, level = run.bobbin_sigmas
    for batch in sorted(batches, key=lambda each: each.pk not in own):
        take = min(count, batch.free + own.get(batch.pk, 0))
        if take > 0:
            added = 0.0
            if not told:
                whole = 0.0 if so_far.of_run[batch.pk] > 0 else WHOLE_BOBBINS
                straight = so_far.added_sigma(batch.pk, take, scatter=scatter, level=level)
                added = math.hypot(straight, whole)
            lines.append(Line(batch, -take, added_sigma=added))
            count -= take
    return lines


def merged(lines: Sequence[Line]) -> list[Line]:
    """Return one line for each item: one spool may serve two threads."""
    found: dict[int, Line] = {}
    for line in lines:
        so_far = found.get(line.item.pk)
        found[line.item.pk] = (
            line
            if so_far is None
            else replace(
                so_far,
                quantity=so_far.quantity + line.quantity,
                added_sigma=math.hypot(so_far.added_sigma, line.added_sigma),
            )
        )
    return list(found.values())


def reference(job: Job) -> str:
    """Return what the ledger says of a job's entries."""
    return f"{job.holder}: {job.what}"[:120]

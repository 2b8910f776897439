"""Lines of the ledger that a run posts: thread with its uncertainty, and the bobbins that go in."""

import math
from collections.abc import Sequence
from dataclasses import replace

from inventory.ledger import Line
from inventory.models import Reservation, StockItem
from planning.models import Job
from planning.run.promise import bobbin_batches
from planning.run.standing import Run


def thread_line(item: int, quantity_mm: int, used_mm: int, relative_sigma: float) -> Line:
    """Return the line that takes ``quantity_mm`` of ``item``, of which the run had taken ``used_mm``.

    The factor is the same for every piece, so that errors add up straight and not by squares.
    """
    added = relative_sigma * math.sqrt(max((used_mm + quantity_mm) ** 2 - used_mm**2, 0))
    return Line(StockItem(pk=item), -quantity_mm, added_sigma=added)


def bobbin_lines(run: Run, count: int) -> list[Line]:
    """Return the lines that take ``count`` bobbins: those set aside first, then what is free."""
    lines: list[Line] = []
    if count <= 0:
        return lines
    own = dict(Reservation.objects.filter(holder=run.job.holder).values_list("item_id", "quantity"))
    for batch in sorted(bobbin_batches(run.job), key=lambda each: each.pk not in own):
        take = min(count, batch.free + own.get(batch.pk, 0))
        if take > 0:
            lines.append(Line(batch, -take))
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

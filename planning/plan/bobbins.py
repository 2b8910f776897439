"""Which full bobbins are alike, and which kind of them is taken."""

from collections import defaultdict
from collections.abc import Callable, Iterable

from inventory.models import BobbinBatch


def bobbins_by_kind(
    batches: Iterable[BobbinBatch], *, free: Callable[[BobbinBatch], int]
) -> list[list[BobbinBatch]]:
    """Return the batches by kind (thread and length), the kind with most thread ``free`` in all first."""
    alike: dict[tuple[int, int], list[BobbinBatch]] = defaultdict(list)
    for batch in sorted(batches, key=lambda each: each.label):
        alike[batch.shade_id, batch.length_mm].append(batch)
    return sorted(alike.values(), key=lambda kind: -sum(free(batch) * batch.length_mm for batch in kind))

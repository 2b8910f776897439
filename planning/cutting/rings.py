"""Strips of a set size kept out of the rings that hooping leaves, where the workshop keeps them."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from inventory.acting import whole_act
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from inventory.models import Entry, SheetPack, StabilizerProduct
from inventory.shelf.receipts import Delivery, receive_sheets
from planning.compute.stabilizer.ring import strips_in_ring
from planning.cutting.cuts import cuts_posted
from planning.jobs.asked import AskedByJobs
from planning.models import Job, JobCut, KeptStrips, Layer, Rules
from planning.plan.ask import stitched_mm


@dataclass(frozen=True)
class RingStrips:
    """How many strips of the set size the rings of what was cut for jobs give, by product.

    ``kept`` are the entries that put such strips on the shelf and were not taken back.
    """

    width_mm: int
    height_mm: int
    counts: tuple[tuple[StabilizerProduct, int], ...]
    kept: tuple[Entry, ...]

    @property
    def total(self) -> int:
        return sum(count for _, count in self.counts)


def ring_strips(jobs: Sequence[Job]) -> RingStrips | None:
    """Return the strips that the rings of ``jobs``, once stitched, give; None where rings are waste.

    A topping leaves no ring. What is stitched is reckoned as large as the largest hooping of the job.
    """
    rules = Rules.current()
    if not (rules.ring_strip_width_mm and rules.ring_strip_height_mm):
        return None
    strip_mm = (rules.ring_strip_width_mm, rules.ring_strip_height_mm)
    counts: Counter[int] = Counter()
    keys = {entry.key for entry in cuts_posted(*jobs)}
    asked_by = AskedByJobs(jobs)
    stitched = {job.pk: stitched_mm(asked_by.of(job)) for job in jobs}
    for cut in JobCut.objects.filter(job__in=stitched, key__in=keys):
        for each in cut.pieces:
            if each["method"] != Layer.Method.TOPPING:
                piece_mm = (each["width_mm"], each["height_mm"])
                ring = strips_in_ring(piece_mm, stitched[cut.job_id], strip_mm)
                counts[each["product_id"]] += ring * each["count"]
    products = [product for product in StabilizerProduct.objects.all() if counts[product.pk]]
    kept = Entry.objects.filter(
        key__in=KeptStrips.objects.filter(job__in=[job.pk for job in jobs]).values("key"),
        reason=Entry.Reason.RECEIVE,
        reversed_by__isnull=True,
    )
    return RingStrips(*strip_mm, tuple((product, counts[product.pk]) for product in products), tuple(kept))


@whole_act
def keep_ring_strips(jobs: Sequence[Job], *, key: str, at: datetime, by: Any) -> list[SheetPack]:
    """Return the packs of strips, one for each product, now on the shelf; each is taken back like any delivery.

    Raises WorkshopError where the rules keep none, no ring holds one, or they are on the shelf already.
    """
    found = ring_strips(jobs)
    if found is None or not found.total:
        raise WorkshopError(_("No strip of the set size comes out of these rings, or the rules keep none."))
    keys = [f"{_key(jobs, key)}-{number}" for number in range(len(found.counts))]
    if any(entry.key not in keys for entry in found.kept):
        raise WorkshopError(_("The strips of these rings are on the shelf already. Take that back first."))
    numbers = ", ".join(str(job.pk) for job in jobs)
    packs = [
        receive_sheets(
            product,
            width_mm=found.width_mm,
            height_mm=found.height_mm,
            count=count,
            delivery=Delivery(key=own, at=at, by=by, reference=f"rings of job {numbers}"[:120]),
        )
        for own, (product, count) in zip(keys, found.counts, strict=True)
    ]
    KeptStrips.objects.bulk_create(
        (KeptStrips(job=job, key=own) for job in jobs for own in keys), ignore_conflicts=True
    )
    return packs


def _key(jobs: Sequence[Job], key: str) -> str:
    return f"rings-{jobs[0].pk}-{len(jobs)}-{key}"

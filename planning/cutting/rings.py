"""Strips of a set size kept out of the rings that hooping leaves, where the workshop keeps them."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from inventory.compute.errors import WorkshopError
from inventory.models import Entry, SheetPack, StabilizerProduct
from inventory.shelf.receipts import Delivery, receive_sheets
from planning.compute.stabilizer.ring import strips_in_ring
from planning.cutting.cuts import cuts_posted
from planning.jobs.layers import stitched_mm
from planning.models import Job, JobCut, Layer, Rules

TOPPING = Layer.Method.TOPPING.label


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
    counts: Counter[str] = Counter()
    keys = {entry.key for entry in cuts_posted(*jobs)}
    by_number = {job.pk: job for job in jobs}
    for cut in JobCut.objects.filter(job__in=by_number, key__in=keys):
        stitched = stitched_mm(by_number[cut.job_id])
        for each in cut.pieces:
            if each["layer"].endswith(TOPPING):
                continue
            ring = strips_in_ring((each["width_mm"], each["height_mm"]), stitched, strip_mm)
            counts[each["product"]] += ring * each["count"]
    products = [product for product in StabilizerProduct.objects.all() if counts[str(product)]]
    kept = Entry.objects.filter(
        key__startswith=_key(jobs, ""), reason=Entry.Reason.RECEIVE, reversed_by__isnull=True
    )
    return RingStrips(*strip_mm, tuple((product, counts[str(product)]) for product in products), tuple(kept))


@transaction.atomic
def keep_ring_strips(jobs: Sequence[Job], *, key: str, at: datetime, by: Any) -> list[SheetPack]:
    """Return the packs of strips, one for each product, now on the shelf; each is undone like any delivery.

    Raises WorkshopError where the rules keep none, no ring holds one, or they are on the shelf already.
    """
    found = ring_strips(jobs)
    if found is None or not found.total:
        raise WorkshopError("No strip of the set size comes out of these rings, or the rules keep none.")
    if any(not entry.key.startswith(_key(jobs, key)) for entry in found.kept):
        raise WorkshopError("The strips of these rings are on the shelf already. Take that back first.")
    numbers = ", ".join(str(job.pk) for job in jobs)
    return [
        receive_sheets(
            product,
            width_mm=found.width_mm,
            height_mm=found.height_mm,
            count=count,
            delivery=Delivery(
                key=f"{_key(jobs, key)}-{number}", at=at, by=by, reference=f"rings of job {numbers}"[:120]
            ),
        )
        for number, (product, count) in enumerate(found.counts)
    ]


def _key(jobs: Sequence[Job], key: str) -> str:
    return f"rings-{jobs[0].pk}-{len(jobs)}-{key}"

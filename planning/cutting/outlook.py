"""When each stabilizer runs out: what is free of it, what jobs will cut, and what past weeks took."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Min, Q, Sum
from django.utils import timezone

from inventory.compute.errors import WorkshopError
from inventory.compute.on_the_way import OnTheWay
from inventory.compute.spoken import _
from inventory.ledger.use_history import roll_material
from inventory.models import Entry, Offer, StabilizerProduct, StabilizerRoll
from inventory.orders.coming import ON_ORDER, on_the_way
from planning.compute.buying.balance import Booking, Projection, project
from planning.compute.stabilizer.supply import LayerPlan, plan_layers_together
from planning.facts.layers import losses_of
from planning.jobs.asked import AskedByJobs
from planning.jobs.days import days_of_jobs
from planning.jobs.rests_on import mark_of
from planning.jobs.season import kept, season_marks, waiting_jobs
from planning.models import Job
from planning.plan.ask import layers_asked
from planning.plan.shelf import set_aside_for, stabilizer_stock

# Use is averaged over a quarter of a year, or over what there is of it, but over four weeks at least.
PAST_DAYS, LEAST_PAST_DAYS = 91, 28


@dataclass(frozen=True)
class Outlook:
    """A stabilizer's way down. Lengths are mm of a roll ``width_mm`` wide, whatever width a roll really has.

    ``per_week_mm`` is what an average week of the past took; ``lead_time_days`` and ``supplier`` are those of the
    cheapest offer, None and empty where nobody is known to sell it.
    """

    product: StabilizerProduct
    width_mm: int
    free_mm: int
    per_week_mm: int
    needs: tuple[Booking, ...]
    lead_time_days: int | None
    supplier: str
    projection: Projection
    coming: tuple[OnTheWay, ...] = ()  # placed orders and drafts; the balance counts what is placed

    @property
    def booked_mm(self) -> int:
        return round(sum(need.quantity for need in self.needs))


def waiting_outlooks(*, at: datetime) -> tuple[list[Outlook], list[str]]:
    """Return the outlook of every stabilizer for all waiting jobs, worked out once for a day and what it rests on."""
    return kept(
        ("running out", timezone.localdate(at)),
        lambda: (
            season_marks().every,
            mark_of(ON_ORDER),
            Entry.objects.order_by("-pk").values_list("pk", flat=True).first(),
        ),
        lambda: stabilizer_outlooks(
            sorted(waiting_jobs(), key=lambda job: (job.made_at, job.pk), reverse=True), at=at
        ),
    )


def stabilizer_outlooks(jobs: Sequence[Job], *, at: datetime) -> tuple[list[Outlook], list[str]]:
    """Return the outlook of every stabilizer that is kept on rolls, the first to run out first.

    Beside them stands a sentence about each job that cannot be planned, and so is in none of them.

    ``jobs`` are those still to be cut for, read with everything; each is reckoned as
    if it were cut alone. What is cut for a job already is not asked for again. Offcuts and sheets are no part of
    the balance: they are what is in reserve.
    """
    today = timezone.localdate(at)
    widths = _widths()
    needs, unclear = _needs(jobs, widths)
    used = _used_a_week(at, widths)
    offers: dict[int, Offer] = {}
    for offer in Offer.objects.filter(product__isnull=False).cheapest_first():
        offers.setdefault(offer.product_id or 0, offer)
    free = _free(widths, jobs)
    coming = on_the_way(today=today)
    found = []
    for product in StabilizerProduct.objects.filter(pk__in=widths):
        cheapest = offers.get(product.pk)
        lead_time_days = cheapest.supplier.lead_time_days if cheapest else None
        own = tuple(needs.get(product.pk, ()))
        on_order = coming.get(roll_material(product.pk), ())
        found.append(
            Outlook(
                product=product,
                width_mm=widths[product.pk],
                free_mm=free.get(product.pk, 0),
                per_week_mm=used.get(product.pk, 0),
                needs=own,
                lead_time_days=lead_time_days,
                supplier=cheapest.supplier.name if cheapest else "",
                projection=project(
                    free.get(product.pk, 0),
                    today=today,
                    needs=own,
                    per_week=used.get(product.pk, 0),
                    lead_time_days=lead_time_days,
                    # What is overdue is looked for every day; a draft is sent by nobody yet.
                    arriving=[
                        Booking(
                            each.quantity * (each.width_mm or widths[product.pk]) / widths[product.pk],
                            each.day,
                        )
                        for each in on_order
                        if not each.is_draft
                    ],
                ),
                coming=on_order,
            )
        )
    found.sort(key=lambda each: (each.projection.run_out_on or date.max, str(each.product)))
    return found, unclear


def _widths() -> dict[int, int]:
    """Return the width of each product's widest roll, those that are used up included."""
    rolls = StabilizerRoll.objects.values_list("product_id", "width_mm").distinct()
    widest: dict[int, int] = defaultdict(int)
    for product, width_mm in rolls:
        widest[product] = max(widest[product], width_mm)
    return widest


def _free(widths: dict[int, int], jobs: Sequence[Job]) -> dict[int, int]:
    """Return what the rolls of each product have for ``jobs``: what is free, and what is set aside for them."""
    own_mm = set_aside_for(*(job.holder for job in jobs))
    area: dict[int, int] = defaultdict(int)
    for roll in StabilizerRoll.objects.filter(retired_at__isnull=True):
        if roll.is_known:
            area[roll.product_id] += (roll.free + own_mm.get(roll.pk, 0)) * roll.width_mm
    return {product: area_mm2 // widths[product] for product, area_mm2 in area.items()}


def _used_a_week(at: datetime, widths: dict[int, int]) -> dict[int, int]:
    """Return the mm that each product's rolls lost in an average week, acts that were taken back left out."""
    entries = Entry.objects.filter(item__stabilizerroll__isnull=False)
    begun = dict(entries.order_by().values_list("item__stabilizerroll__product").annotate(begun=Min("at")))
    gone = (
        entries.filter(reason__in=[Entry.Reason.USE, Entry.Reason.CUT, Entry.Reason.WASTE], quantity__lt=0)
        .filter(Q(reversed_by__isnull=True), at__gte=at - timedelta(days=PAST_DAYS), at__lte=at)
        .order_by()
        .values_list("item__stabilizerroll__product", "item__stabilizerroll__width_mm")
        .annotate(total=Sum("quantity"))
    )
    area: dict[int, int] = defaultdict(int)
    for product, width_mm, total in gone:
        area[product] -= total * width_mm
    found = {}
    for product, area_mm2 in area.items():
        days = min(PAST_DAYS, max(LEAST_PAST_DAYS, (at - begun[product]).days))
        found[product] = round(area_mm2 / widths[product] * 7 / days)
    return found


def _needs(jobs: Sequence[Job], widths: dict[int, int]) -> tuple[dict[int, list[Booking]], list[str]]:
    """Return by product what each job will take of its rolls, what it lacks included, and what cannot be said."""
    asked_by = AskedByJobs(jobs)
    stock = stabilizer_stock(own=set_aside_for(*(job.holder for job in jobs)))
    losses = losses_of(asked_by.facts.rules)
    days = days_of_jobs(jobs, rules=asked_by.facts.rules)
    found: dict[int, list[Booking]] = defaultdict(list)
    unclear: list[str] = []
    for job in jobs:
        try:
            wanted = layers_asked(asked_by.of(job))
        except WorkshopError as problem:
            unclear.append(f"{job}: {problem}")
            continue
        own: dict[int, list[LayerPlan]] = defaultdict(list)
        for layer in plan_layers_together([wanted], stock, losses=losses)[0]:
            if layer.cut and layer.product_id in widths:
                own[layer.product_id].append(layer)
        for product, layers in own.items():
            cut = layers[0].cut
            assert cut is not None  # filtered above
            # What is missing is bought as a roll of the widest kind.
            mm = cut.product_cut.roll_mm2 / widths[product] + sum(layer.missing_mm for layer in layers)
            if mm:
                day = days[job.pk].material_day if job.pk in days else None
                found[product].append(
                    Booking(mm, day, _("job {number}: {what}").format(number=job.pk, what=job.what))
                )
    return found, unclear

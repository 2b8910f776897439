"""What must be bought: the needs of all open jobs and of the shelf itself, each with its reasons."""

import math
from array import array
from collections import defaultdict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache

from django.utils.translation import gettext as _

from inventory.compute.knowing import RELATIVE_SIGMA
from inventory.compute.lead_time_use import ShelfUse, shelf_use
from inventory.compute.left_out import LeftOut
from inventory.compute.reordering import ReorderPoint, reorder_point
from inventory.ledger.use_history import (
    LeadTime,
    bobbin_material,
    lead_times,
    roll_material,
    shade_material,
    weekly_use,
)
from inventory.models import Entry, NeedlePack, Offer, Staple
from inventory.orders.coming import ON_ORDER
from inventory.schema.unchanged import read_as
from planning.buying.materials import Material, all_materials
from planning.buying.reorder_words import rests_on
from planning.compute.buying.in_time import USUAL_LEAD_DAYS, order_by
from planning.compute.buying.netting import DatedNeed, Net, Receipt, counted, net_over_time, spread_of
from planning.compute.season.stand import Stood
from planning.jobs.days import days_of_jobs
from planning.jobs.rests_on import CATALOGUE, STOCK, mark_of
from planning.jobs.season import each_alone, kept, not_considered, season_marks
from planning.jobs.turns import Standing
from planning.models import Job, Machine, Rules
from planning.plan.ask import chosen_machine

# A material that is used at least every so many weeks is kept in stock without being marked: common practice, no
# source.
KEPT_UP_TO_INTERVAL_WEEKS = 4.0
# A pack holds what it says to about two parts in a hundred: this much more is bought, so that a job is surely
# enough once it has come.
PACK_MARGIN = RELATIVE_SIGMA["sealed"] / 2
# Left over and used within half a year, a pack was no waste.
USEFUL_WEEKS = 26
_KEPT = (*ON_ORDER, Staple, NeedlePack)


@dataclass(frozen=True)
class JobNeed:
    """What one job takes of a material. ``alone`` is what its own plan lacks, were it the only one.

    ``day`` is the one by which it must be there; None where the job is due on none.
    """

    job: int
    what: str
    day: date | None
    quantity: int
    spread: float = 0.0
    alone: int = 0
    width_mm: int = 0  # of the widest stabilizer piece
    colour_limit: float = math.inf  # how far another shade may be off, by the job's strictness


@dataclass(frozen=True)
class MaterialNeed:
    """A material with the jobs that want it, how it stands over time, and what must be bought.

    ``missing`` is in mm, or pieces for bobbins and needles; ``needed_on`` is the day by which more must be there,
    None where no job has a day, and ``order_by`` the last day to order it from the quickest supplier, None where
    nothing hurries it. ``kept_for`` says why it is kept though no job wants it, empty where it is not.
    """

    material: Material
    jobs: tuple[JobNeed, ...]
    net: Net
    missing: int
    needed_on: date | None
    order_by: date | None
    history: tuple[int, ...] = ()
    reorder: ReorderPoint | None = None
    kept_for: str = ""
    drafts_missing: int = 0  # of what is missing, what drafts bring once they are sent

    @property
    def send_by(self) -> date | None:
        """The last day to send the drafts that it is on; None where none has to be sent for it."""
        return self.order_by if self.drafts_missing else None

    @property
    def comes_too_late(self) -> bool:
        """Whether it runs out before what is on order comes, and nothing bought now would come sooner."""
        return bool(self.needed_on and not self.missing and not self.drafts_missing)

    @property
    def key(self) -> str:
        return self.material.key

    @property
    def width_mm(self) -> int:
        return max((each.width_mm for each in self.jobs), default=0)

    @property
    def colour_limit(self) -> float:
        """How far off another shade may be that is bought instead: as the strictest of the jobs says."""
        return min((each.colour_limit for each in self.jobs), default=math.inf)

    @property
    def rests_on(self) -> str:
        """What its reorder point rests on, in words; empty where it has none."""
        return rests_on(self.reorder) if self.reorder else ""

    @property
    def useful_surplus(self) -> int:
        """What of a surplus would be used within half a year."""
        return round(self.reorder.demand.mean * USEFUL_WEEKS) if self.reorder else 0


@dataclass(frozen=True)
class Needs:
    """All needs, the soonest first, and sentences about what a person must settle before it can be bought."""

    needs: tuple[MaterialNeed, ...]
    unclear: tuple[str, ...]
    left_out: tuple[LeftOut, ...] = ()  # what no job could choose from, and why

    @property
    def to_buy(self) -> tuple[MaterialNeed, ...]:
        return tuple(need for need in self.needs if need.missing > 0)


def open_jobs(*, include_drafts: bool = True) -> list[Job]:
    """Return the jobs whose material is still to be found, the soonest first: drafts, if wanted, and promised ones.

    A running job holds what it will still use, and that is free for nobody else.
    """
    states = [Job.State.PROMISED, *([Job.State.DRAFT] if include_drafts else [])]
    return list(Job.objects.filter(state__in=states).with_everything().soonest_first())


def needs_of_all(*, today: date, include_drafts: bool = True) -> Needs:
    """Return what open jobs and the kept materials need, against the shelf and the orders as they stand."""
    return kept(
        ("needs", today, include_drafts, read_as()),  # sentences and names are in the reader's
        what_needs_rest_on,
        lambda: _needs_of_all(today=today, include_drafts=include_drafts),
    )


def what_needs_rest_on() -> Hashable:
    """Return marks of all that needs, and baskets for them, rest on beside the day."""
    return season_marks().every, mark_of(_KEPT), _last_entry()


def what_books_rest_on() -> Hashable:
    """Return marks of the shelf, the catalogue, the orders and the ledger, whatever jobs ask of them."""
    return mark_of(STOCK), mark_of(CATALOGUE), mark_of(_KEPT), _last_entry()


def _needs_of_all(*, today: date, include_drafts: bool) -> Needs:
    jobs = [
        each
        for each in sorted(each_alone(), key=_soonest_first)
        if each.job.state == Job.State.PROMISED or (include_drafts and each.job.state == Job.State.DRAFT)
    ]
    rules = Rules.current()
    materials = all_materials(jobs={each.job.pk for each in jobs}, today=today)
    wanted, unclear = _wanted_by_jobs(jobs, rules)
    states = (Job.State.PROMISED, *((Job.State.DRAFT,) if include_drafts else ()))
    left_out = not_considered(*states)
    history = _weekly_use(today)
    shelf = shelf_use([used for key, used in history.items() if key.startswith("shade ")])
    waits = lead_times()
    needs = []
    for key, material in materials.items():
        used = tuple(history.get(key, ()))
        if not (wanted[key] or used or material.minimum):
            continue
        needs.append(
            _need(material, tuple(wanted[key]), used, waits=waits, rules=rules, today=today, shelf=shelf)
        )
    needs += _needles([each.job for each in jobs], wanted["stitches"], today=today)
    return Needs(
        tuple(
            sorted(
                needs, key=lambda need: (need.needed_on or date.max, need.material.kind, need.material.name)
            )
        ),
        tuple(dict.fromkeys(unclear)),
        left_out,
    )


def _weekly_use(today: date) -> "dict[str, array[int]]":
    """Return what each material took, which rests on the ledger and on what each thing is: no rule moves it."""
    return kept(
        ("use", today),
        lambda: (season_marks().stock, _last_entry()),
        lambda: {material: array("q", used) for material, used in weekly_use(today=today).items()},
    )


def _last_entry() -> int | None:
    """Return the number of the last entry, which marks a ledger that is only added to."""
    return Entry.objects.order_by("-pk").values_list("pk", flat=True).first()


def _need(
    material: Material,
    jobs: tuple[JobNeed, ...],
    history: tuple[int, ...],
    *,
    waits: dict[int, LeadTime],
    rules: Rules,
    today: date,
    shelf: ShelfUse,
) -> MaterialNeed:
    lead_time_days, lead_sd = _lead_time(material.offers, waits)
    point = None
    if any(history):
        point = _reorder_point(
            history,
            lead_time_weeks=lead_time_days / 7,
            lead_time_sd_weeks=lead_sd / 7,
            service_level=rules.service_level,
            # What other threads take says nothing of bobbins and rolls, but how weeks stray.
            shelf=shelf if material.kind == "thread" else replace(shelf, level=None),
        )
    kept_for = _kept_for(material, point)
    safety = float(max(material.minimum or 0, point.safety if point and kept_for else 0))
    soonest = today + timedelta(days=lead_time_days)

    def lacking(receipts: tuple[Receipt, ...]) -> tuple[Net, int, date | None, date | None]:
        """Return the net, what lacks with these on their way, from when, and by when it is ordered."""
        net = _net_over_time(
            tuple(DatedNeed(each.day, float(each.quantity), each.spread) for each in jobs),
            free=material.free,
            free_sigma=material.free_sigma,
            receipts=receipts,
            safety=safety,
            certainty=rules.enough_at,
            today=today,
            lead_time_days=lead_time_days,
        )
        missing, needed_on, by = net.missing, net.run_out, net.order_by
        for each in jobs:
            # What a job's own plan lacks, lacks: a roll may be long enough, and too narrow.
            alone = each.alone - counted(receipts, day=each.day, soonest=soonest)
            missing = max(missing, alone)
            if alone > 0 and each.day:
                ordered = order_by(each.day, lead_time_days=lead_time_days)
                needed_on, by = min(needed_on or each.day, each.day), min(by or ordered, ordered)
        position = material.free + sum(each.quantity for each in receipts)
        is_low = position < safety
        if point is not None and kept_for and position <= point.point:
            missing, is_low = max(missing, point.point - position), True
        if missing > 0 and kept_for and is_low:
            by = by or today  # what is kept in stock lacks already
        if missing > 0 and material.unit != "pieces":
            missing = math.ceil(missing * (1 + PACK_MARGIN))
        return net, math.ceil(missing), needed_on, by

    net, without_drafts, needed_on, by = lacking(material.coming)
    missing = lacking((*material.coming, *material.drafted))[1] if material.drafted else without_drafts
    return MaterialNeed(
        material=material,
        jobs=jobs,
        net=net,
        missing=missing,
        needed_on=needed_on,
        order_by=by,
        history=history,
        reorder=point,
        kept_for=kept_for,
        drafts_missing=without_drafts - missing,
    )


# What a material took in whole weeks changes with the week: every act in between asks the same again.
_reorder_point = lru_cache(maxsize=4_096)(reorder_point)
# An act moves one material, or a few.
_net_over_time = lru_cache(maxsize=4_096)(net_over_time)


def _kept_for(material: Material, point: ReorderPoint | None) -> str:
    if material.minimum:
        return "a staple"
    if point is None or not point.demand.mean:
        return ""
    return "in steady use" if point.demand.interval_weeks <= KEPT_UP_TO_INTERVAL_WEEKS else ""


def _lead_time(offers: Sequence[Offer], waits: dict[int, LeadTime]) -> tuple[int, float]:
    """Return the lead time in days of the quickest supplier, and its spread as seen so far."""
    quickest = min((offer.supplier for offer in offers), key=lambda each: each.lead_time_days, default=None)
    if quickest is None:
        return USUAL_LEAD_DAYS, 0.0
    seen = waits.get(quickest.pk)
    return quickest.lead_time_days, seen.sd_days if seen else 0.0


def _soonest_first(standing: Standing) -> tuple[date, float]:
    job = standing.job
    return job.needed_on or date.max, -job.made_at.timestamp()


def _wanted_by_jobs(
    standings: Sequence[Standing], rules: Rules
) -> tuple[dict[str, list[JobNeed]], list[str]]:
    """Return what each job takes of each material, and what cannot be said.

    Each stands alone, with what it holds itself: how they share is reckoned over the days.
    """
    wanted: dict[str, list[JobNeed]] = defaultdict(list)
    days = days_of_jobs([each.job for each in standings], rules=rules)
    unclear: list[str] = []
    for standing in standings:
        job, stood = standing.job, standing.stood
        if stood is None:
            unclear.append(f"{job}: {standing.problem}")
            continue
        found: dict[str, JobNeed] = {}

        def takes(key: str, need: JobNeed, found: dict[str, JobNeed] = found) -> None:
            earlier = found.get(key)
            found[key] = _together(earlier, need) if earlier else need

        day = days[job.pk].material_day if job.pk in days else None
        about = JobNeed(job.pk, job.what, day, 0, colour_limit=rules.limit_for(job.strictness))
        for thread in stood.threads:
            if thread.to_buy is None:
                unclear.append(_nothing_near(job, thread.name or thread.hex))
                continue
            takes(
                shade_material(thread.to_buy),
                replace(
                    about,
                    quantity=thread.needed_mm,
                    spread=spread_of(median=thread.needed_mm, sigma=thread.needed_sigma_mm),
                    alone=thread.missing_mm if thread.verdict != "enough" else 0,
                ),
            )
        _bobbins_wanted(stood, job, about, takes, unclear)
        for layer in stood.stabilizer:
            if not layer.product_id:
                unclear.append(
                    _("{job}: no {kind} of its weight is known. Add it to the catalogue.").format(
                        job=job, kind=_(layer.kind)
                    )
                )
                continue
            if layer.spray:
                spray = layer.spray
                takes(
                    roll_material(layer.product_id),
                    replace(about, quantity=spray.needed_mg, alone=spray.missing_mg),
                )
                continue
            takes(
                roll_material(layer.product_id),
                replace(
                    about,
                    quantity=layer.needed_mm,
                    spread=spread_of(median=layer.needed_mm, sigma=layer.needed_sigma_mm),
                    alone=layer.missing_mm,
                    width_mm=layer.piece_mm[0],
                ),
            )
        takes("stitches", replace(about, quantity=_stitches(job, stood)))
        for key, need in found.items():
            wanted[key].append(need)
    return wanted, unclear


def _bobbins_wanted(
    stood: Stood,
    job: Job,
    about: JobNeed,
    takes: Callable[[str, JobNeed], None],
    unclear: list[str],
) -> None:
    bobbins = stood.bobbins
    if bobbins.style_id:
        takes(
            bobbin_material(bobbins.style_id, bobbins.shade_id),
            replace(about, quantity=bobbins.sure_count, alone=max(0, bobbins.sure_count - bobbins.owned)),
        )
    elif bobbins.needed_mm:
        unclear.append(
            _(
                "{job}: no bobbin that fits its machine is on the books. Receive one, even an empty box."
            ).format(job=job)
        )


def _together(one: JobNeed, other: JobNeed) -> JobNeed:
    quantity = one.quantity + other.quantity
    spread = (one.quantity * one.spread + other.quantity * other.spread) / quantity if quantity else 0.0
    return replace(
        one,
        quantity=quantity,
        spread=spread,
        alone=one.alone + other.alone,
        width_mm=max(one.width_mm, other.width_mm),
    )


def _nothing_near(job: Job, colour: str) -> str:
    if not colour:
        return _("{job}: a block has no colour in its file. Choose one for it.").format(job=job)
    return _(
        "{job}: no shade near {colour} is owned or on offer. Choose another, or enter who sells it."
    ).format(job=job, colour=colour)


def _stitches(job: Job, stood: Stood) -> int:
    on_all = sum(placed.design.stitches for placed in job.placed.all())
    return on_all * stood.pieces.total + sum(name.design.stitches for name in job.names.all())


def _needles(jobs: Sequence[Job], stitched: Sequence[JobNeed], *, today: date) -> list[MaterialNeed]:
    """Return the need for needles, of any kind together, where the workshop has them on its books at all."""
    packs = list(NeedlePack.objects.all())
    if not (jobs and packs):
        return []
    first = chosen_machine(None)
    machines: dict[int, Machine] = {job.pk: job.machine or first for job in jobs}
    owned = float(sum(pack.on_hand for pack in packs if pack.retired_at is None))
    lives = [each.quantity / machines[each.job].needle_life_stitches for each in stitched]
    net = net_over_time(
        [DatedNeed(each.day, life) for each, life in zip(stitched, lives, strict=True)],
        free=owned,
        today=today,
        lead_time_days=USUAL_LEAD_DAYS,
    )
    material = Material(
        "needles", "needles", _("Needles"), _("of any kind, by the stitches of the jobs"), None, owned, 0.0
    )
    wanted = tuple(
        replace(each, quantity=math.ceil(life)) for each, life in zip(stitched, lives, strict=True)
    )
    return [MaterialNeed(material, wanted, net, math.ceil(net.missing), net.run_out, net.order_by)]

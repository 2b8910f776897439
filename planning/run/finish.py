"""The end of a run: spools weighed back or believed, what it taught, and planned against actual."""

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, Sum

from inventory.acting import fingerprint_of, planned_act, refuse_if_changed, standing_at
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import ScaleReading
from inventory.compute.spoken import N_, _, as_written_here
from inventory.ledger import (
    SHOWN,
    Finding,
    Line,
    held_after,
    release_holder,
    use_for,
)
from inventory.models import Entry, Spool, SprayCan, StockItem, ThreadRange
from inventory.shelf.weights import sigma_of_use, weigh_spool
from planning.compute.hooping.timing import machine_minutes
from planning.cutting.cuts import fingerprint, post_cut
from planning.facts.learning import Kind as Learns
from planning.facts.learning import observe
from planning.facts.needles import note_stitches
from planning.models import Job, Rules, RunReport
from planning.run.bobbins_counted import settle_bobbins
from planning.run.needle import stitches_since_needle
from planning.run.promise import lock_in, machine_of, note_state
from planning.run.report import report_facts
from planning.run.stabilizer import StabilizerUse, hoopings_ticked, stabilizer_use
from planning.run.standing import (
    ACT,
    KEPT_AS_FOUND,
    TICKS,
    OnSpool,
    Run,
    ending_key,
    entries_of_run,
    run_of,
    spools_of,
    used_so_far,
)
from planning.run.told import Told

State = Job.State
# How well a person tells how long a machine ran: common practice, no source.
TIME_SIGMA = 0.05
# A weighing that is off by more than this share of what was used teaches nothing of it: its logarithm is more noise
# than news, and leaving out only what cannot be would teach that thread goes faster than it does.
MOST_ERROR = 0.3


@dataclass(frozen=True)
class WeighedBack:
    """A spool on the scale after the run. ``sure`` that it holds more than its put-up would."""

    label: str
    gross: ScaleReading
    sure: bool = False


@dataclass(frozen=True)
class Ending:
    """What a person says at the end of a run. What is left out is believed as it was estimated.

    ``bobbins`` may have a fraction: 3.5 is three empty ones and half of a fourth, and ``keep_bobbin`` says that its
    rest goes on the shelf as a part bobbin.
    """

    weighed: tuple[WeighedBack, ...] = ()
    bobbins: float | None = None
    keep_bobbin: bool = False
    machine_min: float | None = None
    although_unfinished: bool = False
    # Whether the stabilizer is taken as it was proposed; if not, somebody has taken it by hand, or will.
    stabilizer_as_proposed: bool = True


@dataclass(frozen=True)
class _Corrected:
    """How much more a spool held than was thought, and how finely the scale showed it."""

    difference_mm: int
    scale_resolution_mg: int


@planned_act
def finish(job: Job, ending: Ending, *, at: datetime, by: Any, shown: str | None = None) -> RunReport:
    """Return the report of ``job``, finished: the shelf corrected, the factors taught, nothing set aside any more.

    Raises WorkshopError where pieces are still to be stitched, unless a person says ``although_unfinished``. The
    whole act happens or none of it: a weighing that is refused leaves the job running. Sent again it answers with
    the report there is. ``shown`` is the fingerprint (``shown_of``) of the run that a person saw: PlanHasChanged if
    more has happened since; None ends it however it stands.
    """
    earlier = RunReport.objects.filter(job=job).first()
    if earlier is not None:
        return earlier
    lock_in(job, State.RUNNING)
    run = run_of(job)
    stabilizer = stabilizer_use(run)
    if shown is not None:
        refuse_if_changed(
            shown, _parts(run, stabilizer), look=_("Look at what is ticked now, then finish the job.")
        )
    if run.left and not ending.although_unfinished:
        called = run.called(run.left[0])
        raise WorkshopError(
            _(
                "{piece} and {number} more are not ticked. "
                "Tick what was stitched, or say that the job ends as it is."
            ).format(piece=f"{called[:1].upper()}{called[1:]}", number=len(run.left) - 1)
        )
    spools = spools_of(run)
    began = _began(job, list(spools))
    not_booked = _take_stabilizer(run, stabilizer, ending, at=at, by=by)
    release_holder(job.holder)
    corrected = _weigh_back(job, ending, spools, at=at, by=by)
    not_booked += _teach_thread(job, spools, began, corrected, at=at, by=by)
    bobbins, kept = settle_bobbins(run, ending.bobbins, keep_rest=ending.keep_bobbin, at=at, by=by)
    _teach_time(run, ending, at=at, by=by)
    not_booked += _charge_needle(run, at=at, by=by)
    not_booked += [event.note for event in run.events if event.kind in TICKS and event.note]
    job.state, job.ended_at = State.FINISHED, at
    job.save(update_fields=["state", "ended_at"])
    facts = report_facts(
        run,
        weighed=[each.label for each in ending.weighed],
        machine_min=ending.machine_min,
        bobbins=bobbins,
        bobbin_kept=kept.label if kept else None,
        found_under=found_at_the_end(job),
        stabilizer=stabilizer,
        not_booked=list(dict.fromkeys(not_booked)),
    )
    return RunReport.objects.create(job=job, at=at, by=by, station=standing_at(by), facts=facts)


@planned_act
def drop(job: Job, *, at: datetime, by: Any = None) -> Job:
    """Return ``job``, dropped: what was set aside for it is free again; what was used stays used.

    Of a job at the machine the stabilizer of what was ticked is taken and the needle charged, as at any other end.
    """
    lock_in(job, State.DRAFT, State.PROMISED, State.RUNNING)
    before = job.state
    if before == State.RUNNING:
        run = run_of(job)
        _take_stabilizer(run, stabilizer_use(run), Ending(), at=at, by=by)
        _charge_needle(run, at=at, by=by)
    release_holder(job.holder)
    job.state, job.ended_at = State.DROPPED, at
    job.save(update_fields=["state", "ended_at"])
    note_state(job, before=before, at=at, by=by)
    return job


def found_at_the_end(job: Job) -> list[str]:
    """Return the keys under which the ledger has what was weighed and counted when ``job`` was finished.

    A job that was opened again has more than one ending; a weighing of the first still holds.
    """
    begun = Entry.objects.filter(key__startswith=f"finish-{job.pk}-", reversed_by__isnull=True)
    return list(begun.exclude(reason=Entry.Reason.REVERSE).values_list("key", flat=True).distinct())


def _take_stabilizer(run: Run, use: StabilizerUse, ending: Ending, *, at: datetime, by: Any) -> list[str]:
    """Cut of the shelf, in the books, what the ticked hoopings took beyond what was cut; return what was not taken."""
    not_booked = list(use.problems)
    if use.cut is None or not (use.taken or use.sprayed):
        return not_booked
    if not ending.stabilizer_as_proposed:
        return [*not_booked, Told(N_("Stabilizer: it was said that it is taken by hand."))]
    if use.sprayed:
        cans = {
            can.label: can for can in SprayCan.objects.filter(label__in=[each[1] for each in use.sprayed])
        }
        use_for(
            run.job.holder,
            [Line(cans[label], -mg) for _product, label, mg in use.sprayed],
            key=ending_key(run.job, "spray"),
            at=at,
            by=by,
            reference=f"{run.job.holder}: sprayed"[:120],
        )
    if not use.taken:
        return not_booked
    post_cut(
        [run.job],
        hoopings={run.job.pk: hoopings_ticked(run)},
        shown=fingerprint(use.cut.cuts),
        key=ending_key(run.job, "stabilizer"),
        at=at,
        by=by,
        kerf_mm=Rules.current().cut_kerf_mm,
    )
    return not_booked


def _charge_needle(run: Run, *, at: datetime, by: Any) -> list[str]:
    """Charge the machine's needle with what it stitched, and return why not where it has none."""
    if run.machine.pk is None:
        why = Told(N_("Stitches of the needle: the job has no machine of the workshop's."))
        return [why] if run.done else []
    stitched = stitches_since_needle(run)
    if stitched:
        note_stitches(run.machine, stitches=stitched, key=ending_key(run.job, "stitches"), at=at, by=by)
    return []


def shown_of(run: Run, stabilizer: StabilizerUse) -> str:
    """Return the fingerprint of how a run stands; the page sends it back when the job is finished."""
    return fingerprint_of(_parts(run, stabilizer))


def _parts(run: Run, stabilizer: StabilizerUse) -> dict[str, Any]:
    return {
        _("the pieces that are ticked"): sorted(run.done.items()),
        _("what the run has taken"): sorted(used_so_far(run.job).items()),
        _("the stabilizer that is taken"): (
            sorted(stabilizer.taken),
            sorted(stabilizer.offcuts),
            sorted(stabilizer.sprayed),
        ),
    }


def _began(job: Job, items: list[int]) -> dict[int, tuple[Finding, int]]:
    """Return how each spool was known before the run first took from it, and what it held."""
    found: dict[int, tuple[Finding, int]] = {}
    entries = entries_of_run(job).filter(item_id__in=items).order_by("id")
    for entry in entries:
        if entry.item_id not in found:
            known = Finding(entry.sigma_before, entry.known_before)
            found[entry.item_id] = known, held_after(entry) - entry.quantity
    return found


def _weigh_back(
    job: Job, ending: Ending, spools: Mapping[int, OnSpool], *, at: datetime, by: Any
) -> dict[int, _Corrected]:
    """Return what weighing told of each spool that was put on the scale."""
    found = {}
    for weighed in ending.weighed:
        spool = Spool.objects.filter(label__iexact=weighed.label.strip()).first()
        if spool is None or spool.pk not in spools:
            raise WorkshopError(
                _('No spool of this run has the label "{label}".').format(label=weighed.label)
            )
        weigh_spool(
            spool,
            gross_mg=weighed.gross.mg,
            scale_resolution_mg=weighed.gross.resolution_mg,
            key=ending_key(job, spool.label),
            at=at,
            by=by,
            sure=weighed.sure,
            reference=f"{job.holder}: weighed back",
        )
        found[spool.pk] = _Corrected(_found_since_begun(job, spool), weighed.gross.resolution_mg)
    return found


def _found_since_begun(job: Job, spool: Spool) -> int:
    """Return how much more than was reckoned has been found on ``spool`` since ``job`` first took of it.

    By its endings, an earlier one included; by people at the shelf in between; and what kept a finding true while a
    tick before it was taken back. What other jobs found is theirs.
    """
    first = entries_of_run(job).filter(item=spool).order_by("id").values_list("id", flat=True).first() or 0
    looks = (Entry.Reason.COUNT, Entry.Reason.WEIGH)
    at_the_shelf = Q(reason__in=looks) | Q(reason=Entry.Reason.REVERSE, reverses__reason__in=looks)
    of_runs = Q(key__startswith="finish-") | Q(key__startswith=ACT)
    kept = entries_of_run(job, endings=KEPT_AS_FOUND).values("id")
    mine = Q(key__in=found_at_the_end(job)) | Q(id__in=kept) | (at_the_shelf & ~of_runs)
    of_spool = Entry.objects.filter(item=spool, id__gt=first, line__lt=SHOWN)
    return of_spool.filter(mine).aggregate(total=Sum("quantity"))["total"] or 0


def _teach_thread(
    job: Job,
    spools: Mapping[int, OnSpool],
    began: Mapping[int, tuple[Finding, int]],
    corrected: Mapping[int, _Corrected],
    *,
    at: datetime,
    by: Any,
) -> list[str]:
    """Make one observation for each thread range of the spools that were weighed back; return what taught nothing."""
    machine = machine_of(job)
    actual: dict[int, float] = defaultdict(float)
    geometry: dict[int, float] = defaultdict(float)
    per_kappa: dict[int, float] = defaultdict(float)
    variance: dict[int, float] = defaultdict(float)
    kept = all(spool.per_kappa_mm is not None for spool in spools.values())
    ranges: dict[int, ThreadRange] = {}
    for pk, weighed in corrected.items():
        spool = spools[pk]
        if pk not in began or spool.range is None or spool.geometry_mm <= 0 or machine.pk is None:
            continue
        used_mm = spool.estimated_mm - weighed.difference_mm
        before, before_mm = began[pk]
        sigma = sigma_of_use(
            StockItem(pk=pk),
            used_mm=max(used_mm, 0),
            before=before,
            before_mm=before_mm,
            scale_resolution_mg=weighed.scale_resolution_mg,
        )
        if sigma is None:
            continue  # nobody knew what was on it, so that its weight now says nothing of what was used
        ranges[spool.range.pk] = spool.range
        actual[spool.range.pk] += used_mm - spool.beyond_mm
        geometry[spool.range.pk] += spool.geometry_mm
        per_kappa[spool.range.pk] += spool.per_kappa_mm or 0.0
        variance[spool.range.pk] += sigma**2
    too_little: list[str] = []
    for pk, range in ranges.items():
        error_mm = math.sqrt(variance[pk])
        if error_mm > MOST_ERROR * geometry[pk]:
            too_little.append(
                Told(
                    N_(
                        "{range}: the job used too little for these weighings to teach how fast it goes; the shelf is "
                        "right."
                    ),
                    range=range,
                )
            )
            continue
        if actual[pk] <= 0:
            raise WorkshopError(
                _(
                    "By these weights the spools of {range} hold more than before the run. Weigh them again."
                ).format(range=range)
            )
        observe(
            machine,
            Learns.NEEDLE,
            range=range,
            job=job,
            estimated=geometry[pk],
            actual=actual[pk],
            sigma=error_mm,
            kappa_slope=per_kappa[pk] / geometry[pk] if kept else None,
            kappa=job.promise.kappa,
            key=ending_key(job, f"needle-{pk}"),
            at=at,
            by=by,
        )
    return too_little


def _teach_time(run: Run, ending: Ending, *, at: datetime, by: Any) -> None:
    """Learn the effective speed from the minutes a person tells: those that are no trims, stops and changes."""
    machine = machine_of(run.job)
    if ending.machine_min is None or machine.pk is None or not run.done:
        return
    if ending.machine_min <= 0:
        minutes = as_written_here(f"{ending.machine_min:g}")
        raise WorkshopError(
            _("{minutes} minutes is no time at a machine; give more than 0.").format(minutes=minutes)
        )
    share = len(run.done) / run.promise.to_stitch
    stitching = machine_minutes(machine.times, stitches=round(run.promise.stitches * share))
    waiting = run.promise.waiting_min * share
    actual = ending.machine_min - waiting
    if stitching <= 0 or actual <= 0:
        raise WorkshopError(
            _(
                "{minutes} minutes are fewer than trims and thread changes alone take. "
                "Give the minutes of the whole batch, or correct the seconds of the machine."
            ).format(minutes=as_written_here(f"{ending.machine_min:g}"))
        )
    observe(
        machine,
        Learns.TIME,
        job=run.job,
        estimated=stitching,
        actual=actual,
        sigma=TIME_SIGMA * ending.machine_min,
        key=ending_key(run.job, "time"),
        at=at,
        by=by,
    )

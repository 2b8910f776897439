"""From a draft to a promise and back: material set aside, records frozen, jobs dropped and made again."""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import uuid4

from inventory.acting import fingerprint_of, held, planned_act, refuse_if_changed, standing_at
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, ngettext
from inventory.ledger import release_holder, set_aside
from inventory.ledger.changes import changed_before
from inventory.ledger.posting import key_used
from inventory.models import BobbinBatch, Change, Shade, Spool, StockItem
from planning.compute.batch.needle_thread import PlannedThread
from planning.compute.batch.plan import BatchPlan
from planning.compute.batch.taking import claims
from planning.compute.spools.bobbins import BobbinChange
from planning.compute.spools.second_needles import SpoolChange
from planning.jobs.jobs import TABLE, JobFacts, NotInThisState, made_before, make_job, make_names_job, plan_of
from planning.models import Job, Machine, NamedPiece, PlacedDesign, Promise, PromisedSpool, PromisedThread
from planning.plan.ask import chosen_machine
from planning.plan.bobbins import bobbins_by_kind
from planning.plan.data import plan_as_data
from planning.plan.pins import written_block

State = Job.State


# What of a job stays when it is made again.
SAME = ("what", "fabric", "machine", "hoop", "tests", "copies", "strictness", "wearer")


class CannotPromise(WorkshopError):
    """The shelf does not hold what the job needs, so that a promise would be a hope."""


@planned_act
def promise(
    job: Job, *, at: datetime, by: Any, although_short: bool = False, shown: str | None = None, key: str = ""
) -> Promise:
    """Return the promise of ``job``: its plan frozen, its spools, bobbins and stabilizer set aside.

    Promising a promised job again plans it anew, with what it holds counting as free; the same ``key`` sent again
    answers with the promise that it made. ``shown`` is the fingerprint (``shown_of``) of the plan that a person saw:
    PlanHasChanged if it is another by now; None promises whatever the plan is. Raises CannotPromise where it is short
    or unknown, unless a person says ``although_short``: then what is there is set aside. Raises NotInThisState once
    the job runs.
    """
    lock_in(job, State.DRAFT, State.PROMISED)
    earlier = _promised_under(key, job)
    if earlier is not None:
        return earlier
    # What stands is read anew, now that nothing else moves: the job at hand may have been read before.
    plan = plan_of(Job.objects.with_everything().get(pk=job.pk))
    if shown is not None:
        refuse_if_changed(shown, _parts(plan), look=_("Look at the plan as it is now, then promise it."))
    if plan.verdict in ("short", "unknown") and not although_short:
        raise CannotPromise(
            _(
                "{job} cannot be promised: there is not enough for it, or not known to be. "
                "Look at its plan, buy what is missing, or promise it all the same."
            ).format(job=job)
        )
    release_holder(job.holder)
    Promise.objects.filter(job=job).delete()
    made = _frozen(job, plan, at=at, by=by)
    if key:
        Change.objects.create(
            table=TABLE,
            record=job.pk,
            what=f"promised {job}"[:200],
            at=at,
            by=by,
            station=standing_at(by),
            key=_key_of(key, job),
        )
    set_aside_all(job, _claimed(plan), bobbins=plan.bobbins.sure_count, at=at, by=by)
    job.state = State.PROMISED
    job.save(update_fields=["state"])
    return made


def shown_of(plan: BatchPlan) -> str:
    """Return the fingerprint of what a promise of ``plan`` would set down; the page sends it back with the promise."""
    return fingerprint_of(_parts(plan))


def _parts(plan: BatchPlan) -> dict[str, Any]:
    """Return what a person decides on, named as a sentence says it."""
    return {
        _("whether there is enough"): (plan.verdict, [thread.verdict for thread in plan.threads]),
        _("what is stitched"): (
            plan.pieces.total,
            [(each.sha256, each.stitches) for each in plan.designs],
            plan.copies_per_hooping,
        ),
        _("the threads"): [
            (thread.hex, thread.blocks, thread.choice.shade and thread.choice.shade.id, thread.needed_mm)
            for thread in plan.threads
        ],
        _("the spools and rolls"): claims(plan),
        _("the bobbins"): (plan.bobbins.first, plan.bobbins.sure_count, plan.bobbins.verdict),
    }


def _promised_under(key: str, job: Job) -> Promise | None:
    change = changed_before(_key_of(key, job)) if key else None
    if change is None:
        return None
    if (change.table, change.record) != (TABLE, job.pk):
        raise key_used(key)
    return Promise.objects.filter(job=job).first()


def _key_of(key: str, job: Job) -> str:
    return f"promise-{job.pk}-{key}"[:80]


@planned_act
def take_promise_back(job: Job, *, at: datetime, by: Any = None) -> Job:
    """Return ``job``, a draft again: nothing is set aside for it and it can be changed."""
    lock_in(job, State.PROMISED)
    release_holder(job.holder)
    Promise.objects.filter(job=job).delete()
    job.state = State.DRAFT
    job.save(update_fields=["state"])
    note_state(job, before=State.PROMISED, at=at, by=by)
    return job


@planned_act
def pick_up(job: Job, *, at: datetime, by: Any = None) -> Job:
    """Return a dropped ``job`` that never ran, a draft again: the undo of dropping it."""
    lock_in(job, State.DROPPED)
    if job.events.exists():
        raise NotInThisState(
            _("{job} was begun before it was dropped; make the same again instead.").format(job=job)
        )
    Promise.objects.filter(job=job).delete()
    job.state, job.ended_at = State.DRAFT, None
    job.save(update_fields=["state", "ended_at"])
    note_state(job, before=State.DROPPED, at=at, by=by)
    return job


@planned_act
def same_again(job: Job, *, pieces: int, at: datetime, by: Any, needed_on: Any = None, key: str = "") -> Job:
    """Return a new draft of ``pieces`` pieces that are stitched as those of ``job`` were.

    Designs and places are copied; names only where the number of pieces is the same. Which makers, codes and
    lots the first one had stays with it and is shown beside the new one. The same ``key`` sent again answers with
    the job that it made.
    """
    key = f"again-{job.pk}-{key}"[:80] if key else ""
    earlier = made_before(key)
    if earlier is not None:
        return earlier
    if pieces < 1:
        raise WorkshopError(_("{pieces} pieces cannot be stitched; give 1 or more.").format(pieces=pieces))
    facts = JobFacts(
        pieces=pieces, needed_on=needed_on, notes=job.notes, **{name: getattr(job, name) for name in SAME}
    )
    if not job.placed.exists():
        return _same_names(job, facts, at=at, by=by, key=key)
    made = make_job(
        facts,
        designs=[placed.design for placed in job.placed.select_related("design")],
        at=at,
        by=by,
        key=key,
    )
    made.repeats = job
    made.save(update_fields=["repeats"])
    _copy_places(job, made)
    if pieces == job.pieces:
        NamedPiece.objects.bulk_create(
            NamedPiece(job=made, number=each.number, text=each.text, design_id=each.design_id)
            for each in job.names.all()
        )
    return made


def _same_names(job: Job, facts: JobFacts, *, at: datetime, by: Any, key: str) -> Job:
    """Return a new draft with the names of ``job``: those are all that its pieces carry."""
    if facts.pieces != job.pieces:
        raise WorkshopError(
            ngettext(
                "{job} is {names} name, one a piece: make as many again, then change the list of names.",
                "{job} is {names} names, one a piece: make as many again, then change the list of names.",
                job.pieces,
            ).format(job=job, names=job.pieces)
        )
    lines = "\n".join(f"{each.text}: {each.design.name}" for each in job.names.select_related("design"))
    made = make_names_job(facts, lines, at=at, by=by, key=key)
    made.repeats = job
    made.save(update_fields=["repeats"])
    return made


def set_aside_all(job: Job, wanted: Mapping[int, int], *, bobbins: int, at: datetime, by: Any) -> None:
    """Set aside for ``job`` what is ``wanted`` of each item, and so many full ``bobbins`` that fit its machine.

    Of what is not there, as much as is: a promise that is made although it is short sets aside what it can.
    """
    quantities = Counter(wanted)
    for kind in bobbins_that_fit(job)[:1]:
        for each in kind:
            quantities[each.pk] += (taken := max(0, min(bobbins, each.free)))
            bobbins -= taken
    for item in held(StockItem.objects.filter(pk__in=quantities)):
        pk = item.pk
        quantity = min(quantities[pk], item.free) if item.is_known and item.retired_at is None else 0
        if quantity > 0:
            key = f"{job.holder}: {uuid4().hex}"
            set_aside(item, quantity=quantity, holder=job.holder, key=key, at=at, by=by)


def machine_of(job: Job) -> Machine:
    """Return the machine a job runs on: its own, or the workshop's first."""
    return job.machine or chosen_machine(None)


def bobbin_batches(job: Job) -> list[BobbinBatch]:
    """Return the full bobbins that fit the job's machine, in the order of ``bobbins_that_fit``."""
    return [batch for kind in bobbins_that_fit(job) for batch in kind]


def bobbins_that_fit(job: Job) -> list[list[BobbinBatch]]:
    """Return the full bobbins that fit the job's machine, locked, by kind: that of its promise, then most thread free.

    Whoever winds on goes on with the box that was begun, though meanwhile another kind has more thread.
    """
    style = machine_of(job).bobbin_style_id
    if not style:
        return []
    there = held(StockItem.objects.filter(bobbinbatch__style_id=style, retired_at__isnull=True))
    batches = BobbinBatch.objects.filter(pk__in=[item.pk for item in there]).order_by("pk")
    promised_mm = Promise.objects.filter(job=job).values_list("bobbin_mm", flat=True).first()
    kinds = bobbins_by_kind(batches, free=lambda batch: batch.free)
    return sorted(kinds, key=lambda kind: kind[0].length_mm != promised_mm)


def _claimed(plan: BatchPlan) -> dict[int, int]:
    """Return what a plan claims of each item, by its id."""
    by_label = claims(plan)
    ids = dict(StockItem.objects.filter(label__in=by_label).values_list("label", "pk"))
    return {ids[label]: quantity for label, quantity in by_label.items() if label in ids}


def _frozen(job: Job, plan: BatchPlan, *, at: datetime, by: Any) -> Promise:
    machine = machine_of(job)
    made = Promise.objects.create(
        job=job,
        at=at,
        by=by,
        verdict=plan.verdict,
        answer=plan_as_data(plan),
        tests=plan.pieces.tests,
        pieces=plan.pieces.ordered,
        to_stitch=plan.pieces.total,
        bobbin_mm=round(plan.bobbins.length_mm) or None,
        bobbin_median=plan.bobbin_median,
        bobbin_relative_sigma=round(plan.bobbins.relative_sigma, 4),
        bobbin_level_sigma=round(plan.bobbins.level_sigma, 4),
        bobbin_kappa_slope=round(plan.bobbins.kappa_slope, 4),
        kappa=machine.kappa,
        bobbin_geometry_mm=[round(each, 1) for each in plan.bobbins.geometry_mm],
        bobbins_sure=plan.bobbins.sure_count,
        first_bobbin=plan.bobbins.first,
        bobbin_changes=[[each.piece, _block_name(plan, each), each.bobbin] for each in plan.bobbins.changes],
        bobbin_interruptions=[each.piece for each in plan.bobbins.interruptions],
        machine_min=plan.machine_min,
        waiting_min=plan.waiting_min,
        stitches=plan.stitches,
    )
    shades = Shade.objects.select_related("range").in_bulk(
        [thread.choice.shade.id for thread in plan.threads if thread.choice.shade]
    )
    spools = {
        spool.label: spool
        for spool in Spool.objects.filter(
            label__in=[use.label for thread in plan.threads for use in thread.spools]
        )
    }
    needles = {thread: needle for needle, thread in plan.needles.start.items()} if machine.needles > 1 else {}
    for order, thread in enumerate(plan.threads, 1):
        _freeze_thread(
            made,
            order,
            thread,
            shades,
            spools,
            needle=needles.get(order - 1),
            changes=[each for each in plan.spool_changes if each.end.thread == order - 1],
            copies=plan.copies_per_hooping,
        )
    return made


def _block_name(plan: BatchPlan, change: BobbinChange) -> str:
    if change.at_block is None:
        return str(change.called)
    return written_block(change.at_block, several=len(plan.designs) > 1)


def _freeze_thread(
    made: Promise,
    order: int,
    thread: PlannedThread,
    shades: Mapping[int, Shade],
    spools: Mapping[str, Spool],
    *,
    needle: int | None,
    changes: Sequence[SpoolChange],
    copies: int,
) -> None:
    chosen = thread.choice.shade if thread.choice.near_enough else None
    shade = shades.get(chosen.id) if chosen else None
    record = PromisedThread.objects.create(
        promise=made,
        order=order,
        needle=needle,
        asked_hex=thread.hex,
        asked_name=thread.name[:120],
        blocks=[list(place) for place in thread.blocks],
        shade=shade,
        maker=shade.range.maker if shade else "",
        range_name=shade.range.name if shade else "",
        code=shade.code if shade else "",
        name=shade.name if shade else "",
        hex=shade.hex if shade else "",
        needed_mm=thread.needed_mm,
        missing_mm=thread.missing_mm,
        median=thread.factor_median,
        relative_sigma=thread.relative_sigma,
        level_sigma=round(thread.level_sigma, 4),
        kappa_slope=round(thread.kappa_slope, 4),
        geometry_mm=[round(each, 1) for each in thread.geometry_mm],
        path_mm=[round(each, 1) for each in thread.path_mm],
    )
    # The first spool is on its thread's own needle; a thread of which nothing is there has no spool at all.
    on_its_own = [None, *(each if each.is_ready else None for each in changes)] if thread.spools else []
    PromisedSpool.objects.bulk_create(
        PromisedSpool(
            needle=change.on_needle if change else None,
            ready_position=(change.ready_from - 1) * copies + 1 if change else None,
            thread=record,
            order=turn,
            item=spools[use.label],
            lot=spools[use.label].lot,
            from_position=use.from_piece,
            to_position=use.to_piece,
        )
        for turn, (use, change) in enumerate(zip(thread.spools, on_its_own, strict=True), 1)
    )


def _copy_places(job: Job, made: Job) -> None:
    """Lay the designs of ``made`` as those of ``job`` lie; both have the same ones in the same order."""
    pairs: Sequence[tuple[PlacedDesign, PlacedDesign]] = list(
        zip(made.placed.all(), job.placed.all(), strict=True)
    )
    for new, old in pairs:
        for name in ("order", "hooping", "x_mm", "y_mm", "turned_deg", "mirrored", "scale_percent"):
            setattr(new, name, getattr(old, name))
        new.save()


def note_state(job: Job, *, before: str, at: datetime, by: Any) -> None:
    """Write into the journal that ``job`` stands otherwise than ``before``, by whom and at which station."""
    Change.objects.create(
        table=TABLE,
        record=job.pk,
        what=str(job)[:200],
        fields={"state": {"before": str(before), "after": str(job.state)}},
        at=at,
        by=by,
        station=standing_at(by),
    )


def lock_in(job: Job, *states: str) -> None:
    """Lock ``job`` and take over its state as it stands. Raises NotInThisState if it is not one of ``states``."""
    job.state = held(Job.objects.only("state")).get(pk=job.pk).state
    if job.state not in states:
        raise NotInThisState(
            _("{job} is {state}, so this cannot be done with it.").format(
                job=job, state=job.get_state_display()
            )
        )

"""What happens at the machine: pieces ticked, threads that break, spools swapped, and all of it taken back."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from inventory.acting import PlanHasChanged, planned_act, standing_at
from inventory.compute.errors import WorkshopError
from inventory.compute.later import later
from inventory.compute.lengths import ScaleReading
from inventory.compute.spoken import _
from inventory.compute.units import told_thread
from inventory.ledger import Finding, NotEnough, find, release
from inventory.models import Spool, StockItem
from inventory.shelf.scan_box import read_code
from inventory.shelf.weights import weigh_spool
from planning.compute.run.state import RunThreadPlan, spool_on
from planning.facts.learning import take_back_change, tell_change
from planning.jobs.jobs import NotInThisState
from planning.models import Job, Promise, PromisedThread, Rules, RunEvent, ToldChange
from planning.run.booking import book, held_for, unbook
from planning.run.lines import bobbin_lines, reference
from planning.run.looked_at import SHOWING, keep_test_notes
from planning.run.needle import charge_and_change
from planning.run.promise import lock_in, note_state, set_aside_all
from planning.run.standing import Run, act_key, run_of
from planning.run.told import ANOTHER_SHADE, NO_SPOOL_KNOWN

if TYPE_CHECKING:
    from scipy.special import ndtri
else:
    ndtri = later("scipy.special", "ndtri")

Kind = RunEvent.Kind
State = Job.State

# The same thing twice within this time is asked about: common practice, no source.
AGAIN_WITHIN = timedelta(seconds=10)
ASKED_TWICE = frozenset(
    {Kind.BREAK, Kind.RESTITCH, Kind.BOBBIN, Kind.TENSION, Kind.NEEDLE, Kind.STOP, Kind.TEST}
)
# A device that was without a network tells when it was tapped; older than this its clock is not believed.
OLDEST_TAP = timedelta(days=7)
# What "a little" is on a spool that comes off, in mm, and one sigma of it: common practice, no source.
A_LITTLE_MM, A_LITTLE_SIGMA_MM = 10_000, 5_000.0
LEFT = ("", "nothing", "little", "weighed")


class AlreadyTicked(WorkshopError):
    """The piece is done already."""


class OnceMore(WorkshopError):
    """The same thing was noted a moment ago: a second tap, or a second mishap?"""


class WhatIsLeft(WorkshopError):
    """By the books a good deal is left on a spool that is said to have run out."""


@dataclass(frozen=True)
class Happening:
    """One thing that happened, as a page, a phone or a command tells it.

    ``thread`` is a number of the threading order. ``left`` says what is on the spool that came off: nothing,
    little, or weighed, with what the scale shows in ``gross``; empty says nothing of it. ``again`` that it really
    happened twice; ``tapped_at`` when, where it was told later. ``showing`` how much bobbin thread shows now.
    ``test_verdict`` what is said of a test piece, and ``note`` what is changed for it.
    ``instead_of`` is the label of the spool that the person saw on, where they were shown one.
    """

    kind: str
    key: str
    position: int | None = None
    thread: int | None = None
    label: str = ""
    share: float = 1.0
    ran_out: bool = False
    left: str = ""
    gross: ScaleReading | None = None
    again: bool = False
    tapped_at: datetime | None = None
    showing: str = ""
    test_verdict: str = ""
    note: str = ""
    instead_of: str = ""
    # A part stitched again as a person tells it (see planning.run.again): from this block of this design of the piece,
    # ``share`` of it far; or from which stitch to which, as the machine counts them.
    design: int = 1
    block: int | None = None
    from_stitch: int | None = None
    to_stitch: int | None = None


@planned_act
def begin(job: Job, *, at: datetime, by: Any = None) -> Run:
    """Return the run of a promised ``job``, begun: from now on pieces are ticked."""
    lock_in(job, State.PROMISED)
    job.state = State.RUNNING
    job.save(update_fields=["state"])
    Promise.objects.filter(job=job).update(begun_at=at)
    note_state(job, before=State.PROMISED, at=at, by=by)
    return run_of(job)


@planned_act
def stop_before_the_first(job: Job, *, at: datetime, by: Any = None) -> Job:
    """Return ``job``, promised again: the undo of beginning it, as long as nothing has happened."""
    lock_in(job, State.RUNNING)
    if job.events.standing().exists():
        raise NotInThisState(
            _("{job} has ticks already. Take them back first, or drop the job.").format(job=job)
        )
    job.state = State.PROMISED
    job.save(update_fields=["state"])
    Promise.objects.filter(job=job).update(begun_at=None)
    note_state(job, before=State.RUNNING, at=at, by=by)
    return job


@planned_act
def note(job: Job, happening: Happening, *, at: datetime, by: Any) -> RunEvent:
    """Return the event of ``happening``, with the stock it moved. The same key sent again answers with the first.

    Estimated use is taken as far as a spool goes. Raises AlreadyTicked, NotInThisState and WorkshopError for what
    makes no sense.
    """
    if not happening.key:
        raise WorkshopError(_("What happened needs a key, so that sending it twice counts once."))
    lock_in(job, State.RUNNING, State.FINISHED, State.DROPPED)
    earlier = RunEvent.objects.filter(key=_event_key(job, happening.key)).first()
    if earlier is not None:
        return earlier
    lock_in(job, State.RUNNING)
    before = run_of(job)
    if happening.kind not in Kind.values or happening.kind == Kind.TAKEN_BACK:
        raise WorkshopError(_('Nothing called "{kind}" happens at a machine.').format(kind=happening.kind))
    position = happening.position or _position_now(before, happening.kind)
    if not 1 <= position <= max(before.promise.to_stitch + before.spoiled, *before.done, 0) + 1:
        said = _("There is no piece at position {position} of this job.")
        raise WorkshopError(said.format(position=position))
    event = RunEvent(
        job=job,
        kind=happening.kind,
        position=position,
        key=_event_key(job, happening.key),
        at=_when(happening, before, at=at),
        by=by,
        station=standing_at(by),
    )
    _ask_once_more(before, event, happening)
    moved_after = _TELLING[Kind(happening.kind)](before, event, happening)
    event.save()
    after = run_of(job)
    problems = book(before, after, event, at=event.at, by=by)
    if moved_after is not None:
        moved_after()
    return _told(event, problems, resets=event.kind not in (Kind.PIECE, Kind.STOP, Kind.TENSION, Kind.TEST))


@planned_act
def take_back(event: RunEvent, *, key: str, at: datetime, by: Any) -> RunEvent:
    """Return the event that takes ``event`` back, with all stock as the other events have it. Sent again: the same.

    What happened afterwards stays and is derived anew: pieces ticked after a swap are on the spool before again.
    What cannot be put right any more is kept as a note of the event that takes back.
    """
    job = event.job
    lock_in(job, State.RUNNING)
    earlier = RunEvent.objects.filter(takes_back=event).first()
    if earlier is not None:
        return earlier
    if event.kind == Kind.TAKEN_BACK:
        raise WorkshopError(_("This takes another thing back; do that thing again instead."))
    if event.kind == Kind.NEEDLE:
        raise WorkshopError(
            _("The stitches of the needle before are not known any more. Note the change again.")
        )
    before = run_of(job)
    back = RunEvent.objects.create(
        job=job,
        kind=Kind.TAKEN_BACK,
        position=event.position,
        takes_back=event,
        key=_event_key(job, key or uuid4().hex),
        at=at,
        by=by,
        station=standing_at(by),
    )
    # What is set aside for the run itself must not keep it from putting things right.
    release(list(held_for(before)))
    problems = unbook(before, run_of(job), event, back, at=at, by=by)
    if event.kind == Kind.TENSION:
        for told in ToldChange.objects.filter(key=act_key(event)):
            take_back_change(told)
    event.notes.all().delete()
    return _told(back, problems, resets=True)


def _told(event: RunEvent, problems: list[str], *, resets: bool) -> RunEvent:
    """Return ``event`` with what could not be put right as its note, and what is left set aside anew."""
    if problems:
        event.note = "; ".join([*filter(None, [event.note]), *problems])[:200]
        event.save(update_fields=["note"])
    if resets:
        set_aside_what_is_left(run_of(event.job), at=event.at, by=event.by)
    return event


def _position_now(run: Run, kind: str) -> int:
    """Return the piece that is stitched next; where all are, a swap is for one more, the rest for the last.

    A verdict is of the last test that is stitched.
    """
    if kind == Kind.TEST:
        return max((each for each in run.done if each <= run.promise.tests), default=1)
    if run.left:
        return run.left[0]
    last = max(run.done, default=1)
    return last + 1 if kind == Kind.SPOOL else last


def _when(happening: Happening, run: Run, *, at: datetime) -> datetime:
    tapped = happening.tapped_at
    earliest = max(at - OLDEST_TAP, run.promise.begun_at or at - OLDEST_TAP)
    return at if tapped is None or not earliest <= tapped <= at else tapped


def _ask_once_more(run: Run, event: RunEvent, happening: Happening) -> None:
    """Refuse what was noted a moment ago already, until a person says that it happened again."""
    if happening.again or event.kind not in ASKED_TWICE:
        return
    for other in reversed(run.events):
        same = (other.kind, other.position) == (event.kind, event.position)
        if same and abs(event.at - other.at) < AGAIN_WITHIN and _order_of(other) in (None, happening.thread):
            what = event.get_kind_display()
            raise OnceMore(
                _(
                    '"{what}" was noted a moment ago for {piece}, and counts once. If it happened again, say so.'
                ).format(what=f"{what[:1].upper()}{what[1:]}", piece=run.called(event.position))
            )


def _order_of(event: RunEvent) -> int | None:
    return event.thread.order if event.thread else None


def _tick(run: Run, event: RunEvent, happening: Happening) -> None:
    if event.position in run.done:
        called = run.called(event.position)
        raise AlreadyTicked(_("{piece} is ticked already.").format(piece=f"{called[:1].upper()}{called[1:]}"))
    unknown = [
        str(record)
        for record, thread in zip(run.records, run.threads, strict=True)
        if round(thread.length_at(event.position)) and spool_on(thread, event.position, run.swaps) is None
    ]
    event.note = NO_SPOOL_KNOWN.format(threads=", ".join(unknown))[:200] if unknown else ""


def _break(run: Run, event: RunEvent, happening: Happening) -> None:
    """A thread that breaks costs the threaded path and a tail, and the time to thread it."""
    record, thread = _thread(run, happening)
    event.thread, event.item_id = record, spool_on(thread, event.position, run.swaps)
    event.minutes = run.machine.rethread_s / 60


def _stitch_again(run: Run, event: RunEvent, happening: Happening) -> None:
    record, thread = _thread(run, happening)
    if not 0 < happening.share <= 1:
        raise WorkshopError(_("Say which part was stitched again: more than none of it, and at most all."))
    event.thread, event.item_id = record, spool_on(thread, event.position, run.swaps)
    event.share = happening.share
    geometry_mm = thread.geometry_at(event.position) * happening.share
    all_mm = sum(each.geometry_at(event.position) for each in run.threads)
    a_piece_min = run.promise.machine_min / run.promise.to_stitch
    event.minutes = a_piece_min * geometry_mm / all_mm if all_mm else 0.0


def _swap(run: Run, event: RunEvent, happening: Happening) -> Callable[[], None] | None:
    record, thread = _thread(run, happening)
    label = read_code(happening.label).code  # a scanner types the whole address that our labels carry
    spool = Spool.objects.on_the_shelf().filter(label__iexact=label).first()
    if spool is None:
        raise WorkshopError(_('No spool on the shelf has the label "{label}".').format(label=label))
    before = spool_on(thread, event.position, run.swaps)
    if before == spool.pk:
        raise WorkshopError(_("{label} is on already.").format(label=spool))
    _refuse_another_on(before, happening.instead_of)
    event.thread, event.item = record, spool
    if record.shade_id and spool.shade_id != record.shade_id:
        event.note = ANOTHER_SHADE.format(shade=spool.shade)[:200]
    if before is None or not (happening.ran_out or happening.left):
        return None
    off = StockItem.objects.get(pk=before)
    _refuse_unasked(off, thread.length_at(event.position), happening)
    return lambda: _note_left(off, event, happening)


def _refuse_unasked(off: StockItem, a_piece_mm: float, happening: Happening) -> None:
    """Ask what is left where the books have more on the spool than one piece and twice their uncertainty."""
    if happening.left not in LEFT:
        said = _('"{left}" says nothing of what is left: say nothing, little, or weigh it.')
        raise WorkshopError(said.format(left=happening.left))
    if happening.left == "weighed" and happening.gross is None:
        raise WorkshopError(_("Say what {label} weighs now, with its core.").format(label=off))
    if not happening.left and off.is_known and off.on_hand - 2 * (off.sigma or 0.0) > a_piece_mm:
        raise WhatIsLeft(
            _(
                "By the books {length} are left on {label}. What is on it: nothing, a little, "
                "or what does the scale show? Nothing was noted yet."
            ).format(length=told_thread(off.on_hand), label=off)
        )


def _note_left(off: StockItem, event: RunEvent, happening: Happening) -> None:
    """Set the spool that came off to what was found on it, in the act of the event."""
    own: dict[str, Any] = {
        "key": act_key(event),
        "at": event.at,
        "by": event.by,
        "reference": reference(event.job),
    }
    if happening.left == "weighed" and happening.gross is not None:
        weighed = happening.gross
        weigh_spool(
            off,
            gross_mg=weighed.mg,
            scale_resolution_mg=weighed.resolution_mg,
            sure=happening.again,
            **own,
        )
    elif happening.left == "little":
        little = Finding(sigma=A_LITTLE_SIGMA_MM, known=StockItem.Known.JUDGED)
        find(off, quantity=A_LITTLE_MM, finding=little, **own)
    else:
        find(off, quantity=0, finding=Finding(sigma=0.0, known=StockItem.Known.COUNTED), **own)


def _bobbin(run: Run, event: RunEvent, happening: Happening) -> None:
    if not bobbin_lines(run, 1):
        raise NotEnough(_("No full bobbin of this machine's style is on the shelf."))
    event.minutes = run.machine.bobbin_change_s / 60


def _tension(run: Run, event: RunEvent, happening: Happening) -> Callable[[], None] | None:
    """A change of tension moves no stock; what is learned of thread begins a new stretch with it."""
    if happening.showing not in RunEvent.Showing.values:
        raise WorkshopError(
            _("Say how the back looks now: more bobbin thread showing, equal thirds, or less.")
        )
    event.showing = happening.showing
    return None if run.machine.pk is None else lambda: _told_of_machine(run, event)


def _told_of_machine(run: Run, event: RunEvent) -> None:
    what = f"{SHOWING[event.showing]}, {reference(run.job)}"
    tell_change(run.machine, key=act_key(event), at=event.at, by=event.by, what=what[:120])


def _needle(run: Run, event: RunEvent, happening: Happening) -> Callable[[], None]:
    machine = run.machine
    if machine.pk is None:
        raise WorkshopError(_("This job has no machine of the workshop's, so that no needle is counted."))
    return lambda: charge_and_change(run, event)


def _test(run: Run, event: RunEvent, happening: Happening) -> Callable[[], object]:
    """What a test showed is kept with its designs, and proposed the next time they go on this fabric."""
    if event.position not in run.done or event.position > run.promise.tests:
        raise WorkshopError(_("Only a test piece that is stitched can be judged. Tick it first."))
    if happening.test_verdict not in RunEvent.TestVerdict.values:
        raise WorkshopError(_("Say what the test says: go on, or change something."))
    if happening.test_verdict == RunEvent.TestVerdict.CHANGE and not happening.note.strip():
        raise WorkshopError(_("Say what is to be changed: the needle, the tension, the layers, a colour."))
    event.test_verdict, event.note = happening.test_verdict, happening.note.strip()[:200]
    return lambda: keep_test_notes(run, event)


def _stop(run: Run, event: RunEvent, happening: Happening) -> None:
    event.note = happening.note[:200]


# What an event must tell of itself before it is kept; some have more to do once it is.
_TELLING: dict[Kind, Callable[[Run, RunEvent, Happening], Callable[[], object] | None]] = {
    Kind.PIECE: _tick,
    Kind.SPOILED: _tick,
    Kind.BREAK: _break,
    Kind.RESTITCH: _stitch_again,
    Kind.SPOOL: _swap,
    Kind.BOBBIN: _bobbin,
    Kind.TENSION: _tension,
    Kind.NEEDLE: _needle,
    Kind.STOP: _stop,
    Kind.TEST: _test,
}


def _refuse_another_on(before: int | None, instead_of: str) -> None:
    on = StockItem.objects.get(pk=before).label if before is not None else ""
    if instead_of and read_code(instead_of).code.casefold() != on.casefold():
        raise PlanHasChanged(
            _(
                "Since this was shown, the workshop has changed: {on} is on now instead of {before}. "
                "Nothing was done. Look at the run sheet as it is now, then say which spool goes on."
            ).format(on=on or _("no spool"), before=instead_of)
        )


def _thread(run: Run, happening: Happening) -> tuple[PromisedThread, RunThreadPlan]:
    for record, thread in zip(run.records, run.threads, strict=True):
        if thread.order == happening.thread:
            return record, thread
    raise WorkshopError(_("Say which thread it was: its number in the threading order."))


def set_aside_what_is_left(run: Run, *, at: datetime, by: Any) -> None:
    """Set aside anew the spools and bobbins of what is still to be stitched, as far as they are free."""
    job = run.job
    release(list(held_for(run)))
    z = float(ndtri(Rules.current().enough_at))
    wanted: Counter[int] = Counter()
    for thread in run.threads:
        by_item: dict[int, list[int]] = {}
        for position in run.left_with_spares:
            item = spool_on(thread, position, run.swaps)
            if item is not None:
                by_item.setdefault(item, []).append(position)
        for item, positions in by_item.items():
            wanted[item] += thread.sure_mm(positions, z=z)
    last = max(run.left_with_spares, default=0)
    coming = [change for change in run.bobbins.coming if change.position <= last]
    parts = [change.label for change in coming if change.label]
    full = sum(not change.label for change in coming)
    if run.left and not run.done:
        parts += [run.promise.first_bobbin] if run.promise.first_bobbin else []
        full += not run.promise.first_bobbin
    for part in StockItem.objects.on_the_shelf().filter(label__in=parts):
        wanted[part.pk] = part.on_hand
    planned = [each.label for each in run.plan.bobbins.changes] + [run.promise.first_bobbin]
    spare = max(0, run.promise.bobbins_sure - planned.count("")) if run.left else 0
    set_aside_all(job, wanted, bobbins=full + spare, at=at, by=by)


def _event_key(job: Job, key: str) -> str:
    return f"{job.pk}-{key}"[:60]

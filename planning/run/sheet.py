"""What a run sheet says: the threading order, what is due before each piece, needle and speed."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from inventory.compute.spoken import _, ngettext
from inventory.models import Spool
from planning.compute.run.state import spool_on
from planning.models import Machine, PromisedSpool, PromisedThread
from planning.plan.pins import written_blocks
from planning.run.standing import Run

# How many pieces ahead a change is announced, and of how many pieces the sheet says before them what is due there.
AHEAD = 3
MOST_COMING = 4
MARKS = "abcdefghijkmnpqrstuvwxyz"  # without those that look like a figure
# Thread of bobbins in the drawings.
BOBBIN_COLOUR = "#e6e4dc"
# Beyond this a row of stitches is drawn with one stitch for several pieces.
MOST_STITCHES = 60


@dataclass(frozen=True)
class SheetRow:
    """One piece of the run: what it is called, whether it is done, and what is due before or in it."""

    position: int
    called: str
    is_done: bool
    is_spoiled: bool
    notes: list[str]
    # The marks of those notes that stand at several pieces: on paper they are written once, below.
    marks: tuple[str, ...] = ()
    alone: tuple[str, ...] = ()


@dataclass(frozen=True)
class Threaded:
    """One thread of the threading order with the spool that is on, and the one that could go on instead."""

    record: PromisedThread
    number: int
    blocks: str
    label: str
    place: str
    next_label: str
    needle: int | None = None
    # The spools that follow, each with the needle of its own, None where it has none.
    then: tuple[tuple[int | None, str], ...] = ()


@dataclass(frozen=True)
class Changing:
    """A thread, or the bobbins, of which another goes on in the run: before which pieces, with their numbers."""

    name: str
    count: str
    colour: str
    changes: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Advice:
    """A needle or a speed that a fabric or a thread asks for, and who asks."""

    what: str
    because: str


def sheet_rows(run: Run) -> list[SheetRow]:
    """Return every piece of the run in stitching order, those beyond the plan only while they are needed."""
    last = max([run.promise.to_stitch, *run.left, *run.done])
    notes = due_notes(run)
    marks = marks_of(notes.get(position, []) for position in range(1, last + 1))
    return [
        SheetRow(
            position=position,
            called=run.called(position),
            is_done=position in run.done,
            is_spoiled=run.done.get(position) is False,
            notes=own,
            marks=tuple(marks[each] for each in own if each in marks),
            alone=tuple(each for each in own if each not in marks),
        )
        for position in range(1, last + 1)
        for own in [notes.get(position, [])]
    ]


def marks_of(notes: Iterable[Sequence[str]]) -> dict[str, str]:
    """Return a mark for each note that stands at more than one piece, in the order in which they come.

    A run of some hundred pieces changes its bobbin hundreds of times, in a few words that are always the same.

    >>> marks_of([["Bobbin."], ["Spool.", "Bobbin."], ["Bobbin."]])
    {'Bobbin.': 'a'}
    """
    often = [note for note, times in Counter(each for own in notes for each in own).items() if times > 1]
    return {note: _mark(number) for number, note in enumerate(often)}


def _mark(number: int) -> str:
    more, last = divmod(number, len(MARKS))
    return (_mark(more - 1) if more else "") + MARKS[last]


def marked_notes(rows: Iterable[SheetRow]) -> dict[str, str]:
    """Return what each mark of these rows says."""
    return {mark: note for note, mark in marks_of(row.notes for row in rows).items()}


def running_stitch(run: Run) -> tuple[tuple[str, ...], int]:
    """Return how the pieces stand, a word a stitch (done, spoiled, now, open), and how many pieces one stitch is.

    Where several share a stitch, the gravest of them counts.
    """
    each = ["done" if run.done[at] else "spoiled" for at in sorted(run.done)]
    each += ["now" if at == run.left[0] else "open" for at in run.left]
    pieces_a_stitch = max(1, -(-len(each) // MOST_STITCHES))
    groups = [each[at : at + pieces_a_stitch] for at in range(0, len(each), pieces_a_stitch)]
    words = ("now", "spoiled", "open", "done")
    return tuple(next(word for word in words if word in group) for group in groups), pieces_a_stitch


def due_notes(run: Run) -> dict[int, list[str]]:
    """Return by position what is to be changed before or in a piece, in words."""
    notes: dict[int, list[str]] = {}
    for record, thread in zip(run.records, run.threads, strict=True):
        labels = {spool.item_id: spool for spool in record.spools.all()}
        for before, turn in zip(thread.turns, thread.turns[1:], strict=False):
            place = labels[turn.item].item.place
            where = f" ({place})" if place else ""
            called, off, on = record.name or record.code, labels[before.item].item, labels[turn.item]
            if on.needle:
                ready = _(
                    "Thread {thread} on needle {needle} too: spool {on}. The machine is switched off or locked first."
                )
                notes.setdefault(_ahead_of_ready(run, on), []).append(
                    ready.format(thread=called, needle=on.needle, on=f"{on.item.label}{where}")
                )
                words = _("{thread} goes on with needle {needle}: spool {off} is done, {on} on.").format(
                    thread=called, needle=on.needle, off=off.label, on=on.item.label
                )
            else:
                words = _("Change {thread}: spool {off} off, {on} on.").format(
                    thread=called, off=off.label, on=f"{on.item.label}{where}"
                )
            notes.setdefault(turn.from_position, []).append(words)
    first = run.promise.first_bobbin
    if first and not run.done:
        notes.setdefault(1, []).append(_("Begin with the part bobbin {label}.").format(label=first))
    for change in run.bobbins.coming:
        if change.inside:
            words = _("A bobbin runs out inside a block: have a fresh one ready.")
        elif change.label:
            words = (
                _("Part bobbin {label} before block {block}.")
                if change.block
                else _("Part bobbin {label} before this piece.")
            ).format(label=change.label, block=change.block)
        else:
            words = (
                _("Fresh bobbin before block {block}.")
                if change.block
                else _("Fresh bobbin before this piece.")
            ).format(block=change.block)
        notes.setdefault(_ahead(run, change.position), []).append(words)
    for piece in run.job.names.all():
        position = run.promise.tests + piece.number
        notes.setdefault(position, []).insert(0, _("Name: {name}.").format(name=piece.text))
    return notes


def what_changes(run: Run) -> list[Changing]:
    """Return the bobbins and each thread that comes from several spools, with where another one goes on."""
    found = []
    coming = sorted({_ahead(run, change.position) for change in run.bobbins.coming})
    if coming:
        count = ngettext("{number} change", "{number} changes", len(coming)).format(number=len(coming))
        changes = tuple((at, _number_of(run, at)) for at in coming)
        found.append(Changing(_("Bobbins"), count, BOBBIN_COLOUR, changes))
    for record, thread in zip(run.records, run.threads, strict=True):
        turns = thread.turns[1:]
        if turns:
            count = ngettext("{number} spool", "{number} spools", len(thread.turns)).format(
                number=len(thread.turns)
            )
            changes = tuple((turn.from_position, _number_of(run, turn.from_position)) for turn in turns)
            found.append(Changing(record.name or record.code, count, record.hex, changes))
    return found


def _number_of(run: Run, position: int) -> str:
    """Return the number of a piece, and what a test or a piece beyond those that were ordered is called."""
    number = position - run.promise.tests
    return str(number) if 0 < number <= run.promise.pieces else run.called(position)


def _ahead_of_ready(run: Run, turn: PromisedSpool) -> int:
    """Return the piece before which a needle to spare is threaded: the next one, once it can be."""
    return max(turn.ready_position or 1, run.left[0] if run.left else 1)


def _ahead(run: Run, pieces: int) -> int:
    """Return the piece that is stitched as the one of this number: those done and left, in their order."""
    order = [*sorted(run.done), *run.left]
    return order[pieces - 1] if pieces <= len(order) else pieces


def next_steps(run: Run) -> list[tuple[str, list[str]]]:
    """Return what is due before the next piece and the few after it, as (piece, notes)."""
    notes = due_notes(run)
    return [
        (run.called(position), notes[position]) for position in run.left[: AHEAD + 1] if notes.get(position)
    ]


def soon(run: Run, rows: Iterable[SheetRow]) -> SheetRow | None:
    """Return the piece shortly after the next one at which something is due, if there is one."""
    ahead = run.left[1 : AHEAD + 1]
    return next((row for row in rows if row.position in ahead and row.notes), None)


def coming(run: Run, rows: Iterable[SheetRow]) -> list[tuple[list[str], tuple[str, ...]]]:
    """Return what is due at the first few pieces after the next one, as (numbers of the pieces, notes)."""
    later = set(run.left[1:])
    due: dict[tuple[str, ...], list[str]] = {}
    for row in [row for row in rows if row.position in later and row.notes][:MOST_COMING]:
        due.setdefault(tuple(row.notes), []).append(_number_of(run, row.position))
    return [(numbers, notes) for notes, numbers in due.items()]


def threads_are(threads: Iterable[Threaded]) -> str:
    """Return in words how many spools are on and in how many places they are kept."""
    threads = list(threads)
    labels = {each.label for each in threads if each.label}
    places = {each.place for each in threads if each.place}
    if not labels:
        return _("no spool is known")
    spools = ngettext("{number} spool", "{number} spools", len(labels)).format(number=len(labels))
    if not places:
        return spools
    where = ngettext("{number} place", "{number} places", len(places)).format(number=len(places))
    return _("{spools} in {places}").format(spools=spools, places=where)


def threading_order(run: Run, *, spare: Mapping[int, Sequence[Spool]]) -> list[Threaded]:
    """Return the threads in order, each with the spool that is on now and another of its shade, if there is one."""
    position = run.left[0] if run.left else run.promise.to_stitch
    several = len({design for record in run.records for design, _block in record.blocks}) > 1
    labels = {spool.pk: spool for spools in spare.values() for spool in spools}
    # One of another shade that was swapped in is neither planned nor a spare of this thread's.
    swapped = {event.item.pk: event.item for event in run.events if event.item}
    threaded = []
    for record, thread in zip(run.records, run.threads, strict=True):
        on = spool_on(thread, position, run.swaps)
        planned = {each.item_id: each.item for each in record.spools.all()}
        item = planned.get(on or 0) or labels.get(on or 0) or swapped.get(on or 0)
        others = [each for each in spare.get(record.shade_id or 0, []) if each.pk != on and each.free > 0]
        turns = list(record.spools.all())
        now = next((at for at, each in enumerate(turns) if each.item_id == on), None)
        to_come = [each for each in turns if each.from_position > position and each.item_id != on]
        # The one that is planned next comes first: where it has a needle of its own it is threaded already.
        planned_next = to_come[0].item_id if to_come else None
        others = [each for each in others if each.pk == planned_next] + [
            each for each in others if each.pk != planned_next
        ]
        threaded.append(
            Threaded(
                record=record,
                number=record.order,
                blocks=written_blocks(record.blocks, several=several),
                label=item.label if item else "",
                place=item.place.name if item and item.place else "",
                next_label=others[0].label if others else "",
                needle=_needle_of(record, turns[: now + 1]) if now is not None else record.needle,
                then=tuple((each.needle, each.item.label) for each in to_come),
            )
        )
    return threaded


def _needle_of(record: PromisedThread, turns: Sequence[PromisedSpool]) -> int | None:
    """Return the needle on which the last of these turns is: its own, or that of the one before."""
    return next((each.needle for each in reversed(turns) if each.needle), record.needle)


def advice(run: Run, machine: Machine) -> list[Advice]:
    """Return the needles and the speed that fabric and threads ask for; where several ask, the slowest speed."""
    found: list[Advice] = []
    fabric = run.job.fabric
    ranges = list(dict.fromkeys(record.shade.range for record in run.records if record.shade))
    if fabric and fabric.needle:
        found.append(_needle_for(fabric.needle, fabric))
    found += [_needle_for(each.needle, each) for each in ranges if each.needle]
    speeds = [
        (each.most_stitches_per_minute, str(each))
        for each in [fabric, *ranges]
        if each is not None and each.most_stitches_per_minute
    ]
    slowest = min(speeds, default=None)
    if slowest and slowest[0] < machine.stitches_per_minute:
        found.append(
            Advice(
                _("At most {speed} stitches a minute").format(speed=slowest[0]),
                _("for {what}; the machine is set to {speed}").format(
                    what=slowest[1], speed=machine.stitches_per_minute
                ),
            )
        )
    return found


def _needle_for(needle: str, what: object) -> Advice:
    return Advice(_("Needle {needle}").format(needle=needle), _("for {what}").format(what=what))

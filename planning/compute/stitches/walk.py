"""From the records of a stitch file to the path of the needle thread, colour block by colour block."""

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from planning.compute.stitches import file_sentences as say
from planning.compute.stitches.warnings import FileWarning, info, look

Trims = Literal["explicit", "jumps"]

STITCH = 0
JUMP = 1
TRIM = 2
STOP = 3
END = 4
COLOUR_CHANGE = 5
SEQUIN_EJECT = 7
NEEDLE_SET = 9

# A stitch may reach over two records, about 24 mm; common practice, no source.
LONGEST_STITCH_RECORDS = 2
# Above this share a person should look at the file: such stitches pierce the cloth but lay hardly any thread.
ZERO_LENGTH_SHARE = 0.05


@dataclass(frozen=True)
class FileThread:
    """A thread as the file names it; ``hex`` is None where the file gives no colour."""

    hex: str | None
    name: str
    code: str
    # The file gives a number of a palette, and no colour of its own.
    from_palette: bool = False


@dataclass(frozen=True, eq=False)
class StitchRecords:
    """The records of one file in order: positions in 0.1 mm (y grows downwards), commands as one byte."""

    x_tenths: NDArray[np.int32]
    y_tenths: NDArray[np.int32]
    command: NDArray[np.uint8]
    threads: tuple[FileThread, ...] = ()


@dataclass(frozen=True, eq=False)
class BlockPath:
    """One colour block: its penetrations in order and what happens between them.

    ``trims`` counts every trim that cuts sewn thread, so also one that ends the block. ``jumped_mm`` is the
    thread laid where the needle moved without sewing and nothing was cut. ``first_record`` and
    ``last_record`` are the places of the first and the last penetration among the records.
    """

    number: int
    thread: FileThread | None
    points_mm: NDArray[np.float64]
    run_starts: NDArray[np.intp]
    trims: int
    stops: int
    zero_length: int
    jumped_mm: float
    first_record: int
    last_record: int
    # The penetration that follows each stop of the block; as many as there are for one at its end.
    stop_places: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))


@dataclass(frozen=True, eq=False)
class Walked:
    """A whole design without its empty blocks; ``stitches`` counts penetrations, and sizes span them."""

    blocks: tuple[BlockPath, ...]
    width_mm: float
    height_mm: float
    min_x_mm: float
    min_y_mm: float
    stitches: int
    trims: int
    colour_changes: int
    stops: int
    jumps: int
    graded_warnings: tuple[FileWarning, ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        return tuple(each.kept for each in self.graded_warnings)


class _Rows(NamedTuple):
    """Unbroken rows of jumps: first record, number of jumps, and jumps that the distance alone needs."""

    start: NDArray[np.intp]
    jumps: NDArray[np.intp]
    forced: NDArray[np.int64]  # 0 where no record limit is known


class _Path(NamedTuple):
    """The penetrations, and for each the number of cuts and of thread changes before it."""

    record: NDArray[np.intp]
    points_mm: NDArray[np.float64]
    cuts: NDArray[np.int32]
    changes: NDArray[np.int32]
    zero_length: NDArray[np.bool_]
    travelled_mm: NDArray[np.float64]


def walk(
    records: StitchRecords, *, trims: Trims, record_limit_tenths: int | None, trim_at_jumps: int = 3
) -> Walked:
    """Return the thread runs of every colour block that has a stitch.

    A stitch lays thread from the last penetration unless the thread was cut in between; a jump only moves;
    a trim cuts; a thread change ends the block and cuts; a stop pauses; an end record ends. With
    ``trims="jumps"`` a row of ``trim_at_jumps`` jumps or more is a trim too, unless ``record_limit_tenths``
    (the longest move that one record carries) left the writer no choice but so many jumps.

    >>> line = StitchRecords(
    ...     x_tenths=np.array([0, 30, 30, 90], np.int32), y_tenths=np.array([0, 40, 40, 40], np.int32),
    ...     command=np.array([STITCH, STITCH, TRIM, STITCH], np.uint8))
    >>> walked = walk(line, trims="explicit", record_limit_tenths=121)
    >>> walked.stitches, walked.trims, walked.width_mm, walked.blocks[0].run_starts.tolist()
    (3, 1, 9.0, [0, 2])
    """
    ends = np.flatnonzero(records.command == END)
    length = int(ends[0]) if ends.size else int(records.command.size)
    x, y, command = records.x_tenths[:length], records.y_tenths[:length], records.command[:length]

    change = (command == COLOUR_CHANGE) | (command == NEEDLE_SET)
    trim = command == TRIM
    rows = _jump_rows(x, y, command, record_limit_tenths=record_limit_tenths)
    untrimmed = np.zeros(rows.start.size, dtype=np.bool_)
    if trims == "jumps":
        cutting = (rows.jumps >= trim_at_jumps) & (rows.jumps > rows.forced)
        trim[rows.start[cutting]] = True
        untrimmed = (rows.jumps >= trim_at_jumps) & ~cutting
    path = _path(x, y, command, cut=trim | change, change=change, record_limit_tenths=record_limit_tenths)
    blocks = _blocks(path, command, trim=trim, change=change, threads=records.threads)

    warnings = [
        *_thread_warnings(blocks, records.threads),
        *_stitch_warnings(blocks, path),
        *_travel_warnings(path, rows.start[untrimmed]),
    ]
    if not ends.size:
        warnings.append(look(say.NO_END))
    low, high = np.zeros(2), np.zeros(2)
    if blocks:
        # One axis after the other: NumPy is many times slower along the long side of a narrow array.
        along = (path.points_mm[:, 0], path.points_mm[:, 1])
        low, high = np.array([each.min() for each in along]), np.array([each.max() for each in along])
    return Walked(
        blocks=blocks,
        width_mm=float(high[0] - low[0]),
        height_mm=float(high[1] - low[1]),
        min_x_mm=float(low[0]),
        min_y_mm=float(low[1]),
        stitches=path.record.size,
        trims=sum(block.trims for block in blocks),
        colour_changes=max(len(blocks) - 1, 0),
        stops=int(np.count_nonzero(command == STOP)),
        jumps=int(np.count_nonzero(command == JUMP)),
        graded_warnings=tuple(warnings),
    )


def _jump_rows(
    x: NDArray[np.int32],
    y: NDArray[np.int32],
    command: NDArray[np.uint8],
    *,
    record_limit_tenths: int | None,
) -> _Rows:
    """Return the unbroken rows of jumps."""
    edges = np.diff((command == JUMP).astype(np.int8), prepend=0, append=0)
    start, stop = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    span = np.maximum(_moved(x, start, stop), _moved(y, start, stop))
    forced = np.zeros_like(span) if record_limit_tenths is None else -(-span // record_limit_tenths)
    return _Rows(start, stop - start, forced)


def _moved(along: NDArray[np.int32], start: NDArray[np.intp], stop: NDArray[np.intp]) -> NDArray[np.int64]:
    """Return how far each row ``start:stop`` of records moves along one axis.

    A row that opens the file has nothing to cut, so what it is measured from does not matter.
    """
    moved: NDArray[np.int64] = np.abs(along[stop - 1].astype(np.int64) - along[start - 1])
    return moved


def _path(
    x: NDArray[np.int32],
    y: NDArray[np.int32],
    command: NDArray[np.uint8],
    *,
    cut: NDArray[np.bool_],
    change: NDArray[np.bool_],
    record_limit_tenths: int | None,
) -> _Path:
    """Return the penetrations with the cuts before them and the travel that leads to them."""
    record = np.flatnonzero((command == STITCH) | (command == SEQUIN_EJECT))
    cuts = np.cumsum(cut, dtype=np.int32)[record]
    changes = np.cumsum(change, dtype=np.int32)[record]
    jumps = np.diff(np.cumsum(command == JUMP, dtype=np.int32)[record])
    span_x, span_y = np.diff(x[record].astype(np.int64)), np.diff(y[record].astype(np.int64))

    sewn = np.diff(cuts) == 0
    needed = np.ones(sewn.size, dtype=np.int64)
    if record_limit_tenths is not None:
        span = np.maximum(np.abs(span_x), np.abs(span_y))
        needed = np.maximum(needed, -(-span // record_limit_tenths))
    # A long satin stitch too is written as a jump and a stitch; more jumps than its length needs, or a length
    # that no stitch has, make it a travel.
    is_travel = (jumps >= needed) | ((jumps > 0) & (needed > LONGEST_STITCH_RECORDS))
    travelled = np.hypot(span_x, span_y) / 10 * (sewn & is_travel)
    first = record[:1].size  # 1, or 0 where nothing is sewn
    return _Path(
        record=record,
        points_mm=np.stack((x[record], y[record]), axis=1) / 10.0,
        cuts=cuts,
        changes=changes,
        zero_length=np.concatenate((np.zeros(first, np.bool_), sewn & (span_x == 0) & (span_y == 0))),
        travelled_mm=np.concatenate((np.zeros(first), travelled)),
    )


def _blocks(
    path: _Path,
    command: NDArray[np.uint8],
    *,
    trim: NDArray[np.bool_],
    change: NDArray[np.bool_],
    threads: tuple[FileThread, ...],
) -> tuple[BlockPath, ...]:
    """Return the colour blocks that have a stitch, each with its thread."""
    if not path.record.size:
        return ()
    first = np.flatnonzero(np.diff(path.changes, prepend=-1))
    stop = [*first[1:].tolist(), path.record.size]
    segment = path.changes[first]  # how many thread changes stand before the block

    cut = np.flatnonzero(trim | change)
    sewn_before = np.searchsorted(path.record, cut)
    cutting_trim = trim[cut] & (np.diff(sewn_before, prepend=0) > 0)
    trim_block = np.searchsorted(first, sewn_before[cutting_trim] - 1, side="right") - 1
    trims = np.bincount(trim_block, minlength=first.size)
    stopped = np.flatnonzero(command == STOP)
    stop_segment = np.cumsum(change, dtype=np.int32)[stopped]
    sewn_before_stop = np.searchsorted(path.record, stopped)

    run_start = np.diff(path.cuts, prepend=-1) != 0
    zero_length = np.add.reduceat(path.zero_length, first, dtype=np.int64)
    travelled_mm = np.add.reduceat(path.travelled_mm, first)
    # A needle set before the first stitch threads the first block; no thread belongs before it.
    opening = int(segment[0] > 0 and command[np.flatnonzero(change)[0]] == NEEDLE_SET)
    paired = pair_threads(
        threads,
        places=(segment - opening).tolist(),
        place_count=int(np.count_nonzero(change)) + 1 - opening,
    )
    return tuple(
        BlockPath(
            number=index + 1,
            thread=paired[index],
            points_mm=path.points_mm[a:b],
            run_starts=np.flatnonzero(run_start[a:b]),
            trims=int(trims[index]),
            stops=int(np.count_nonzero(stop_segment == segment[index])),
            zero_length=int(zero_length[index]),
            jumped_mm=float(travelled_mm[index]),
            first_record=int(path.record[a]),
            last_record=int(path.record[b - 1]),
            stop_places=sewn_before_stop[stop_segment == segment[index]] - a,
        )
        for index, (a, b) in enumerate(zip(first.tolist(), stop, strict=True))
    )


def pair_threads(
    threads: tuple[FileThread, ...], *, places: list[int], place_count: int
) -> tuple[FileThread | None, ...]:
    """Return the thread of each block, or None where the file has none left to give.

    ``places`` tells for each block how many of the file's thread changes stand before it; ``place_count``
    counts the empty places too. The threads belong to the blocks that have stitches; only a list exactly as
    long as all places is read place by place.

    >>> red, blue = FileThread("#ff0000", "", ""), FileThread("#0000ff", "", "")
    >>> pair_threads((red, blue), places=[1, 2], place_count=3) == (red, blue)
    True
    >>> pair_threads((red, red, blue), places=[0, 2], place_count=3) == (red, blue)
    True
    """
    known = [thread if thread.hex or thread.name or thread.code else None for thread in threads]
    if len(threads) == place_count:
        return tuple(known[place] for place in places)
    return tuple(known[index] if index < len(known) else None for index in range(len(places)))


def _thread_warnings(blocks: tuple[BlockPath, ...], threads: tuple[FileThread, ...]) -> list[FileWarning]:
    """Return what is odd about the threads that the file names."""
    warnings = []
    if threads and len(threads) != len(blocks):
        sentence = say.MORE_THREADS if len(threads) > len(blocks) else say.FEWER_THREADS
        warnings.append(
            info(
                sentence.format(
                    threads=_counted(say.THREADS, len(threads)),
                    blocks=_counted(say.BLOCKS, len(blocks)),
                    first=len(threads) + 1,
                )
            )
        )
    equal = [
        say.PAIR.format(one=block.number - 1, other=block.number)
        for before, block in pairwise(blocks)
        if before.thread and block.thread and before.thread.hex and _same(before.thread, block.thread)
    ]
    if equal:
        warnings.append(info(say.EQUAL_NEIGHBOURS.format(blocks=_some(equal))))
    return warnings


def _same(one: FileThread, other: FileThread) -> bool:
    return (one.hex, one.code) == (other.hex, other.code)


def _stitch_warnings(blocks: tuple[BlockPath, ...], path: _Path) -> list[FileWarning]:
    """Return what is odd about the stitches."""
    warnings = []
    single = [str(block.number) for block in blocks if len(block.points_mm) == 1]
    if single:
        sentence = say.SINGLE_STITCH if len(single) == 1 else say.SINGLE_STITCHES
        warnings.append(look(sentence.format(block=single[0], blocks=_some(single))))
    lone = sum(_lone_stitches(block) for block in blocks)
    if lone:
        warnings.append(info(_counted(say.LONE_STITCHES, lone)))
    zero_length = sum(block.zero_length for block in blocks)
    if zero_length > ZERO_LENGTH_SHARE * path.record.size:
        warnings.append(
            info(
                say.NO_LENGTH.format(
                    share=f"{zero_length / path.record.size * 100:.0f}",
                    some=f"{zero_length:,}",
                    all=f"{path.record.size:,}",
                )
            )
        )
    return warnings


def _lone_stitches(block: BlockPath) -> int:
    """Return how many runs of a block are a single stitch; a block that is nothing else is told on its own."""
    if len(block.points_mm) == 1:
        return 0
    lengths = np.diff(block.run_starts, append=len(block.points_mm))
    return int(np.count_nonzero(lengths == 1))


def _travel_warnings(path: _Path, rows: NDArray[np.intp]) -> list[FileWarning]:
    """Return how many long travels are left untrimmed, of the rows of jumps that start at ``rows``."""
    after = np.searchsorted(path.record, rows)
    after = after[(after > 0) & (after < path.record.size)]
    # Two rows may lie in one travel: a stop can stand between them.
    ends = np.unique(after[path.cuts[after - 1] == path.cuts[after]])
    if not ends.size:
        return []
    steps = path.points_mm[ends] - path.points_mm[ends - 1]
    longest_mm = float(np.hypot(steps[:, 0], steps[:, 1]).max())
    return [info(_counted(say.NOT_TRIMMED, ends.size, longest=f"{longest_mm:.0f}"))]


def _counted(forms: tuple[str, str], count: int, **values: str) -> str:
    """Return that of two forms that fits the count, with it.

    >>> _counted(say.THREADS, 1), _counted(say.THREADS, 1200)
    ('1 thread', '1,200 threads')
    """
    return forms[count != 1].format(count=f"{count:,}", **values)


def _some(names: list[str], *, most: int = 8) -> str:
    """Return the names as a list in words, cut short where there are many.

    >>> _some(["1", "2", "5"]), _some(["1", "2", "3"], most=2)
    ('1, 2, 5', '1, 2 and 1 more')
    """
    if len(names) <= most:
        return ", ".join(names)
    return say.SOME.format(names=", ".join(names[:most]), rest=len(names) - most)

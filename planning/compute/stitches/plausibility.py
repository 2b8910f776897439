"""Signs in the stitches themselves that a file is damaged: what nobody would sew."""

from collections.abc import Iterator, Sequence
from math import cos, radians

import numpy as np
from numpy.typing import NDArray

from planning.compute.stitches import file_sentences as say
from planning.compute.stitches.walk import END, JUMP, STITCH, TRIM, BlockPath, StitchRecords
from planning.compute.stitches.warnings import FileWarning, info, look

# Twice the longest stitch of most machines, 12.7 mm; common practice, no source.
LONGEST_SEWN_MM = 25.5
# A travel without a trim is seldom longer than this; common practice, no source.
LONGEST_TRAVEL_MM = 100
# Writers make a trim of 3 to about 10 moves; this many more than the way needs lead nowhere. Common practice.
MOST_SPARE_JUMPS = 24
# Stitches this long go to and fro (satin) or on and on (running); those of damaged bytes go anywhere.
LONG_TENTHS = 80
LEAST_TURN, MOST_TURN = cos(radians(60)), cos(radians(150))
WINDOW, MOST_IN_WINDOW = 16, 3
# The needle holds a thread with some stitches in one place; so many in a row tear the cloth. Common practice.
TINY_TENTHS, MOST_TINY = 2, 40
# A writer cuts once; some repeat it. Common practice, no source.
MOST_CUTS = 8
# Fewer stitches than these hold no thread; a single letter has more. Common practice, no source.
FEWEST_STITCHES = 20
# Small stitches hold both ends of a thread, or neither: common practice. So many threads show a file's habit.
HOLDING_TENTHS, HOLDING_STEPS, LEAST_HELD, LEAST_OF_A_RUN = 12, 2, 6, 8


def signs_of_damage(
    records: StitchRecords, *, record_limit_tenths: int, moves_are_stitches: bool = False
) -> Iterator[FileWarning]:
    """Yield in words what is not plausible about the stitches, with its number and its place.

    Where ``moves_are_stitches``, a long one may be a travel that the format cannot write in another way.

    >>> spike = StitchRecords(
    ...     x_tenths=np.array([0, 30, 700, 60], np.int32), y_tenths=np.zeros(4, np.int32),
    ...     command=np.full(4, STITCH, np.uint8))
    >>> next(signs_of_damage(spike, record_limit_tenths=2047)).text
    '2 stitches are longer than 25.5 mm (up to 67.0 mm, the first is stitch 3). Look at the design before it is sewn.'
    """
    ends = np.flatnonzero(records.command == END)
    command = records.command[: ends[0]] if ends.size else records.command
    dx, dy = (
        np.diff(along[: command.size].astype(np.float64)) for along in (records.x_tenths, records.y_tenths)
    )
    sews = command == STITCH
    sewn = sews[1:] & sews[:-1]
    length = np.hypot(dx, dy) * sewn
    number = np.cumsum(sews)[1:]

    beyond = sewn & (np.maximum(np.abs(dx), np.abs(dy)) > record_limit_tenths + 1)
    if beyond.any():
        yield look(
            _counted(say.BEYOND_RECORD, beyond).format(
                count=_many(beyond),
                limit=f"{record_limit_tenths / 10:.1f}",
                first=f"{number[beyond.argmax()]:,}",
                advice=say.LOOK,
            )
        )
    long = length > LONGEST_SEWN_MM * 10
    if long.any():
        is_travel = moves_are_stitches and length.max() <= LONGEST_TRAVEL_MM * 10
        tell = info if is_travel else look
        yield tell(
            _counted(say.LONG_STITCHES, long).format(
                count=_many(long),
                limit=f"{LONGEST_SEWN_MM:g}",
                longest=f"{length.max() / 10:.1f}",
                first=f"{number[long.argmax()]:,}",
                advice=say.TRAVEL if is_travel else say.LOOK,
            )
        )
    erratic = _erratic(dx, dy, length)
    if erratic.any():
        yield look(
            _counted(say.ERRATIC, erratic).format(
                count=_many(erratic),
                limit=f"{LONG_TENTHS / 10:g}",
                first=f"{number[erratic.argmax()]:,}",
                advice=say.LOOK,
            )
        )
    tiny = sewn & (np.maximum(np.abs(dx), np.abs(dy)) <= TINY_TENTHS)
    at, row = _longest_row(tiny)
    if row > MOST_TINY:
        yield look(say.ONE_PLACE.format(stitches=f"{row:,}", first=f"{number[at]:,}", advice=say.LOOK))
    _, cuts = _longest_row(command == TRIM)
    if cuts > MOST_CUTS:
        yield look(say.CUTS.format(cuts=f"{cuts:,}", advice=say.LOOK))
    if 0 < number[-1:].sum() < FEWEST_STITCHES:
        yield look(say.FEW_STITCHES.format(stitches=f"{number[-1]:,}"))
    spare = _most_spare_jumps(dx, dy, command, record_limit_tenths=record_limit_tenths)
    if spare > MOST_SPARE_JUMPS:
        yield look(say.SPARE_MOVES.format(moves=f"{spare:,}", advice=say.LOOK))


def _erratic(
    dx: NDArray[np.float64], dy: NDArray[np.float64], length: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return which steps are long and turn off sideways where several do so close together."""
    long = length > LONG_TENTHS
    found = np.zeros(long.size, dtype=np.bool_)
    at = np.flatnonzero(long[1:] & long[:-1]) + 1
    turn = (dx[at] * dx[at - 1] + dy[at] * dy[at - 1]) / (length[at] * length[at - 1])
    at = at[(turn < LEAST_TURN) & (turn > MOST_TURN)]
    close = np.flatnonzero(at[MOST_IN_WINDOW:] - at[:-MOST_IN_WINDOW] < WINDOW)
    for k in range(MOST_IN_WINDOW + 1):
        found[at[close + k]] = True
    return found


def end_not_held(blocks: Sequence[BlockPath]) -> Iterator[FileWarning]:
    """Yield that the last thread is not held at its end where every other one is: a file that was cut off.

    Holding means that two of the last four steps of a run are small.
    """
    runs = [
        run
        for block in blocks
        for run in np.split(block.points_mm, block.run_starts[1:])
        if len(run) >= LEAST_OF_A_RUN
    ]
    held = [_is_held(run) for run in runs]
    if len(held) > LEAST_HELD and not held[-1] and all(held[:-1]):
        yield look(say.END_NOT_HELD.format(threads=f"{len(held) - 1:,}"))


def _is_held(run: NDArray[np.float64]) -> bool:
    steps = np.hypot(*np.diff(run[-5:], axis=0).T) * 10
    return int(np.count_nonzero(steps <= HOLDING_TENTHS)) >= HOLDING_STEPS


def _longest_row(which: NDArray[np.bool_]) -> tuple[int, int]:
    """Return where the longest unbroken row starts, and how long it is."""
    edges = np.flatnonzero(np.diff(which, prepend=False, append=False))
    if not edges.size:
        return 0, 0
    longest = int((edges[1::2] - edges[::2]).argmax())
    return int(edges[2 * longest]), int(edges[2 * longest + 1] - edges[2 * longest])


def _most_spare_jumps(
    dx: NDArray[np.float64], dy: NDArray[np.float64], command: NDArray[np.uint8], *, record_limit_tenths: int
) -> int:
    """Return the largest number of moves in a row beyond those that their way needs."""
    moves = command[1:] == JUMP
    edges = np.flatnonzero(np.diff(moves, prepend=False, append=False))
    start, stop = edges[::2], edges[1::2]
    if not start.size:
        return 0
    far = np.maximum(*(np.abs(np.add.reduceat(step * moves, start)) for step in (dx, dy)))
    return int((stop - start - np.ceil(far / record_limit_tenths)).max())


def _counted(forms: tuple[str, str], which: NDArray[np.bool_]) -> str:
    return forms[int(np.count_nonzero(which)) != 1]


def _many(which: NDArray[np.bool_]) -> str:
    return f"{int(np.count_nonzero(which)):,}"

"""What became of spoiled stitch files: read the same, warned of, silently different, or refused."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from planning.stitch_files.formats import FORMATS
from planning.stitch_files.reading import ReadDesign, UnreadableDesign, read_design_file, read_design_files
from tests.planning.mutations import Mutant, Original, mutants, originals

# A design that is this far off makes a plan wrong by more than its own uncertainty from job to job.
FAR_OFF = 0.05


@dataclass(frozen=True)
class Outcome:
    """What became of one file; ``length_error`` is the error in its drawn path, as a share."""

    mutant: Mutant
    outcome: str
    length_error: float
    words: tuple[str, ...]


def drawn_mm(design: ReadDesign) -> float:
    """Return the length of thread that a design lays between cuts."""
    total = 0.0
    for block in design.walked.blocks:
        steps = np.hypot(*np.diff(block.points_mm, axis=0).T)
        steps[block.run_starts[1:] - 1] = 0
        total += float(steps.sum())
    return total


def are_the_same(one: ReadDesign, other: ReadDesign) -> bool:
    """Tell whether two designs give the same plan: equal paths, cuts, stops and colours, block by block."""
    return len(one.walked.blocks) == len(other.walked.blocks) and all(
        (a.trims, a.stops, a.thread and a.thread.hex) == (b.trims, b.stops, b.thread and b.thread.hex)
        and np.array_equal(a.points_mm, b.points_mm)
        and np.array_equal(a.run_starts, b.run_starts)
        for a, b in zip(one.walked.blocks, other.walked.blocks, strict=True)
    )


def outcome(mutant: Mutant, sound: ReadDesign, answer: ReadDesign | UnreadableDesign) -> Outcome:
    if isinstance(answer, UnreadableDesign):
        return Outcome(mutant, "refused", 0.0, (str(answer),))
    # A warning for a person's information is no alarm: damage must be told with one of the first grade.
    new = tuple(
        each.text for each in answer.graded_warnings if each.is_grave and each.text not in sound.warnings
    )
    error = abs(drawn_mm(answer) / drawn_mm(sound) - 1)
    if new:
        return Outcome(mutant, "warned", error, new)
    return Outcome(mutant, "identical" if are_the_same(answer, sound) else "silently different", error, ())


def outcomes(count: int, *, seed: int, folder: Path, processes: int = 2) -> Iterator[Outcome]:
    """Yield what becomes of ``count`` spoiled files, each written only when its turn comes."""
    sound: dict[Original, ReadDesign] = {}
    for original in (each for several in originals().values() for each in several):
        path = folder / original.name
        path.write_bytes(original.content)
        sound[original] = read_design_file(path)

    waiting: dict[Path, Mutant] = {}

    def written() -> Iterator[Path]:
        for mutant in mutants(count, seed=seed):
            path = folder / mutant.name
            path.write_bytes(mutant.content)
            waiting[path] = mutant
            yield path

    for path, answer in read_design_files(written(), processes=processes):
        mutant = waiting.pop(path)
        path.unlink()
        yield outcome(mutant, sound[mutant.original], answer)
    assert not waiting


def far_off(found: list[Outcome], extension: str) -> list[Outcome]:
    """Return the files of a format that were read with a drawn path too long or too short."""
    return [
        each
        for each in found
        if each.length_error > FAR_OFF and extension in ("all", each.mutant.original.extension)
    ]


def share_warned(found: list[Outcome]) -> float:
    return sum(each.outcome == "warned" for each in found) / len(found) if found else 1.0


def table(found: list[Outcome]) -> str:
    """Return one line a format: how many of each outcome, and how many of those far off are warned of."""
    lines = [
        f"{'':7}{'files':>6}{'identical':>11}{'warned':>8}{'silently different':>20}{'refused':>9}"
        f"{'length off > 5 %':>18}{'of these warned':>17}"
    ]
    for extension in (*sorted(FORMATS), "all"):
        rows = [each for each in found if extension in ("all", each.mutant.original.extension)]
        count = Counter(each.outcome for each in rows)
        far = far_off(found, extension)
        lines.append(
            f"{extension:7}{len(rows):6}{count['identical']:11}{count['warned']:8}"
            f"{count['silently different']:20}{count['refused']:9}{len(far):18}{share_warned(far):17.1%}"
        )
    return "\n".join(lines)

"""What the library keeps of a stitch file: small, and worked out in the process that reads the file."""

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from inventory.processes.children import CAN_STAND
from planning.compute.stitches.sameness import block_outline
from planning.compute.stitches.thread_length import BlockSums, block_sums
from planning.compute.stitches.walk import BlockPath, FileThread
from planning.stitch_files.processes import DIGESTING
from planning.stitch_files.reading import (
    DEFAULT_LIMITS,
    ReadDesign,
    ReadLimits,
    UnreadableDesign,
    answers_for,
    digest_in,
    digest_order,
    read_design_files,
)


@dataclass(frozen=True)
class BlockDigest:
    """What the library keeps of one colour block of a file."""

    number: int
    thread: FileThread | None
    stops: int
    sums: BlockSums
    outline: list[float]


@dataclass(frozen=True)
class DesignDigest:
    """What the library keeps of a file: small, and all that a plan will ask for."""

    name: str
    sha256: str
    format: str
    size_bytes: int
    width_mm: float
    height_mm: float
    stitches: int
    trims: int
    stops: int
    warnings: tuple[str, ...]
    blocks: tuple[BlockDigest, ...]
    # One a warning: see planning.compute.stitches.warnings.
    warning_grades: tuple[str, ...] = ()


def digest_design_files(
    paths: Iterable[Path], *, processes: int, limits: ReadLimits = DEFAULT_LIMITS, trim_at_jumps: int = 3
) -> Iterator[tuple[Path, DesignDigest | UnreadableDesign]]:
    """Yield each path with its digest or the refusal, in the order in which they are done.

    All that is worked out of a file, its path and its sums as well, is worked out by the processes that read;
    whoever asks is free to keep what comes.
    """
    if not CAN_STAND:
        for path, read in read_design_files(paths, limits=limits, trim_at_jumps=trim_at_jumps):
            yield path, read if isinstance(read, UnreadableDesign) else digest_of(read)
        return
    yield from answers_for(
        paths,
        program=DIGESTING,
        processes=processes,
        limits=limits,
        order=lambda asked: digest_order(asked, limits=limits, trim_at_jumps=trim_at_jumps),
        told=lambda asked, answer: digest_from_data(digest_in(asked, answer, limits=limits)),
    )


def digest_of(read: ReadDesign) -> DesignDigest:
    """Return what the library keeps of a design just read."""
    walked = read.walked
    corner_mm = (walked.min_x_mm, walked.min_y_mm)
    return DesignDigest(
        name=read.name,
        sha256=read.sha256,
        format=read.format,
        size_bytes=read.size_bytes,
        width_mm=walked.width_mm,
        height_mm=walked.height_mm,
        stitches=walked.stitches,
        trims=walked.trims,
        stops=walked.stops,
        warnings=read.warnings,
        warning_grades=tuple(each.grade for each in read.graded_warnings),
        blocks=tuple(
            BlockDigest(
                number=path.number,
                thread=path.thread,
                stops=path.stops,
                sums=sums_of(path),
                outline=block_outline(path.points_mm, corner_mm=corner_mm),
            )
            for path in walked.blocks
        ),
    )


def sums_of(path: BlockPath) -> BlockSums:
    return block_sums(
        path.points_mm,
        path.run_starts,
        trims=path.trims,
        zero_length=path.zero_length,
        dragged_mm=path.jumped_mm,
    )


def digest_as_data(digest: DesignDigest) -> dict[str, Any]:
    """Return the digest in lists and dictionaries, as JSON has them."""
    return asdict(digest)


def digest_from_data(data: dict[str, Any]) -> DesignDigest:
    """Return the digest that ``digest_as_data`` told, after JSON.

    >>> digest = DesignDigest("badge", "ab", "DST", 1, 2.0, 3.0, 4, 5, 6, ("odd",), (), ("info",))
    >>> digest_from_data(digest_as_data(digest)) == digest
    True
    """
    blocks = [
        BlockDigest(
            number=block["number"],
            thread=FileThread(**block["thread"]) if block["thread"] else None,
            stops=block["stops"],
            sums=BlockSums(**block["sums"] | {"bobbin_path_mm": tuple(block["sums"]["bobbin_path_mm"])}),
            outline=block["outline"],
        )
        for block in data["blocks"]
    ]
    texts = {name: tuple(data[name]) for name in ("warnings", "warning_grades")}
    return DesignDigest(**data | texts | {"blocks": tuple(blocks)})

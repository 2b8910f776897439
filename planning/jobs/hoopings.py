"""The hoopings of a job whose pieces are hooped several at a time: who lies where, and one stitch file for each."""

import io
import re
import tempfile
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from inventory.kept_files import read_kept
from planning.compute.batch.carrying import Carried, carry
from planning.compute.batch.copies_compared import boxes_needed
from planning.compute.hooping.copies import CopyGrid, HoopField, copy_grid, fewer
from planning.compute.hooping.together import (
    CopyLaid,
    DesignPath,
    Points,
    copy_laid,
    laid_at,
    read_back,
    runs_of,
)
from planning.compute.stitches.placing import placed_size
from planning.compute.stitches.walk import Walked
from planning.jobs.asked import asked_of
from planning.library.designs import kept_file
from planning.models import Design, Job
from planning.plan.ask import terms_of
from planning.plan.asked import JobAsked
from planning.plan.hooping import Hooping, hoop_fields, hooping_of
from planning.stitch_files.reading import read_design_files
from planning.stitch_files.writing import CannotWrite, stitch_file_of_runs

# What is read back may differ by this share of a piece's stitches and length: formats keep tenths of mm.
READ_BACK_WITHIN = 0.005
# A block without a colour is written in black: a file needs one.
NO_COLOUR = "#000000"


@dataclass(frozen=True)
class HoopedPiece:
    """One piece of a hooping: its position in the run, what it is called, its name, and where it lies."""

    position: int
    called: str
    text: str
    at_mm: tuple[float, float]


@dataclass(frozen=True)
class HoopingLaid:
    """One hooping: its number from 1, the hoop, and its pieces in the order in which they are stitched."""

    number: int
    hoop: str
    pieces: tuple[HoopedPiece, ...]

    @property
    def file_stem(self) -> str:
        """How its file is called: the number first, so that files lie in their order."""
        texts = "-".join(re.sub(r"\W+", "", piece.text) for piece in self.pieces if piece.text)
        return f"{self.number:02d}-{texts}"[:60].rstrip("-")


@dataclass(frozen=True)
class _Laying:
    asked: JobAsked
    carried: Carried
    hooping: Hooping
    field: HoopField
    grid: CopyGrid
    box_middle_mm: tuple[float, float]


def hoopings_of(job: Job) -> list[HoopingLaid]:
    """Return the hoopings of ``job`` in order, tests first; pieces that replace spoiled ones are not foreseen.

    Raises WorkshopError where nothing holds them, or a piece takes more than one hooping.
    """
    laying = _laying(job)
    return [_hooping(job, laying, load) for load in range(len(_loads(laying)))]


def hooping_files(job: Job, *, extension: str) -> list[tuple[str, bytes]]:
    """Return one stitch file for each hooping of ``job``, by its file name, read back and found as it was laid.

    Raises WorkshopError, CannotWrite, and what reading a kept design raises.
    """
    laying = _laying(job)
    paths = _paths(laying, trim_at_jumps=laying.asked.machine.trim_at_jumps)
    found: dict[str, tuple[bytes, list[CopyLaid]]] = {}
    for load, positions in enumerate(_loads(laying)):
        stem = _hooping(job, laying, load).file_stem
        if f"{stem}.{extension}" in found:
            raise CannotWrite(_("Two hoopings would be called {name}.").format(name=stem))
        found[f"{stem}.{extension}"] = _file_of(laying, positions, paths, extension=extension)
    _prove(found, extension=extension, field=laying.field)
    return [(name, content) for name, (content, _laid) in found.items()]


def zipped(files: Sequence[tuple[str, bytes]]) -> bytes:
    """Return a zip archive of these files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files:
            archive.writestr(name, content)
    return out.getvalue()


def _laying(job: Job) -> _Laying:
    asked = asked_of(job)
    hooping = hooping_of(asked)
    if hooping.hoop is None or hooping.too_big:
        raise WorkshopError(
            hooping.too_big or _("No hoop of this machine is set up, so nothing can be laid in it.")
        )
    boxes = boxes_needed(asked.every_design)
    if len(boxes) != 1:
        raise WorkshopError(
            _(
                "Each piece of this job takes more than one hooping: only what is stitched in one can be put in a "
                "file."
            )
        )
    carried = carry(
        asked.designs, lettering=asked.lettering, to_stitch=asked.to_stitch, terms=terms_of(asked, hooping)
    )
    (field,) = [each for each in hoop_fields(asked) if each.name == hooping.hoop.name]
    grid = fewer(copy_grid(*boxes[0], field), hooping.copies)
    return _Laying(asked, carried, hooping, field, grid, _middle(asked))


def _middle(asked: JobAsked) -> tuple[float, float]:
    """Return the middle of what all designs and names of a piece take, from the middle of the piece."""
    edges = []
    for each in asked.every_design:
        width, height = placed_size(each.width_mm, each.height_mm, each.placement)
        x, y = each.placement.x_mm, each.placement.y_mm
        edges.append((x - width / 2, y - height / 2, x + width / 2, y + height / 2))
    left, top, right, bottom = zip(*edges, strict=True)
    return (min(left) + max(right)) / 2, (min(top) + max(bottom)) / 2


def _loads(laying: _Laying) -> list[range]:
    """Return the pieces (from 0) of each hooping, without those that may replace spoiled ones."""
    last = laying.asked.to_stitch.tests + laying.asked.to_stitch.ordered
    loads = [range(load.start, min(load.stop, last)) for load in laying.carried.loads]
    return [load for load in loads if load]


def _places_mm(laying: _Laying, count: int) -> list[tuple[float, float]]:
    """Return where so many pieces lie, row by row, from the middle of them all: a machine lays that in its middle."""
    centres = laying.grid.centres_mm[:count]
    across, along = zip(*centres, strict=True)
    x, y = (min(across) + max(across)) / 2, (min(along) + max(along)) / 2
    return [(right - x, below - y) for right, below in centres]


def _hooping(job: Job, laying: _Laying, load: int) -> HoopingLaid:
    tests = laying.asked.to_stitch.tests
    texts = [each.text for each in job.names.all()]
    hoop = laying.hooping.hoop
    positions = _loads(laying)[load]
    pieces = tuple(
        HoopedPiece(
            position=piece + 1,
            called=(
                _("test {number}").format(number=piece + 1)
                if piece < tests
                else _("piece {number}").format(number=piece + 1 - tests)
            ),
            text=(texts[max(0, piece - tests)] if texts else ""),
            at_mm=at,
        )
        for piece, at in zip(positions, _places_mm(laying, len(positions)), strict=True)
    )
    return HoopingLaid(load + 1, hoop.name if hoop else "", pieces)


def _paths(laying: _Laying, *, trim_at_jumps: int) -> dict[str, DesignPath]:
    """Return the runs of every design of a job, read from its kept file, by its SHA-256."""
    wanted = {each.sha256 for each in laying.carried.designs}
    designs = {design.sha256: design for design in Design.objects.filter(sha256__in=wanted)}
    found: dict[str, DesignPath] = {}
    with tempfile.TemporaryDirectory() as folder:
        files = {}
        for sha256, design in designs.items():
            path = Path(folder) / f"{sha256}.{design.format.lower()}"
            path.write_bytes(read_kept(kept_file(design)))
            files[path] = sha256
        for path, read in read_design_files(files, trim_at_jumps=trim_at_jumps):
            if isinstance(read, WorkshopError):
                raise read
            walked = read.walked
            found[files[path]] = DesignPath(
                blocks={block.number: runs_of(block.points_mm, block.run_starts) for block in walked.blocks},
                middle_mm=(walked.min_x_mm + walked.width_mm / 2, walked.min_y_mm + walked.height_mm / 2),
            )
    return found


def _file_of(
    laying: _Laying, positions: range, paths: Mapping[str, DesignPath], *, extension: str
) -> tuple[bytes, list[CopyLaid]]:
    """Return the file of a hooping, and each copy as it was laid in it."""
    carried = laying.carried
    blocks: list[list[Points]] = []
    colours: list[str] = []
    by_copy: list[list[Points]] = [[] for _ in positions]
    places_mm = _places_mm(laying, len(positions))
    # As many copies as the load stitches, each of its designs in the order of the plan.
    for place in _colour_by_colour(laying, positions):
        runs: list[Points] = []
        for copy, index in place:
            block = carried.blocks[index]
            design = carried.designs[block.design]
            path = paths[design.sha256]
            dx, dy = laying.box_middle_mm
            x, y = places_mm[copy]
            at = (x + dy, y - dx) if laying.grid.turned else (x - dx, y - dy)
            laid = [
                laid_at(
                    run,
                    middle_mm=path.middle_mm,
                    placement=design.placement,
                    at_mm=at,
                    turned=laying.grid.turned,
                )
                for run in path.blocks[block.block.number]
            ]
            runs += laid
            by_copy[copy] += laid
        blocks.append(runs)
        colours.append(carried.blocks[place[0][1]].block.hex or NO_COLOUR)
    content = stitch_file_of_runs(blocks, extension=extension, colours=colours)
    return content, [copy_laid(runs) for runs in by_copy]


def _colour_by_colour(laying: _Laying, positions: range) -> list[list[tuple[int, int]]]:
    """Return the blocks of a hooping in order, each as (copy, index of the block), one colour on all copies at once."""
    carried = laying.carried
    kinds = [carried.pieces[position] for position in positions]
    order: list[list[tuple[int, int]]] = []
    for designs in zip(*kinds, strict=True):
        own = [carried.blocks_of[design] for design in designs]
        for place in range(max(map(len, own))):
            by_colour: dict[object, list[tuple[int, int]]] = {}
            for copy, indices in enumerate(own):
                if place < len(indices):
                    colour = carried.blocks[indices[place]].block.hex or (designs[copy], place)
                    by_colour.setdefault(colour, []).append((copy, indices[place]))
            order += by_colour.values()
    return order


def _prove(
    files: Mapping[str, tuple[bytes, Sequence[CopyLaid]]], *, extension: str, field: HoopField
) -> None:
    """Raise CannotWrite unless every file, read as any other, has each piece as it was laid, within the field."""
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / name for name in files]
        for path in paths:
            path.write_bytes(files[path.name][0])
        for path, read in read_design_files(paths):
            if isinstance(read, WorkshopError):
                raise read
            _prove_read(read.walked, files[path.name][1], extension=extension, field=field)


def _prove_read(walked: Walked, laid: Sequence[CopyLaid], *, extension: str, field: HoopField) -> None:
    left, top, right, bottom = (
        pick(copy.edges_mm[side] for copy in laid) for side, pick in enumerate((min, min, max, max))
    )
    shift = (
        (left + right) / 2 - walked.min_x_mm - walked.width_mm / 2,
        (top + bottom) / 2 - walked.min_y_mm - walked.height_mm / 2,
    )
    runs = [run for block in walked.blocks for run in runs_of(block.points_mm, block.run_starts)]
    found, strays = read_back(laid, runs, shift_mm=shift)
    wrong = [
        number
        for number, (was, read) in enumerate(zip(laid, found, strict=True), 1)
        if abs(read.stitches - was.stitches) > READ_BACK_WITHIN * was.stitches
        or abs(read.drawn_mm - was.drawn_mm) > READ_BACK_WITHIN * was.drawn_mm
    ]
    if wrong or strays > READ_BACK_WITHIN * sum(each.stitches for each in laid):
        raise CannotWrite(
            _(
                "Read back, the {format} file differs from what was laid (piece {pieces}). Choose another format."
            ).format(format=extension.upper(), pieces=wrong or _("unknown"))
        )
    sides = np.array([right - left, bottom - top])
    if (sides > np.array([field.width_mm, field.height_mm]) + 0.5).any():
        size = f"{sides[0]:.0f} x {sides[1]:.0f} mm"
        raise CannotWrite(
            _("Laid together they take {size}, beyond {hoop}.").format(size=size, hoop=field.name)
        )

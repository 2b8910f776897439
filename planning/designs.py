"""Designs from stitch files: read, asked about, and kept."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from inventory.compute.colour import lab_from_hex
from planning.compute.asked import AskedBlock, AskedDesign
from planning.compute.sameness import block_outline
from planning.compute.thread_length import BlockSums, block_sums
from planning.compute.walk import BlockPath, FileThread
from planning.models import Block, Design
from planning.reading import ReadDesign
from planning.variants import join_variants


def asked_from_file(read: ReadDesign) -> AskedDesign:
    """Return what a plan needs of a design just read, without keeping anything."""
    return AskedDesign(
        name=read.name,
        sha256=read.sha256,
        format=read.format,
        width_mm=read.walked.width_mm,
        height_mm=read.walked.height_mm,
        stitches=read.walked.stitches,
        trims=read.walked.trims,
        stops=read.walked.stops,
        warnings=read.warnings,
        blocks=tuple(
            _asked_block(
                number=path.number,
                hex=path.thread.hex or "" if path.thread else "",
                name=_thread_name(path),
                sums=sums_of(path),
            )
            for path in read.walked.blocks
        ),
    )


def asked_from_record(design: Design) -> AskedDesign:
    """Return what a plan needs of a kept design, in the colours chosen for it; its file is not read again.

    A block for which the thread stays on asks for the thread of the block before: one threading, and a stop
    between them. It keeps its number, by which the machine and every list know it.
    """
    blocks: list[AskedBlock] = []
    stops = design.stops
    for block in design.blocks.all():
        if block.same_thread and blocks:
            before = blocks[-1]
            blocks.append(
                replace(before, number=block.number, sums=block.sums, stays_from=before.threaded_at)
            )
            stops += 1
        else:
            blocks.append(
                AskedBlock(
                    number=block.number,
                    hex=block.hex,
                    lab=block.lab,
                    name=block.name or block.code,
                    sums=block.sums,
                )
            )
    return AskedDesign(
        name=design.name,
        sha256=design.sha256,
        format=design.format,
        width_mm=design.width_mm,
        height_mm=design.height_mm,
        stitches=design.stitches,
        trims=design.trims,
        stops=stops,
        warnings=tuple(design.warnings),
        blocks=tuple(blocks),
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


def keep_design(read: ReadDesign, *, content: Path, trim_at_jumps: int, at: datetime) -> Design:
    """Return the design record for what was read; a content that is known already is not kept twice."""
    return keep_digest(digest_of(read), content=content, trim_at_jumps=trim_at_jumps, at=at)[0]


@transaction.atomic(savepoint=False)
def keep_digest(
    digest: DesignDigest, *, content: Path, trim_at_jumps: int, at: datetime
) -> tuple[Design, bool]:
    """Return the design record and whether it is new; one that is known stays as it is, with its colours.

    A new file whose drawing is known in another format becomes a variant of it.
    """
    outline = [block.outline for block in digest.blocks]
    design, is_new = Design.objects.get_or_create(
        sha256=digest.sha256,
        defaults={
            "name": digest.name,
            "format": digest.format,
            "size_bytes": digest.size_bytes,
            "width_mm": digest.width_mm,
            "height_mm": digest.height_mm,
            "stitches": digest.stitches,
            "trims": digest.trims,
            "stops": digest.stops,
            "trim_at_jumps": trim_at_jumps,
            "warnings": list(digest.warnings),
            "outline": outline,
            "added_at": at,
        },
    )
    if not is_new:
        if not design.outline:  # it was kept before outlines were taken
            design.outline = outline
            design.save(update_fields=["outline"])
        return design, False
    Block.objects.bulk_create(_block_record(design, block) for block in digest.blocks)
    name = stored_name(digest.sha256, digest.format)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(content.read_bytes()))
    join_variants(design)
    return design, True


def stored_name(sha256: str, format: str) -> str:
    """Return where the file of a design lies in the workshop's file store: by content, not by its name."""
    return f"designs/{sha256[:2]}/{sha256}.{format.lower()}"


def sums_of(path: BlockPath) -> BlockSums:
    return block_sums(
        path.points_mm,
        path.run_starts,
        trims=path.trims,
        zero_length=path.zero_length,
        dragged_mm=path.jumped_mm,
    )


def _asked_block(*, number: int, hex: str, name: str, sums: BlockSums) -> AskedBlock:
    return AskedBlock(number=number, hex=hex, lab=lab_from_hex(hex) if hex else None, name=name, sums=sums)


def _thread_name(path: BlockPath) -> str:
    if path.thread is None:
        return ""
    return path.thread.name or path.thread.code


def _block_record(design: Design, block: BlockDigest) -> Block:
    sums = block.sums
    hex, name, code = _file_colour(block.thread)
    return Block(
        design=design,
        number=block.number,
        hex=hex,
        name=name,
        code=code,
        file_hex=hex,
        file_name=name,
        file_code=code,
        stops=block.stops,
        drawn_mm=sums.drawn_mm,
        penetrations=sums.penetrations,
        back_draw_mm=sums.back_draw_mm,
        bobbin_path_mm=list(sums.bobbin_mm),
        runs=sums.runs,
        trims=sums.trims,
        zero_length=sums.zero_length,
        dragged_mm=sums.dragged_mm,
    )


def _file_colour(thread: FileThread | None) -> tuple[str, str, str]:
    return (thread.hex or "", thread.name[:120], thread.code[:40]) if thread else ("", "", "")


def designs_by_id(ids: Sequence[int]) -> list[Design]:
    """Return the kept designs with these ids, in that order, with their blocks."""
    found = Design.objects.prefetch_related("blocks").in_bulk(ids)
    return [found[each] for each in ids if each in found]

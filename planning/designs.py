"""Designs from stitch files: read, asked about, and kept."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from inventory.compute.colour import lab_from_hex
from planning.compute.batch import AskedBlock, AskedDesign
from planning.compute.thread_length import BlockSums, block_sums
from planning.compute.walk import BlockPath
from planning.models import Block, Design
from planning.reading import ReadDesign


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
    """Return what a plan needs of a kept design; its file is not read again."""
    return AskedDesign(
        name=design.name,
        sha256=design.sha256,
        format=design.format,
        width_mm=design.width_mm,
        height_mm=design.height_mm,
        stitches=design.stitches,
        trims=design.trims,
        stops=design.stops,
        warnings=tuple(design.warnings),
        blocks=tuple(
            _asked_block(number=block.number, hex=block.hex, name=block.name or block.code, sums=block.sums)
            for block in design.blocks.all()
        ),
    )


@transaction.atomic
def keep_design(read: ReadDesign, *, content: Path, trim_at_jumps: int, at: datetime) -> Design:
    """Return the design record for what was read; a content that is known already is not kept twice."""
    design, is_new = Design.objects.get_or_create(
        sha256=read.sha256,
        defaults={
            "name": read.name,
            "format": read.format,
            "size_bytes": read.size_bytes,
            "width_mm": read.walked.width_mm,
            "height_mm": read.walked.height_mm,
            "stitches": read.walked.stitches,
            "trims": read.walked.trims,
            "stops": read.walked.stops,
            "trim_at_jumps": trim_at_jumps,
            "warnings": list(read.warnings),
            "added_at": at,
        },
    )
    if not is_new:
        return design
    Block.objects.bulk_create(_block_record(design, path) for path in read.walked.blocks)
    name = stored_name(read.sha256, read.format)
    if not default_storage.exists(name):
        default_storage.save(name, ContentFile(content.read_bytes()))
    return design


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


def _block_record(design: Design, path: BlockPath) -> Block:
    sums = sums_of(path)
    return Block(
        design=design,
        number=path.number,
        hex=(path.thread.hex or "") if path.thread else "",
        name=path.thread.name[:120] if path.thread else "",
        code=path.thread.code[:40] if path.thread else "",
        stops=path.stops,
        drawn_mm=sums.drawn_mm,
        penetrations=sums.penetrations,
        back_draw_mm=sums.back_draw_mm,
        bobbin_path_mm=list(sums.bobbin_mm),
        runs=sums.runs,
        trims=sums.trims,
        zero_length=sums.zero_length,
        dragged_mm=sums.dragged_mm,
    )


def designs_by_id(ids: Sequence[int]) -> list[Design]:
    """Return the kept designs with these ids, in that order, with their blocks."""
    found = Design.objects.prefetch_related("blocks").in_bulk(ids)
    return [found[each] for each in ids if each in found]

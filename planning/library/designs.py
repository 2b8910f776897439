"""Designs from stitch files: read, asked about, and kept."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from django.db import IntegrityError

from inventory.acting import whole_act
from inventory.compute.colour.lab import lab_from_hex
from inventory.kept_files import KeptFile, keep_file, keep_if_gone
from planning.compute.batch.asked import AskedBlock, AskedDesign
from planning.compute.colour.sources import PALETTE, RGB
from planning.compute.stitches.applique import AskedApplique
from planning.compute.stitches.thread_length import BlockSums
from planning.compute.stitches.walk import BlockPath, FileThread
from planning.library.digests import BlockDigest, DesignDigest, digest_of, sums_of
from planning.library.variants import join_variants
from planning.models import Applique, Block, Design
from planning.stitch_files.reading import ReadDesign


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
        warning_grades=tuple(each.grade for each in read.graded_warnings),
        blocks=tuple(
            _asked_block(
                number=path.number,
                hex=path.thread.hex or "" if path.thread else "",
                name=_thread_name(path),
                source=_file_source(path.thread),
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
                    sigma=block.shade.sigma if block.shade and block.shade.lab else 0.0,
                    source=block.colour_source,
                    fibre=block.shade.range.fibre if block.shade else "",
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
        warning_grades=tuple(design.warning_grades),
        blocks=tuple(blocks),
        appliques=tuple(_asked_applique(each) for each in design.appliques.all()),
    )


def _asked_applique(applique: Applique) -> AskedApplique:
    product = applique.product
    return AskedApplique(
        id=applique.pk,
        name=applique.name,
        product_id=product.pk,
        product=str(product),
        has_grain=product.has_grain,
        width_mm=applique.width_mm,
        height_mm=applique.height_mm,
        allowance_mm=applique.allowance_mm,
        count=applique.count,
        stops=tuple((stop.role, stop.block, stop.part) for stop in applique.stops.all()),
    )


def keep_design(read: ReadDesign, *, content: Path, trim_at_jumps: int, at: datetime) -> Design:
    """Return the design record for what was read; a content that is known already is not kept twice."""
    return keep_digest(digest_of(read), content=content, trim_at_jumps=trim_at_jumps, at=at)[0]


def keep_digest(
    digest: DesignDigest, *, content: Path, trim_at_jumps: int, at: datetime
) -> tuple[Design, bool]:
    """Return the design record and whether it is new; one that is known stays as it is, with its colours.

    A new file whose drawing is known in another format becomes a variant of it.
    """
    return keep_digests([(digest, content)], trim_at_jumps=trim_at_jumps, at=at)[0]


def keep_digests(
    read: Sequence[tuple[DesignDigest, Path]], *, trim_at_jumps: int, at: datetime
) -> list[tuple[Design, bool]]:
    """Return for each digest and its file what ``keep_digest`` does, in a fraction of the time."""
    keep_contents(read)
    return keep_records(read, trim_at_jumps=trim_at_jumps, at=at)


def keep_contents(read: Sequence[tuple[DesignDigest, Path]]) -> None:
    """Put the files into the store, named by their content, before any record names them.

    For a store that lies far away that takes a while, in which nobody is to wait for a turn at the shelf. Known ones
    too: what lies there under the name may be missing or damaged, and this one is good.
    """
    wanted = {digest.sha256: (digest, content) for digest, content in read}
    formats = dict(Design.objects.filter(sha256__in=wanted).values_list("sha256", "format"))
    for sha256, (digest, content) in wanted.items():
        name = stored_name(sha256, formats.get(sha256, digest.format))
        keep_file(KeptFile(name, sha256, digest.name), content.read_bytes())


def keep_records(
    read: Sequence[tuple[DesignDigest, Path]], *, trim_at_jumps: int, at: datetime
) -> list[tuple[Design, bool]]:
    """Return the records for digests whose files ``keep_contents`` has put into the store."""
    try:
        return _keep_records(read, trim_at_jumps=trim_at_jumps, at=at)
    except IntegrityError:
        # Somebody else has kept one of them in the meantime: now it is known.
        return _keep_records(read, trim_at_jumps=trim_at_jumps, at=at)


@whole_act
def _keep_records(
    read: Sequence[tuple[DesignDigest, Path]], *, trim_at_jumps: int, at: datetime
) -> list[tuple[Design, bool]]:
    wanted = {digest.sha256: (digest, content) for digest, content in read}
    kept = Design.objects.in_bulk(wanted, field_name="sha256")
    for sha256, design in kept.items():
        _catch_up(design, wanted[sha256][0])
    new = {sha256: each for sha256, each in wanted.items() if sha256 not in kept}
    made = Design.objects.bulk_create(
        _design_record(digest, trim_at_jumps=trim_at_jumps, at=at) for digest, _ in new.values()
    )
    Block.objects.bulk_create(
        _block_record(design, block)
        for design, (digest, _) in zip(made, new.values(), strict=True)
        for block in digest.blocks
    )
    for design, (digest, _) in zip(made, new.values(), strict=True):
        join_variants(design)
        kept[digest.sha256] = design
    for sha256, (_, content) in wanted.items():
        # Whoever deletes a design may have taken the file away since.
        keep_if_gone(kept_file(kept[sha256]), content.read_bytes())
    # Of two files of one content, the first is new.
    return [(kept[digest.sha256], new.pop(digest.sha256, None) is not None) for digest, _ in read]


def _catch_up(design: Design, digest: DesignDigest) -> None:
    """Give a design that was kept before outlines were taken, or warnings graded, what it lacks."""
    missing = []
    if not design.outline:
        design.outline = [block.outline for block in digest.blocks]
        missing.append("outline")
    if len(design.warning_grades) != len(design.warnings):
        design.warnings, design.warning_grades = list(digest.warnings), list(digest.warning_grades)
        missing += ["warnings", "warning_grades"]
    if missing:
        design.save(update_fields=missing)


def _design_record(digest: DesignDigest, *, trim_at_jumps: int, at: datetime) -> Design:
    return Design(
        sha256=digest.sha256,
        name=digest.name,
        format=digest.format,
        size_bytes=digest.size_bytes,
        width_mm=digest.width_mm,
        height_mm=digest.height_mm,
        stitches=digest.stitches,
        trims=digest.trims,
        stops=digest.stops,
        trim_at_jumps=trim_at_jumps,
        warnings=list(digest.warnings),
        warning_grades=list(digest.warning_grades),
        outline=[block.outline for block in digest.blocks],
        added_at=at,
    )


def kept_file(design: Design) -> KeptFile:
    """Return where the design's stitch file lies in the store."""
    return KeptFile(stored_name(design.sha256, design.format), design.sha256, design.file_name)


def stored_name(sha256: str, format: str) -> str:
    """Return where the file of a design lies in the workshop's file store: by content, not by its name."""
    return f"designs/{sha256[:2]}/{sha256}.{format.lower()}"


def _asked_block(*, number: int, hex: str, name: str, sums: BlockSums, source: str) -> AskedBlock:
    lab = lab_from_hex(hex) if hex else None
    return AskedBlock(number=number, hex=hex, lab=lab, name=name, sums=sums, source=source)


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
        colour_source=_file_source(block.thread),
        file_source=_file_source(block.thread),
        stops=block.stops,
        drawn_mm=sums.drawn_mm,
        penetrations=sums.penetrations,
        back_draw_mm=sums.back_draw_mm,
        bobbin_path_mm=list(sums.bobbin_path_mm),
        runs=sums.runs,
        trims=sums.trims,
        zero_length=sums.zero_length,
        dragged_mm=sums.dragged_mm,
    )


def _file_source(thread: FileThread | None) -> str:
    """Return where a colour of a file comes from; nothing where the file gives none."""
    if thread is None or not thread.hex:
        return ""
    return PALETTE if thread.from_palette else RGB


def _file_colour(thread: FileThread | None) -> tuple[str, str, str]:
    return (thread.hex or "", thread.name[:120], thread.code[:40]) if thread else ("", "", "")


def designs_by_id(ids: Sequence[int]) -> list[Design]:
    """Return the kept designs with these ids, in that order, with their blocks."""
    found = Design.objects.prefetch_related(
        "blocks__shade__range", "appliques__product", "appliques__stops"
    ).in_bulk(ids)
    return [found[each] for each in ids if each in found]

"""Pictures of kept designs: made once, stored by what they show, and said in words."""

import hashlib
import io
import logging
import re
import threading
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args
from urllib.parse import urlencode

import numpy as np
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from PIL import Image

from inventory.compute.lengths import format_length
from inventory.compute.spoken import figure
from inventory.compute.units import METRIC, Units
from inventory.kept_files import KeptFile, copy_of, store
from planning.compute.batch.plan import BatchPlan
from planning.compute.picture import (
    LEAST_WIDTH_PX,
    MOST_WIDTH_PX,
    DrawnBlock,
    NoSuchPicture,
    Rgb,
    density,
    draw,
    strip,
)
from planning.library.designs import stored_name
from planning.models import Design
from planning.stitch_files.reading import read_design_file

logger = logging.getLogger(__name__)

Kind = Literal["picture", "density", "strip"]
# Raised whenever the same wish would give another picture; the stored ones of before are then no longer asked for.
DRAWING_VERSION, POINTS_VERSION = 2, 2
# Few widths, so that few pictures are stored; a page scales down from the next larger one.
WIDTHS_PX = (64, 128, 256, 384, 640, 1000, 1400, MOST_WIDTH_PX)
FABRIC = "#dedacd"
HEX_COLOUR = re.compile(r"#[0-9a-f]{6}")
FOLDER = "pictures"
PNG_END = b"IEND\xaeB`\x82"
MOST_BYTES = 400 * 1024 * 1024
MOST_NAMED = 12
MOST_PLAN_PICTURES = 12
# Dark and light in turn, so that blocks that are stitched one after the other tell themselves apart.
_TONES = ("#3f3f3f", "#b4b4b4", "#6a6a6a", "#d6d6d6", "#545454", "#999999")

# One picture at a time in this process: the work and the memory of many requests are those of one.
_drawing = threading.Lock()
_drawn_since = MOST_BYTES  # bytes since the last look at how many there are; the first one looks


@dataclass(frozen=True)
class BlockColour:
    """The colour that a block is drawn in and its name; ``hex`` is empty where there is none."""

    hex: str
    name: str = ""


@dataclass(frozen=True)
class Picture:
    """What a picture shows: everything that its bytes depend on."""

    kind: Kind
    sha256: str
    format: str
    trim_at_jumps: int
    colours: tuple[str, ...]
    fabric: str
    width_px: int

    @property
    def key(self) -> str:
        """The picture's name in the file store; another picture has another."""
        parts = (
            DRAWING_VERSION,
            self.kind,
            self.sha256,
            self.trim_at_jumps,
            ",".join(self.colours),
            self.fabric,
            self.width_px,
        )
        return hashlib.sha256("|".join(map(str, parts)).encode()).hexdigest()

    @property
    def stored_name(self) -> str:
        return f"{FOLDER}/{self.key[:2]}/{self.key}.png"


@dataclass(frozen=True)
class PlanPicture:
    """A design of a plan in the colours that it asks for and in those of the threads chosen."""

    design: Design
    asked: tuple[BlockColour, ...]
    chosen: tuple[BlockColour, ...]

    # False where ``asked`` are greys that only tell the blocks apart.
    asks_for_colours: bool = True

    @property
    def asks(self) -> bool:
        return self.asks_for_colours and any(each.hex for each in self.asked)

    @property
    def unchosen(self) -> int:
        """How many blocks have no thread yet."""
        return sum(not each.hex for each in self.chosen)


def picture_of(
    design: Design,
    *,
    kind: Kind = "picture",
    colours: Sequence[str] | None = None,
    fabric: str = FABRIC,
    width_px: int = 640,
) -> Picture:
    """Return the picture of a design at the next of the stored widths.

    ``colours`` is one ``#rrggbb`` a block, or empty for none; None means those that the design asks for. A map
    of density has no colours and no fabric, a strip no fabric. Raises NoSuchPicture.
    """
    if kind not in get_args(Kind):
        raise NoSuchPicture(
            _("There is no picture of the kind {kind}, only {kinds}.").format(
                kind=kind, kinds=", ".join(get_args(Kind))
            )
        )
    if not LEAST_WIDTH_PX <= width_px <= MOST_WIDTH_PX:
        raise NoSuchPicture(
            _("A picture is {least} to {most} pixels wide, not {width}. Ask for such a width.").format(
                least=LEAST_WIDTH_PX, most=figure(MOST_WIDTH_PX), width=figure(width_px)
            )
        )
    wanted: tuple[str, ...] = ()
    if kind != "density":
        own = [each.hex for each in colours_of(design)]
        wanted = tuple(colour.lower() for colour in (own if colours is None else colours))
        if len(wanted) != len(own):
            raise NoSuchPicture(
                _(
                    "{name} has {own} colour blocks, but {wanted} colours were given. Give one for each."
                ).format(name=design.name, own=len(own), wanted=len(wanted))
            )
    fabric = fabric.lower() if kind == "picture" else ""
    for colour in (*wanted, fabric):
        if colour and not HEX_COLOUR.fullmatch(colour):
            raise NoSuchPicture(
                _("{colour} is not a colour of the form #rrggbb. Give such a colour.").format(
                    colour=colour[:20]
                )
            )
    return Picture(
        kind=kind,
        sha256=design.sha256,
        format=design.format,
        trim_at_jumps=design.trim_at_jumps,
        colours=wanted,
        fabric=fabric,
        width_px=next(width for width in WIDTHS_PX if width >= width_px),
    )


def picture_address(design: Design, picture: Picture) -> str:
    """Return the one address of a picture of ``design``.

    It holds all that the picture shows, and its last part changes with the way of drawing, so that what it
    answers never changes.
    """
    fields: dict[str, str | int] = {"width": picture.width_px}
    if picture.colours:
        fields["colours"] = "-".join(colour[1:] or "none" for colour in picture.colours)
    if picture.fabric:
        fields["fabric"] = picture.fabric[1:]
    fields["v"] = picture.key[:16]
    return f"{reverse(f'design_{picture.kind}', args=[design.pk])}?{urlencode(fields)}"


def colours_of(design: Design) -> tuple[BlockColour, ...]:
    """Return the colour that each block asks for; where a thread stays on, that of the block before."""
    colours: list[BlockColour] = []
    for block in design.blocks.all():
        stays = block.same_thread and colours
        colours.append(colours[-1] if stays else BlockColour(block.hex, block.name))
    return tuple(colours)


def picture_bytes(picture: Picture, *, name: str) -> bytes:
    """Return the picture as PNG, from the store or, the first time, drawn and stored.

    ``name`` is what a person calls the design. Raises FileNotKept and DamagedFile where its stitch file is not in
    the store as it was, and NoSuchPicture where the file and the library disagree about its blocks.
    """
    stored = _stored(picture.stored_name)
    if stored is not None:
        return stored
    with _drawing:
        stored = _stored(picture.stored_name)  # somebody else may have drawn it in the meantime
        if stored is None:
            stored = _drawn(picture, name=name)
            store().put(picture.stored_name, stored, sync=False)
            _make_room(len(stored))
    return stored


def _stored(name: str) -> bytes | None:
    """Return what is stored, if anything is, and mark it as used: what nobody looks at makes room first."""
    try:
        content = store().read(name)
    except FileNotFoundError:
        return None
    store().mark_used(name)
    # A picture that a full disk or a fall of power cut short is drawn anew.
    return content if not name.endswith(".png") or content.endswith(PNG_END) else None


def _drawn(picture: Picture, *, name: str) -> bytes:
    points = _points(picture, name=name)
    colours = picture.colours or ("",) * len(points)
    if len(points) != len(colours):
        raise NoSuchPicture(
            _(
                "The stitch file of {name} has {points} colour blocks, the library {colours}. Import the file"
                " again."
            ).format(name=name, points=len(points), colours=len(colours))
        )
    blocks = [
        DrawnBlock(points_mm, run_starts, rgb_of(colour) if colour else None)
        for (points_mm, run_starts, _), colour in zip(points, colours, strict=True)
    ]
    file = io.BytesIO()
    if picture.kind == "picture":
        drawn = draw(blocks, width_px=picture.width_px, fabric_rgb=rgb_of(picture.fabric))
        # A quarter of the bytes of full colour, and no difference that is seen in thread.
        image = Image.fromarray(drawn).quantize(
            256, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE
        )
    elif picture.kind == "density":
        image = Image.fromarray(density(blocks, width_px=picture.width_px).picture)
    else:
        image = Image.fromarray(strip(blocks, width_px=picture.width_px).picture)
    image.save(file, "PNG", compress_level=6)
    return file.getvalue()


def rgb_of(colour: str) -> Rgb:
    """Return the three values of a colour.

    >>> rgb_of("#1c2b4d")
    (28, 43, 77)
    """
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


Points = list[tuple[np.ndarray, np.ndarray, np.ndarray]]


def points_of(design: Design) -> Points:
    """Return penetrations in mm, run starts and stops of each block of a kept design, read once and then kept.

    Raises FileNotKept and DamagedFile where its stitch file is not in the store as it was.
    """
    return _points(picture_of(design, kind="density"), name=design.name)


def _points(picture: Picture, *, name: str) -> Points:
    """Return penetrations in mm, run starts, and the penetrations after stops, of each block.

    Reading a stitch file takes a process of its own; what came of it is kept beside the pictures, small, so that
    other colours and sizes are drawn from there.
    """
    kept = (
        f"{FOLDER}/points/{picture.sha256[:2]}/{picture.sha256}-{picture.trim_at_jumps}-{POINTS_VERSION}.npz"
    )
    content = _stored(kept)
    if content is not None:
        try:
            return _unpacked(content)
        except (ValueError, KeyError, EOFError, OSError, zipfile.BadZipFile) as problem:
            logger.warning("%s is damaged and is made anew: %s", kept, problem)
    called = f"{name}.{picture.format.lower()}"
    with copy_of(KeptFile(stored_name(picture.sha256, picture.format), picture.sha256, called)) as path:
        read = read_design_file(path, trim_at_jumps=picture.trim_at_jumps, name=called)
    points = [(block.points_mm, block.run_starts, block.stop_places) for block in read.walked.blocks]
    store().put(kept, _packed(points), sync=False)
    return points


def _packed(points: Points) -> bytes:
    file = io.BytesIO()
    np.savez_compressed(
        file,
        tenths=np.rint(np.concatenate([each for each, _, _ in points]) * 10).astype(np.int32),
        run_starts=np.concatenate([starts for _, starts, _ in points]).astype(np.int32),
        stops=np.concatenate([stops for _, _, stops in points]).astype(np.int32),
        sizes=np.array([tuple(map(len, each)) for each in points], dtype=np.int32),
    )
    return file.getvalue()


def _unpacked(content: bytes) -> Points:
    with np.load(io.BytesIO(content), allow_pickle=False) as packed:
        points_mm, run_starts, sizes = packed["tenths"] / 10.0, packed["run_starts"], packed["sizes"]
        stops = packed["stops"]
    if points_mm.ndim != 2 or sizes.sum(axis=0).tolist() != [len(points_mm), len(run_starts), len(stops)]:
        raise ValueError("the parts do not fit together")
    ends = np.cumsum(sizes, axis=0)[:-1]
    return list(
        zip(
            np.split(points_mm, ends[:, 0]),
            np.split(run_starts.astype(np.intp), ends[:, 1]),
            np.split(stops.astype(np.intp), ends[:, 2]),
            strict=True,
        )
    )


def _make_room(more_bytes: int) -> None:
    """Delete the pictures that were not looked at for the longest time, until the others fit.

    How many there are is looked at again once this process has drawn a hundredth of what may be there: a list of a
    bucket takes a while.
    """
    global _drawn_since
    _drawn_since += more_bytes
    if _drawn_since < MOST_BYTES // 100:
        return
    _drawn_since = 0
    pictures = [each for each in store().under(f"{FOLDER}/") if each.name.endswith(".png")]
    total = sum(each.bytes for each in pictures)
    for each in sorted(pictures, key=lambda each: each.changed_at):
        if total <= MOST_BYTES:
            break
        store().delete(each.name)
        total -= each.bytes


def picture_in_words(
    design: Design, *, colours: Sequence[BlockColour] | None = None, units: Units = METRIC
) -> str:
    """Return what a picture of the design shows: size, stitches, and each colour once, in sewing order."""
    shown = colours_of(design) if colours is None else colours
    named = list(dict.fromkeys(each.name or each.hex for each in shown if each.hex))
    bare = sum(not each.hex for each in shown)
    about = {
        "name": design.name,
        "size": _size_in_words(design, units),
        "stitches": _("{n} stitches").format(n=figure(design.stitches)),
        "colours": ngettext("{n} colour", "{n} colours", len(named)).format(n=figure(len(named))),
        "bare": ngettext(
            "{n} block without a colour, drawn in striped grey",
            "{n} blocks without a colour, drawn in striped grey",
            bare,
        ).format(n=figure(bare)),
        "names": ", ".join(named[:MOST_NAMED]),
    }
    if (more := len(named) - MOST_NAMED) > 0:
        about["names"] = _("{names} and {more} more").format(names=about["names"], more=more)
    if named and bare:
        return _("{name}: {size}, {stitches} in {colours}: {names}, and {bare}.").format(**about)
    if named:
        return _("{name}: {size}, {stitches} in {colours}: {names}.").format(**about)
    if bare:
        return _("{name}: {size}, {stitches} in {bare}.").format(**about)
    return _("{name}: {size}, {stitches}.").format(**about)


def strip_in_words(design: Design) -> str:
    """Return what the strip shows: every block in sewing order with its colour and its stitches."""
    blocks = zip(design.blocks.all(), colours_of(design), strict=True)
    listed = [
        ngettext(
            "block {number}, {colour}, {n} stitch", "block {number}, {colour}, {n} stitches", count
        ).format(number=block.number, colour=colour.name or colour.hex or _("no colour"), n=figure(count))
        for block, colour in blocks
        for count in [block.penetrations]
    ]
    text = _("{name} stitch by stitch in sewing order: {blocks}.")
    if (more := len(listed) - MOST_NAMED) > 0:
        text = ngettext(
            "{name} stitch by stitch in sewing order: {blocks}; and {more} more block.",
            "{name} stitch by stitch in sewing order: {blocks}; and {more} more blocks.",
            more,
        )
    return text.format(name=design.name, blocks="; ".join(listed[:MOST_NAMED]), more=more)


def _size_in_words(design: Design, units: Units) -> str:
    if units.size == "in":
        width, height = (format_length(mm, unit="in") for mm in (design.width_mm, design.height_mm))
        return f"{width.partition(' ')[0]} × {height}"
    return f"{design.width_mm:.0f} × {design.height_mm:.0f} mm"


def plan_pictures(plan: BatchPlan) -> list[PlanPicture]:
    """Return the kept designs of a plan, each once, in the colours asked for and in those chosen."""
    chosen = {
        block: BlockColour(shade.hex, shade.name or shade.code)
        for thread in plan.threads
        if (shade := thread.choice.shade)
        for block in thread.blocks
    }
    wanted = {design.sha256 for design in plan.designs}
    kept = {
        design.sha256: design
        for design in Design.objects.filter(sha256__in=wanted).prefetch_related("blocks")
    }
    pictures = [
        PlanPicture(design, colours_of(design), _chosen_colours(design, number, chosen))
        for number, asked in enumerate(plan.designs)
        if (design := kept.get(asked.sha256))
    ]
    pictures = [
        each if each.asks else replace(each, asked=_greys(each.asked), asks_for_colours=False)
        for each in pictures
    ]
    once = {(each.design.pk, each.chosen): each for each in pictures}
    return list(once.values())[:MOST_PLAN_PICTURES]


def _greys(blocks: Sequence[BlockColour]) -> tuple[BlockColour, ...]:
    """Return a neutral tone for each block of a design without colours, neighbours far from each other."""
    return tuple(
        BlockColour(_TONES[at % len(_TONES)], _("grey for block {number}").format(number=at + 1))
        for at in range(len(blocks))
    )


def _chosen_colours(
    design: Design, number: int, chosen: Mapping[tuple[int, int], BlockColour]
) -> tuple[BlockColour, ...]:
    colours: list[BlockColour] = []
    for block in design.blocks.all():
        stays = block.same_thread and colours
        colours.append(colours[-1] if stays else chosen.get((number, block.number), BlockColour("")))
    return tuple(colours)

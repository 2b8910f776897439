"""Designs drawn as thread."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from planning.compute.picture import light
from planning.compute.picture.covering import Outlines, outlines_of, topmost
from planning.compute.picture.frame import DrawnBlock, Frame, Rgb, View, frame_of
from planning.compute.picture.strands import Floats, Strands, strands_of

Picture = NDArray[np.uint8]

# A strand is at least so many samples wide, or its light and shade would be lost.
WANTED_SAMPLES, LEAST_SAMPLES, MOST_SAMPLES = 2.2, 2, 8
LEAST_RADIUS = 0.6
BAND, CHUNK = 80_000, 1 << 14
# From so many pixels on, the two plies of a thread are seen.
PLIES_FROM_PX = 4.5
UNEVEN = 0.035  # from stitch to stitch, as one standard deviation
# A block without a colour is grey thread with stripes; neighbours differ in grey and in the way the stripes run.
NO_COLOUR = ((124, 128, 130), (62, 66, 70), (212, 213, 208), (92, 96, 100), (166, 169, 168))
STRIPES = ((1, 1), (1, -1), (1, 0), (0, 1))
STRIPE_MM, STRIPE = 1.8, np.float32(0.55)
WEAVE_MM, WEAVE = 0.55, 0.05


def draw(
    blocks: Sequence[DrawnBlock],
    *,
    width_px: int,
    fabric_rgb: Rgb,
    thread_mm: float = 0.4,
    view: View | None = None,
) -> Picture:
    """Return the picture of the design as thread on cloth: an array (height, width, 3) of sRGB.

    ``thread_mm`` is the thread's width: about 0.4 mm where the label says 40 (common practice, no source).
    ``view`` is a window in mm (left, top, right, bottom); None shows all. Blocks are sewn in order, so later
    ones cover earlier ones. Raises NothingToDraw and NoSuchPicture.

    >>> line = DrawnBlock(np.array([[0.0, 0.0], [4.0, 0.0]]), np.array([0]), (200, 30, 40))
    >>> draw([line], width_px=60, fabric_rgb=(240, 238, 230)).shape
    (20, 60, 3)
    """
    frame = frame_of(blocks, width_px=width_px, view=view)
    samples = _samples(frame, thread_mm)
    strands = strands_of(blocks, frame=frame, samples=samples, thread_mm=thread_mm, least_radius=LEAST_RADIUS)
    scene = _scene(blocks, strands, frame=frame, samples=samples, fabric_rgb=fabric_rgb)
    picture = np.empty((frame.height_px, frame.width_px, 3), dtype=np.uint8)
    per_mm = frame.per_mm * samples
    step = max(2 * BAND // (frame.width_px * samples), 3 * light.halo_of(per_mm)) // samples + 1
    for first in range(0, frame.height_px, step):
        last = min(first + step, frame.height_px)
        picture[first:last] = _band(scene, first=first, last=last)
    return picture


def _samples(frame: Frame, thread_mm: float) -> int:
    """Return how many places a pixel has each way; an even number, as every other place is a sample."""
    wanted = 2 * int(np.ceil(WANTED_SAMPLES / (2 * frame.per_mm * thread_mm)))
    return min(max(wanted, LEAST_SAMPLES), MOST_SAMPLES)


@dataclass(frozen=True, eq=False)
class _Scene:
    """All that a band needs; arrays over strands have an unused row 0, which stands for bare cloth."""

    strands: Strands
    outlines: Outlines
    place_along: Floats
    place_across: Floats
    half_length: Floats
    turning: Floats
    along_x: Floats
    along_y: Floats
    colour: tuple[Floats, ...]
    layer: NDArray[np.uint16]
    stripes: NDArray[np.uint8]
    fabric: Floats
    weave: Floats
    frame: Frame
    samples: int
    twisted: bool


def _scene(
    blocks: Sequence[DrawnBlock], strands: Strands, *, frame: Frame, samples: int, fabric_rgb: Rgb
) -> _Scene:
    bare = [number for number, block in enumerate(blocks) if block.rgb is None]
    colours = np.array([block.rgb or (0, 0, 0) for block in blocks], dtype=np.float64)
    stripes = np.zeros(len(blocks), dtype=np.uint8)
    for nth, number in enumerate(bare):
        colours[number] = NO_COLOUR[nth % len(NO_COLOUR)]
        stripes[number] = nth % len(STRIPES) + 1
    # The same stitch is equally uneven in every picture of the design.
    uneven = 1 + UNEVEN * np.random.default_rng(40).standard_normal(strands.count)
    colour = to_linear(colours)[strands.block] * uneven[:, None]

    return _Scene(
        strands=strands,
        outlines=outlines_of(strands),
        place_along=_with_cloth(strands.mid_x * strands.along_x + strands.mid_y * strands.along_y),
        place_across=_with_cloth(strands.mid_y * strands.along_x - strands.mid_x * strands.along_y),
        half_length=_with_cloth(strands.half_length),
        turning=_with_cloth(strands.turning),
        along_x=_with_cloth(strands.along_x),
        along_y=_with_cloth(strands.along_y),
        colour=tuple(_with_cloth(channel.astype(np.float32)) for channel in colour.T),
        layer=_with_cloth(strands.block + np.uint16(1)),
        stripes=_with_cloth(stripes[strands.block]),
        fabric=to_linear(np.array(fabric_rgb, dtype=np.float64)).astype(np.float32),
        weave=_weave(frame, samples=samples),
        frame=frame,
        samples=samples,
        twisted=2 * strands.radius >= PLIES_FROM_PX * samples,
    )


def _with_cloth(values: NDArray[Any]) -> NDArray[Any]:
    """Return the values of all strands after a zero for the bare cloth."""
    return np.concatenate((np.zeros(1, values.dtype), values))


def _weave(frame: Frame, *, samples: int) -> Floats:
    """Return the light on two threads of plain cloth, over and under by turns, across the picture's width."""
    width = frame.width_px * samples
    period = round(WEAVE_MM * frame.per_mm)
    if period < 3:
        return np.ones((1, width // 2), dtype=np.float32)
    period *= samples
    bulge = 1 - WEAVE * np.square(np.linspace(-1, 1, period)) * 2 + WEAVE / 2
    over = np.tile(bulge[:, None], (1, period))
    pair = np.block([[over, over.T], [over.T, over]])
    places = np.tile(pair, (1, width // (2 * period) + 1))[:, :width].astype(np.float32)
    weave = places[:, 0::2].copy()
    weave[1::2] = places[1::2, 1::2]
    return weave


def _band(scene: _Scene, *, first: int, last: int) -> Picture:
    """Return the pixel rows from ``first`` up to ``last``."""
    samples, width = scene.samples, scene.frame.width_px * scene.samples
    columns = width // 2
    per_mm = scene.frame.per_mm * samples
    halo = light.halo_of(per_mm)
    first_row, rows = first * samples - halo, (last - first) * samples + 2 * halo
    top = topmost(scene.strands, scene.outlines, first_row=first_row, rows=rows, width=width)
    left = light.shadows(scene.layer.take(top).reshape(rows, columns), halo=halo, per_mm=per_mm)
    top = top[halo * columns : (rows - halo) * columns]
    cloth = left * scene.weave.take(np.arange(first * samples, last * samples) % len(scene.weave), axis=0)

    sewn = np.flatnonzero(top)
    strand = top[sewn].astype(np.intp)
    linear = np.empty((3, top.size), dtype=np.float32)
    for channel in range(3):
        np.multiply(cloth.ravel(), scene.fabric[channel], out=linear[channel])
    left = left.ravel()
    row_starts = np.searchsorted(sewn, np.arange(0, top.size + 1, columns))
    row_y = np.arange(first * samples, last * samples)
    # Where the samples of a row begin, as in the covering; less what stands before the row in ``sewn``.
    row_x = (row_y & 1) + 0.5 - 2 * np.arange(0, top.size, columns)
    for a in range(0, sewn.size, CHUNK):
        b = min(a + CHUNK, sewn.size)
        inside = np.diff(np.clip(row_starts, a, b)).astype(np.intp)
        y = np.repeat(row_y.astype(np.float32) + np.float32(0.5), inside)
        x = (2 * sewn[a:b] + np.repeat(row_x, inside)).astype(np.float32)
        bright, glint = _lit(scene, strand[a:b], x=x, y=y)
        remaining = left[sewn[a:b]]
        bright *= remaining
        glint *= remaining
        for channel in range(3):
            linear[channel][sewn[a:b]] = scene.colour[channel].take(strand[a:b]) * bright + glint
    return _pixels(linear.reshape(3, -1, columns), samples=samples)


def _lit(scene: _Scene, strand: NDArray[np.intp], *, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Return the light on the samples at ``x``, ``y``, each on its strand."""
    along_x, along_y = scene.along_x.take(strand), scene.along_y.take(strand)
    along = x * along_x + y * along_y - scene.place_along.take(strand)
    across = (y * along_x - x * along_y - scene.place_across.take(strand)) * np.float32(
        1 / scene.strands.radius
    )
    per_mm = scene.frame.per_mm * scene.samples
    bright, glint = light.on_thread(
        along,
        across,
        half_length=scene.half_length.take(strand),
        turning=scene.turning.take(strand),
        along_x=along_x,
        along_y=along_y,
        per_mm=per_mm,
        twisted=scene.twisted,
    )
    if scene.stripes.any():
        way = scene.stripes.take(strand)
        for number, (right, down) in enumerate(STRIPES, start=1):
            here = np.flatnonzero(way == number)
            place = (right * x[here] + down * y[here]) / np.float32(
                max(STRIPE_MM * per_mm, 5 * scene.samples)
            )
            bright[here] *= np.where(place - np.floor(place) < 0.5, STRIPE, np.float32(1))
    return bright, glint


def _pixels(linear: Floats, *, samples: int) -> Picture:
    """Return the pixels whose samples are ``linear`` light, shaped (3, rows, samples across)."""
    rows = linear[:, 0::samples].copy()
    for each in range(1, samples):
        rows += linear[:, each::samples]
    across = samples // 2
    pixels = rows[:, :, 0::across].copy()
    for each in range(1, across):
        pixels += rows[:, :, each::across]
    level = np.minimum(pixels * np.float32((ENCODED.size - 1) / (samples * across)), ENCODED.size - 1)
    return np.moveaxis(ENCODED.take(level.astype(np.intp)), 0, 2)


def to_linear(srgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return linear light from 0 to 1 of sRGB values from 0 to 255 (IEC 61966-2-1).

    >>> to_linear(np.array([0.0, 10.0, 255.0])).round(6).tolist()
    [0.0, 0.003035, 1.0]
    """
    share = srgb / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


def _encoded(steps: int = 4096) -> NDArray[np.uint8]:
    light = np.linspace(0, 1, steps)
    share = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.rint(255 * share).astype(np.uint8)


ENCODED = _encoded()

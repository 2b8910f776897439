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
BAND, CHUNK = 160_000, 1 << 14
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
    halo = light.halo_of(scene.per_mm)
    step = max(BAND // scene.columns, 2 * halo) // samples + 1
    # Each band's shadows come from rows above and below it as well, which its neighbours have too.
    top = scene.top(first_row=-halo, rows=2 * halo)
    for first in range(0, frame.height_px, step):
        last = min(first + step, frame.height_px)
        below = scene.top(first_row=first * samples + halo, rows=(last - first) * samples)
        top = np.concatenate((top[-2 * halo :], below))
        left = light.shadows(scene.layer.take(top), halo=halo, per_mm=scene.per_mm)
        picture[first:last] = _band(scene, top[halo : len(top) - halo], left, first_row=first * samples)
    return picture


def _samples(frame: Frame, thread_mm: float) -> int:
    """Return how many places a pixel has each way; an even number, as every other place is a sample."""
    wanted = 2 * int(np.ceil(WANTED_SAMPLES / (2 * frame.per_mm * thread_mm)))
    return min(max(wanted, LEAST_SAMPLES), MOST_SAMPLES)


@dataclass(frozen=True, eq=False)
class _Scene:
    """All that a band needs; in arrays over strands row 0 is the bare cloth."""

    strands: Strands
    outlines: Outlines
    along_x: Floats
    along_y: Floats
    place_along: Floats
    along_share: Floats
    place_across: Floats
    light_row: Floats
    colour: tuple[Floats, ...]
    layer: NDArray[np.uint16]
    stripes: NDArray[np.uint8]
    weave: Floats
    samples: int
    per_mm: float
    columns: int
    twisted: bool

    def top(self, *, first_row: int, rows: int) -> NDArray[np.intp]:
        """Return the number of the strand on top in so many rows of samples."""
        found = topmost(self.strands, self.outlines, first_row=first_row, rows=rows, width=2 * self.columns)
        return found.reshape(rows, self.columns).astype(np.intp)


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
    colour = (to_linear(colours) + light.GLINT)[strands.block] * uneven[:, None]

    light_row, back = light.rows_of(strands, per_mm=frame.per_mm * samples)
    along_x, along_y = strands.along_x * back, strands.along_y * back
    cloth = to_linear(np.array(fabric_rgb, dtype=np.float64))
    return _Scene(
        strands=strands,
        outlines=outlines_of(strands),
        along_x=_after(0, along_x),
        along_y=_after(0, along_y),
        place_along=_after(0, strands.mid_x * along_x + strands.mid_y * along_y),
        along_share=_after(0, np.float32(light.ALONG // 2) / strands.half_length),
        place_across=_after(0, strands.mid_y * along_x - strands.mid_x * along_y),
        light_row=_after(light.CLOTH_ROW, light_row),
        colour=tuple(_after(own, channel) for own, channel in zip(cloth, colour.T, strict=True)),
        layer=_after(0, strands.block + np.uint16(1)),
        stripes=_after(0, stripes[strands.block]),
        weave=_weave(frame, samples=samples),
        samples=samples,
        per_mm=frame.per_mm * samples,
        columns=frame.width_px * samples // 2,
        twisted=2 * strands.radius >= PLIES_FROM_PX * samples,
    )


def _after(cloth: float, values: NDArray[Any]) -> NDArray[Any]:
    """Return the values of all strands after that of the bare cloth."""
    kind = np.float32 if values.dtype == np.float64 else values.dtype
    return np.concatenate((np.array([cloth], dtype=kind), values.astype(kind, copy=False)))


def _weave(frame: Frame, *, samples: int) -> Floats:
    """Return the light on two threads of plain cloth, over and under by turns, across the picture's width.

    It has no rows where they are too fine to be seen.
    """
    width = frame.width_px * samples
    period = round(WEAVE_MM * frame.per_mm)
    if period < 3:
        return np.ones((0, width // 2), dtype=np.float32)
    period *= samples
    bulge = 1 - WEAVE * np.square(np.linspace(-1, 1, period)) * 2 + WEAVE / 2
    over = np.tile(bulge[:, None], (1, period))
    pair = np.block([[over, over.T], [over.T, over]])
    places = np.tile(pair, (1, width // (2 * period) + 1))[:, :width].astype(np.float32)
    weave = places[:, 0::2].copy()
    weave[1::2] = places[1::2, 1::2]
    return weave


def _band(scene: _Scene, top: NDArray[np.intp], left: Floats, *, first_row: int) -> Picture:
    """Return the pixels of the samples ``top``, where so much light is ``left``, from ``first_row`` on."""
    rows, columns = top.shape
    if scene.weave.size:
        weave = scene.weave.take(np.arange(first_row, first_row + rows) % len(scene.weave), axis=0)
        np.multiply(left, weave, out=left, where=top == 0)
    y = np.arange(first_row, first_row + rows, dtype=np.float32)[:, None]
    linear = np.empty((3, rows // scene.samples, columns), dtype=np.float32)
    step = max(CHUNK // columns // scene.samples, 1) * scene.samples
    # Where the samples of an even and of an odd row lie.
    x = np.arange(0.5, 2 * columns, 2, dtype=np.float32) + np.array([[0], [1]], dtype=np.float32)
    x = np.tile(x, (step // 2, 1))
    for a in range(0, rows, step):
        b = min(a + step, rows)
        strand = top[a:b]
        bright = _lit(scene, strand, x=x[: b - a], y=y[a:b] + np.float32(0.5))
        bright *= left[a:b]
        for channel, colour in zip(linear, scene.colour, strict=True):
            sample = colour.take(strand)
            sample *= bright
            np.add.reduce(
                sample.reshape(-1, scene.samples, columns),
                1,
                out=channel[a // scene.samples : b // scene.samples],
            )
    return _pixels(linear, samples=scene.samples)


def _lit(scene: _Scene, strand: NDArray[np.intp], *, x: Floats, y: Floats) -> Floats:
    """Return how bright the samples at ``x``, ``y`` are, each on its strand."""
    along_x, along_y = scene.along_x.take(strand), scene.along_y.take(strand)
    along = x * along_x
    along += y * along_y
    along -= scene.place_along.take(strand)
    across = np.multiply(y, along_x, out=along_x)
    across -= np.multiply(x, along_y, out=along_y)
    across -= scene.place_across.take(strand)
    across *= np.float32(1 / scene.strands.radius)

    place = along * scene.along_share.take(strand)
    place += light.ALONG // 2
    np.clip(place, 0, light.ALONG - 1, out=place)
    np.rint(place, out=place)
    place *= light.ACROSS
    place += scene.light_row.take(strand)
    place += across * np.float32(light.ACROSS / 2)
    place += np.float32(light.ACROSS / 2)
    bright = light.brightness().take(place.astype(np.intp))
    if scene.twisted:
        bright *= np.where(strand, light.twist(along, across, per_mm=scene.per_mm), np.float32(1))
    if scene.stripes.any():
        way = scene.stripes.take(strand)
        for number, (right, down) in enumerate(STRIPES, start=1):
            period = np.float32(max(STRIPE_MM * scene.per_mm, 5 * scene.samples))
            striped = (right * x + down * y) / period
            striped -= np.floor(striped)
            bright[(way == number) & (striped < 0.5)] *= STRIPE
    return bright


def _pixels(rows: Floats, *, samples: int) -> Picture:
    """Return the pixels of which ``rows`` is the light summed up, shaped (3, height, samples across)."""
    across = samples // 2
    pixels = rows[:, :, 0::across]
    for each in range(1, across):
        pixels = pixels + rows[:, :, each::across]
    level = np.minimum(pixels * np.float32((ENCODED.size - 1) / (samples * across)), ENCODED.size - 1)
    picture = np.empty((*level.shape[1:], 3), dtype=np.uint8)
    for channel in range(3):
        picture[:, :, channel] = ENCODED.take(level[channel].astype(np.intp))
    return picture


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

"""How light falls on thread: from the upper left, on strands that bend, and into the gaps between them.

A strand is a bundle of fibres. It shines where its run is square to the direction half-way between light and
eye, so that the bright band moves over a satin column as the column turns. The strengths are chosen by eye.
"""

import numpy as np
from numpy.typing import NDArray

from planning.compute.picture.strands import Floats

LIGHT = np.array([-0.42, -0.58, 0.0])
LIGHT[2] = np.sqrt(1 - (LIGHT**2).sum())
LIGHT_X, LIGHT_Y, LIGHT_Z = (np.float32(part) for part in LIGHT)
_EYE = np.array([0.0, 0.0, 1.0])
_HALF_WAY = (LIGHT + _EYE) / np.linalg.norm(LIGHT + _EYE)
# Half-way and light point the same way over the cloth; so much of the light's share is the half-way's.
HALF_SHARE = np.float32(_HALF_WAY[0] / LIGHT[0])
HALF_Z = np.float32(_HALF_WAY[2])

SLOPE = np.float32(0.8)  # of a satin strand where it leaves the cloth
ROUND = np.float32(0.7)  # of a strand across, at its edge
AMBIENT, DIFFUSE = np.float32(0.32), np.float32(0.78)
SHEEN, GLINT = np.float32(0.55), np.float32(0.03)  # in the thread's own colour, and in white
DIP_MM, DIP = 0.35, np.float32(0.38)
TWIST_MM, TWIST = 1.1, np.float32(0.10)

# The shadow of what lies higher: distance in mm away from the light, and how much it takes, of 255.
CAST = ((0.12, 62), (0.3, 46), (0.5, 30), (0.7, 16))
CONTACT_MM, CONTACT = 0.12, ((-1, 0, 24), (0, -1, 24), (1, 0, 20), (0, 1, 20))
FARTHEST_MM = 0.7


def on_thread(
    along: Floats,
    across: Floats,
    *,
    half_length: Floats,
    turning: Floats,
    along_x: Floats,
    along_y: Floats,
    per_mm: float,
    twisted: bool,
) -> tuple[Floats, Floats]:
    """Return how bright each sample of thread is: the factor on its own colour, and the white glint on top.

    ``along`` is the place from the strand's middle in samples, ``across`` that from its centre line in radii;
    ``per_mm`` is samples a mm.
    """
    place = np.clip(along / half_length, -1, 1)
    # Satin bends over its whole length; a row that goes straight on lies flat and dips at its ends.
    fourth = np.square(np.square(place))
    slope = (turning + (1 - turning) * fourth) * place * SLOPE
    steepness = 1 + np.square(slope)
    across_squared = np.minimum(np.square(across), 1)

    to_light = along_x * LIGHT_X + along_y * LIGHT_Y
    square = np.square(to_light * HALF_SHARE + slope * HALF_Z) / steepness
    shine = np.square(1 - square)
    for _ in range(3):
        shine = np.square(shine)
    shine *= 1 - np.float32(0.7) * across_squared

    sideways = along_x * LIGHT_Y - along_y * LIGHT_X
    facing = slope * to_light + across * sideways * ROUND + LIGHT_Z
    facing /= np.sqrt(steepness + ROUND * ROUND * across_squared)
    bright = AMBIENT + DIFFUSE * np.maximum(facing, 0)
    bright += SHEEN * shine
    bright *= 1 - np.float32(0.22) * across_squared

    dip = 1 - np.clip((half_length - np.abs(along)) * np.float32(1 / (DIP_MM * per_mm)), 0, 1)
    depth = 1 - DIP * np.square(dip)
    if twisted:
        turn = along * np.float32(1 / (TWIST_MM * per_mm)) + across * np.float32(0.3)
        depth *= 1 - TWIST * np.square(2 * (turn - np.floor(turn)) - 1)
    return bright * depth, GLINT * shine * depth


def shadows(layer: NDArray[np.uint16], *, halo: int, per_mm: float) -> Floats:
    """Return how much light is left at every sample below what was sewn later, from 0 to 1.

    ``layer`` is the number of the block on top at each sample, the rows from an even one on; it has ``halo``
    more rows above and below than are answered for.
    """
    rows, columns = layer.shape[0] - 2 * halo, layer.shape[1]
    wide = np.pad(layer, ((0, 0), (halo, halo)), mode="edge")
    taken = np.zeros((rows, columns), dtype=np.uint8)
    for x, y, weight in _moves(per_mm):
        for odd in (0, 1):
            own = layer[halo + odd : halo + rows : 2]
            # Rows of the other kind lie one place to the right or left.
            left = halo + (odd - (odd + y) % 2 - x) // 2
            above = wide[halo + odd - y : halo + rows - y : 2, left : left + columns] > own
            taken[odd::2] += above.view(np.uint8) * np.uint8(weight)
    return 1 - taken.astype(np.float32) * np.float32(0.75 / 255)


def _moves(per_mm: float) -> list[tuple[int, int, int]]:
    """Return where a shadow may come from, in places of the chessboard (x + y is even), and what it takes."""
    away = -LIGHT[:2] / np.linalg.norm(LIGHT[:2])
    moves = []
    for distance, weight in CAST:
        x, y = (distance * per_mm * away).tolist()
        down = round(y)
        moves.append((down + 2 * round((x - down) / 2), down, weight))
    contact = 2 * max(1, round(CONTACT_MM * per_mm / 2))
    return moves + [(x * contact, y * contact, weight) for x, y, weight in CONTACT]


def halo_of(per_mm: float) -> int:
    """Return how many rows beyond a band its shadows come from: an even number.

    >>> halo_of(8.0)
    8
    """
    return 2 * max(1, int(np.ceil(FARTHEST_MM * per_mm / 2))) + 2

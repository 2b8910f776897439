"""How light falls on thread: from the upper left, on strands that bend, and into the gaps between them.

A strand is a bundle of fibres. It shines where its run is square to the direction half-way between light and
eye, so that the bright band moves over a satin column as the column turns. The strengths are chosen by eye.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from planning.compute.picture.strands import Floats, Strands

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
SHEEN = np.float32(0.55)
# Added to every colour as linear light: black thread shines as well.
GLINT = 0.006
DIP_MM, DIP = 0.35, np.float32(0.38)
TWIST_MM, TWIST = 1.1, np.float32(0.10)

# The shadow of what lies higher: distance in mm away from the light, and how much it takes, of 255.
CAST = ((0.12, 62), (0.3, 46), (0.5, 30), (0.7, 16))
CONTACT_MM, CONTACT = 0.12, ((-1, 0, 24), (0, -1, 24), (1, 0, 20), (0, 1, 20))
FARTHEST_MM = 0.7


# What light makes of a strand is worked out once for so many lengths, ways that it may run over half a turn,
# degrees of turning back, and places along and across it; a sample looks up the nearest.
LENGTHS, WAYS, TURNINGS, ALONG, ACROSS = 8, 48, 5, 41, 9
SHORTEST_MM, LONGEST_MM = 0.1, 8.0
PLACES = ALONG * ACROSS
# Before all strands comes what is not thread: cloth, as bright as it is.
CLOTH_ROW = 0


@cache
def brightness() -> Floats:
    """Return by what thread's own colour is multiplied, flat: over lengths, ways, turnings, along and across.

    Before these come PLACES of cloth, after them PLACES that are never meant.
    """
    turn = np.arange(WAYS, dtype=np.float32)[:, None, None, None] * np.float32(np.pi / WAYS)
    turning = np.linspace(0, 1, TURNINGS, dtype=np.float32)[:, None, None]
    place = np.linspace(-1, 1, ALONG, dtype=np.float32)
    across = (np.arange(ACROSS, dtype=np.float32) + np.float32(0.5)) * np.float32(2 / ACROSS) - 1
    bright = on_thread(place[:, None], across, turning=turning, along_x=np.cos(turn), along_y=np.sin(turn))
    half_mm = np.geomspace(SHORTEST_MM, LONGEST_MM, LENGTHS, dtype=np.float32)[:, None]
    dip = 1 - np.clip((1 - np.abs(place)) * half_mm / np.float32(DIP_MM), 0, 1)
    depth = (1 - DIP * np.square(dip))[:, None, None, :, None]
    cloth, spare = np.ones(PLACES, dtype=np.float32), np.zeros(PLACES, dtype=np.float32)
    return np.concatenate((cloth, (bright * depth).ravel(), spare))


def rows_of(strands: Strands, *, per_mm: float) -> tuple[Floats, Floats]:
    """Return for each strand where its places begin in ``brightness``, and whether they run against it: 1 or −1.

    A strand looks the same from both ends. ``per_mm`` is samples a mm.
    """
    turn = np.arctan2(strands.along_y, strands.along_x)
    way = np.rint(turn * np.float32(WAYS / np.pi)).astype(np.intp)
    turning = np.rint(strands.turning * (TURNINGS - 1)).astype(np.intp)
    share = np.log(strands.half_length / np.float32(SHORTEST_MM * per_mm)) / np.log(LONGEST_MM / SHORTEST_MM)
    length = np.clip(np.rint(share * (LENGTHS - 1)), 0, LENGTHS - 1).astype(np.intp)
    back = np.where((way >= 0) & (way < WAYS), np.float32(1), np.float32(-1))
    row = 1 + (length * WAYS + way % WAYS) * TURNINGS + turning
    return (row * PLACES).astype(np.float32), back


def on_thread(place: Floats, across: Floats, *, turning: Floats, along_x: Floats, along_y: Floats) -> Floats:
    """Return how bright thread is that does not dip.

    ``place`` is along the strand from −1 to 1, ``across`` from its centre line in radii.
    """
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
    shine = shine * (1 - np.float32(0.7) * across_squared)

    sideways = along_x * LIGHT_Y - along_y * LIGHT_X
    facing = slope * to_light + across * sideways * ROUND + LIGHT_Z
    facing = facing / np.sqrt(steepness + ROUND * ROUND * across_squared)
    bright: Floats = AMBIENT + DIFFUSE * np.maximum(facing, 0) + SHEEN * shine
    return bright * (1 - np.float32(0.22) * across_squared)


def twist(along: Floats, across: Floats, *, per_mm: float) -> Floats:
    """Return how much light the furrow between two plies leaves, ``along`` in samples and ``across`` in radii."""
    turn = along * np.float32(1 / (TWIST_MM * per_mm)) + across * np.float32(0.3)
    return 1 - TWIST * np.square(2 * (turn - np.floor(turn)) - 1)


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

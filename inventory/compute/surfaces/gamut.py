"""What dyed thread can be: colours of a screen brought onto the gamut of real surface colours.

Pointer's table (1980) ends at L* 15 and 90. No dyed thread is darker than its darkest level; but white thread is
lighter than its lightest, so from there straight lines close the gamut to white (ours, not Pointer's).
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from inventory.compute.surfaces.pointer_1980 import GREATEST_CHROMA, LIGHTNESSES

Floats = npt.NDArray[np.float64]

DARKEST_L, LIGHTEST_PRINTED_L, WHITE_L = float(LIGHTNESSES[0]), float(LIGHTNESSES[-1]), 100.0
_L_STEP, _HUE_STEP_DEG = 1.0, 2.5
_PRINTED_L_STEP, _PRINTED_HUE_STEP_DEG = 5.0, 10.0
_AT_ONCE = 1_024  # as many rows as a processor's cache holds with all their levels
_WIDEST_CHROMA = 200.0

# CIE 15: white points of the 2° observer; Bradford's cone responses.
_WHITE_D65, _WHITE_C = np.array([0.95047, 1.0, 1.08883]), np.array([0.98074, 1.0, 1.18232])
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_BEND = 6 / 29


def onto_surface_gamut(labs: npt.ArrayLike) -> Floats:
    """Return the surface colours nearest to ``labs``, (n, 3), of the same hue, all under D65; those inside stay.

    Hue is that of CIE L*a*b*, nearness is CIEDE2000: hue-preserving minimum ΔE, one of the two reference methods of
    CIE 156:2004 for bringing colours of one gamut into another.

    >>> onto_surface_gamut([(53.24, 80.09, 67.2), (50.0, 10.0, 10.0), (0.0, 0.0, 0.0)]).round(0).tolist()
    [[53.0, 71.0, 60.0], [50.0, 10.0, 10.0], [15.0, 0.0, 0.0]]
    """
    wished = np.asarray(labs, dtype=np.float64).reshape(-1, 3)
    brought = wished.copy()
    outside = np.flatnonzero(~in_surface_gamut(wished))
    for at in range(0, outside.size, _AT_ONCE):
        rows = outside[at : at + _AT_ONCE]
        brought[rows] = _nearest_of_same_hue(wished[rows])
    return brought


def in_surface_gamut(labs: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Return which of ``labs``, (n, 3), under D65, are colours of real surfaces.

    >>> in_surface_gamut([(50.0, 10.0, 10.0), (53.24, 80.09, 67.2)]).tolist()
    [True, False]
    """
    L, a, b = np.asarray(labs, dtype=np.float64).reshape(-1, 3).T
    chroma = np.hypot(a, b)
    # Rounding must not push out what was just brought in.
    return (chroma <= greatest_chroma(L, _hue_deg(a, b)) + 1e-9) & (L >= DARKEST_L) & (L <= WHITE_L)


def greatest_chroma(L: npt.ArrayLike, hue_deg: npt.ArrayLike) -> Floats:
    """Return the greatest chroma of a surface at each lightness and hue under D65, of one shape.

    >>> round(float(greatest_chroma(50.0, 40.0))), float(greatest_chroma(100.0, 0.0))
    (96, 0.0)
    """
    level = (np.clip(L, DARKEST_L, WHITE_L) - DARKEST_L) / _L_STEP
    low = np.minimum(level.astype(np.intp), len(_levels()) - 2)
    part = level - low
    turn = np.asarray(hue_deg, dtype=np.float64) / _HUE_STEP_DEG
    left = turn.astype(np.intp)
    share = turn - left
    table = _under_d65()
    across = [table[row, left] * (1 - share) + table[row, left + 1] * share for row in (low, low + 1)]
    return np.asarray(across[0] * (1 - part) + across[1] * part)


def _nearest_of_same_hue(wished: Floats) -> Floats:
    """Return for each wish the colour inside, of its hue, with the least CIEDE2000.

    At equal hue the difference has no hue term, and at one lightness it grows as chroma falls away from that
    wished for. So only lightness is searched: all levels, and finer and finer about the best.
    """
    L, a, b = wished.T
    chroma, hue_deg = np.hypot(a, b), _hue_deg(a, b)
    stretch = _Stretch(chroma, hue_deg)
    levels = np.broadcast_to(_levels(), (len(wished), len(_levels())))
    edge = _edges(hue_deg)
    best = _least(stretch, L, chroma, levels, edge)
    rows = np.arange(len(wished))
    found = levels[rows, best]
    for width in (_L_STEP, _L_STEP / 10, _L_STEP / 100):
        levels = np.clip(found[:, None] + np.linspace(-width, width, 21), DARKEST_L, WHITE_L)
        low = np.minimum(((levels - DARKEST_L) / _L_STEP).astype(np.intp), edge.shape[1] - 2)
        part = (levels - DARKEST_L) / _L_STEP - low
        near = edge[rows[:, None], low] * (1 - part) + edge[rows[:, None], low + 1] * part
        found = levels[rows, _least(stretch, L, chroma, levels, near)]
    low = np.minimum(((found - DARKEST_L) / _L_STEP).astype(np.intp), edge.shape[1] - 2)
    part = (found - DARKEST_L) / _L_STEP - low
    kept = np.minimum(chroma, edge[rows, low] * (1 - part) + edge[rows, low + 1] * part)
    # The wish's own direction, so that the hue is kept to the last digit.
    share = np.divide(kept, chroma, out=np.zeros_like(kept), where=chroma > 0)
    return np.column_stack([found, a * share, b * share])


class _Stretch:
    """How CIEDE2000 stretches a* of colours of one hue: the more, the weaker they are."""

    def __init__(self, chroma: Floats, hue_deg: Floats) -> None:
        self.chroma = chroma[:, None]
        cosine = np.cos(np.radians(hue_deg))[:, None]
        self.along_a, self.along_b = cosine**2, 1 - cosine**2

    def of(self, chroma: Floats) -> Floats:
        mean = (self.chroma + chroma) / 2
        seventh = mean * mean * mean
        seventh *= seventh * mean
        G = 1.5 - 0.5 * np.sqrt(seventh / (seventh + 25.0**7))
        return np.sqrt(self.along_a * G * G + self.along_b)


def _least(
    stretch: _Stretch, L: Floats, chroma: Floats, levels: Floats, edge: Floats
) -> npt.NDArray[np.intp]:
    """Return for each row the level at which the colour inside is nearest."""
    inside = np.minimum(stretch.chroma, edge)
    scale = stretch.of(inside)
    delta_C = scale * (stretch.chroma - inside) / (1 + 0.0225 * scale * (stretch.chroma + inside))
    from_grey = ((L[:, None] + levels) / 2 - 50) ** 2
    delta_L = (levels - L[:, None]) / (1 + 0.015 * from_grey / np.sqrt(20 + from_grey))
    return np.asarray((delta_C * delta_C + delta_L * delta_L).argmin(axis=1))


def _edges(hue_deg: Floats) -> Floats:
    """Return the greatest chroma at every level, (n, levels), of each hue."""
    turn = hue_deg / _HUE_STEP_DEG
    left = turn.astype(np.intp)
    share = (turn - left)[:, None]
    table = _under_d65().T
    return table[left] * (1 - share) + table[left + 1] * share


def _hue_deg(a: Floats, b: Floats) -> Floats:
    hue = np.degrees(np.arctan2(b, a)) % 360
    return np.where(hue >= 360, 0.0, hue)  # what lies below zero by less than rounding


@lru_cache(maxsize=1)
def _levels() -> Floats:
    return np.arange(DARKEST_L, WHITE_L + _L_STEP / 2, _L_STEP)


@lru_cache(maxsize=1)
def _under_d65() -> Floats:
    """Return the greatest chroma by level and hue under D65; the first hue stands again after the last.

    Pointer's figures are for illuminant C. Each colour under D65 is adapted to C (Bradford) and held against them;
    the greatest that passes is found by halving.
    """
    levels = _levels()
    L, hue = np.meshgrid(
        levels[levels <= LIGHTEST_PRINTED_L], np.arange(0, 360, _HUE_STEP_DEG), indexing="ij"
    )
    cosine, sine = np.cos(np.radians(hue)), np.sin(np.radians(hue))
    low, high = np.zeros_like(L), np.full_like(L, _WIDEST_CHROMA)
    for _ in range(30):
        middle = (low + high) / 2
        passes = _passes_under_c(np.stack([L, middle * cosine, middle * sine], axis=-1))
        low, high = np.where(passes, middle, low), np.where(passes, high, middle)
    to_white = (WHITE_L - levels[levels > LIGHTEST_PRINTED_L]) / (WHITE_L - LIGHTEST_PRINTED_L)
    table = np.vstack([low, to_white[:, None] * low[-1]])
    return np.column_stack([table, table[:, 0]])


def _passes_under_c(labs: Floats) -> npt.NDArray[np.bool_]:
    """Return which colours under D65 lie within Pointer's table once they are adapted to illuminant C."""
    L, a, b = np.moveaxis(_adapted_to_c(labs), -1, 0)
    printed = np.array(GREATEST_CHROMA, dtype=np.float64)
    printed = np.column_stack([printed, printed[:, 0]])
    level = (np.clip(L, DARKEST_L, LIGHTEST_PRINTED_L) - DARKEST_L) / _PRINTED_L_STEP
    low = np.minimum(level.astype(np.intp), len(LIGHTNESSES) - 2)
    turn = _hue_deg(a, b) / _PRINTED_HUE_STEP_DEG
    left = turn.astype(np.intp)
    part, share = level - low, turn - left
    lower = printed[low, left] * (1 - share) + printed[low, left + 1] * share
    upper = printed[low + 1, left] * (1 - share) + printed[low + 1, left + 1] * share
    return np.asarray(np.hypot(a, b) <= lower * (1 - part) + upper * part + 1e-9)


def from_c_to_d65(labs: Floats) -> Floats:
    """Return colours under D65 that look as the light of ``labs``, (n, 3), does where illuminant C is the white.

    ``labs`` are reckoned against the white of D65, as screen numbers are.

    >>> (from_c_to_d65(np.array([[55.8, 3.2, -3.4]])).round(0) + 0).tolist()
    [[56.0, 0.0, 0.0]]
    """
    return _labs(_adapted(_xyz(labs, _WHITE_D65), _WHITE_C, _WHITE_D65), _WHITE_D65)


def _adapted_to_c(labs: Floats) -> Floats:
    """Return colours under illuminant C that look as ``labs``, (..., 3), do under D65."""
    return _labs(_adapted(_xyz(labs, _WHITE_D65), _WHITE_D65, _WHITE_C), _WHITE_C)


def _adapted(xyz: Floats, white: Floats, other: Floats) -> Floats:
    gain = (_BRADFORD @ other) / (_BRADFORD @ white)
    return np.asarray(xyz @ (np.linalg.inv(_BRADFORD) @ np.diag(gain) @ _BRADFORD).T)


def _xyz(labs: Floats, white: Floats) -> Floats:
    middle = (labs[..., 0] + 16) / 116
    f = np.stack([middle + labs[..., 1] / 500, middle, middle - labs[..., 2] / 200], axis=-1)
    return np.asarray(np.where(f > _BEND, f**3, 3 * _BEND**2 * (f - 4 / 29)) * white)


def _labs(xyz: Floats, white: Floats) -> Floats:
    share = xyz / white
    f = np.where(share > _BEND**3, np.cbrt(share), share / (3 * _BEND**2) + 4 / 29)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1
    )

"""What is left of a piece of stabilizer round the design once it is stitched: its ring."""

from math import floor

Size = tuple[int, int]


def strips_in_ring(piece_mm: Size, stitched_mm: tuple[float, float], strip_mm: Size) -> int:
    """Return how many strips of a set size come out of what is left round a design in the middle of its piece.

    The ring is taken apart into two bands across the whole piece and two beside the design, or the other way
    round; each gives what fits in rows, upright or turned. Stitches lie within ``stitched_mm``.

    >>> strips_in_ring((190, 240), (90, 70), (60, 180))
    2
    >>> strips_in_ring((190, 240), (180, 230), (60, 180))
    0
    """
    width, height = piece_mm
    beside = max(0, floor((width - stitched_mm[0]) / 2))
    above = max(0, floor((height - stitched_mm[1]) / 2))
    inner_width, inner_height = max(0, width - 2 * beside), max(0, height - 2 * above)
    across = 2 * _rows((width, above), strip_mm) + 2 * _rows((beside, inner_height), strip_mm)
    along = 2 * _rows((beside, height), strip_mm) + 2 * _rows((inner_width, above), strip_mm)
    return max(across, along)


def _rows(band_mm: Size, strip_mm: Size) -> int:
    upright = (band_mm[0] // strip_mm[0]) * (band_mm[1] // strip_mm[1])
    turned = (band_mm[0] // strip_mm[1]) * (band_mm[1] // strip_mm[0])
    return max(upright, turned)

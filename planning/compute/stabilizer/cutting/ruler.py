"""Marks on a ruler: where to cut so that no piece comes out too small."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil

from inventory.compute.spoken import figure

# International inch, exact by agreement since 1959.
MM_IN_INCH = Fraction(254, 10)
# From the coarsest a tape has to the finest.
PARTS_OF_INCH = (8, 16, 32)


@dataclass(frozen=True)
class Marks:
    """Where cuts come, counted from the first edge: ``at`` in the unit, ``end_mm`` the last of them in whole mm."""

    unit: str
    at: tuple[Fraction, ...]
    end_mm: int

    @property
    def words(self) -> tuple[str, ...]:
        return tuple(_words(mark, self.unit) for mark in self.at)


def ruler_marks(sizes_mm: Sequence[int], *, room_mm: int, unit: str, kerf_mm: int = 0) -> Marks:
    """Return the marks at which pieces of these sizes end, one after another.

    In centimetres each mark is exact. In inches a mark is the next eighth up, so that every piece is its size or a
    little more; where that runs past ``room_mm`` sixteenths and thirty-seconds are tried, and if they do too, the
    marks are in millimetres.

    >>> ruler_marks([190, 190], room_mm=1000, unit="in").words
    ('7 1/2 in', '15 in')
    >>> ruler_marks([250, 250], room_mm=500, unit="in").words
    ('250 mm', '500 mm')
    >>> ruler_marks([240, 240], room_mm=500, unit="cm").words
    ('24.0 cm', '48.0 cm')
    """
    if unit == "in":
        for parts in PARTS_OF_INCH:
            step = MM_IN_INCH / parts
            marks = [step * each for each in _on_grid(sizes_mm, step, kerf_mm)]
            if not marks or marks[-1] <= room_mm:
                inches = tuple(mark / MM_IN_INCH for mark in marks)
                return Marks("in", inches, ceil(marks[-1]) if marks else 0)
        unit = "mm"
    exact = _on_grid(sizes_mm, Fraction(1), kerf_mm)
    scale = 10 if unit == "cm" else 1
    return Marks(unit, tuple(Fraction(mark, scale) for mark in exact), exact[-1] if exact else 0)


def _on_grid(sizes_mm: Sequence[int], step: Fraction, kerf_mm: int) -> list[int]:
    marks = []
    end = 0
    for number, size in enumerate(sizes_mm):
        end = ceil((end * step + size + (kerf_mm if number else 0)) / step)
        marks.append(end)
    return marks


def _words(mark: Fraction, unit: str) -> str:
    if unit == "cm":
        return f"{figure(float(mark), 1)} cm"
    if unit == "mm":
        return f"{int(mark)} mm"
    whole, part = divmod(mark, 1)
    words = [str(int(whole))] if whole or not part else []
    return " ".join([*words, *([f"{part.numerator}/{part.denominator}"] if part else []), "in"])

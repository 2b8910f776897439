"""Which units a person reads and types in, and quantities in sentences in the units of whoever reads them.

Whoever answers a person says once in which units (``read_in``), as their language is said once; sentences that are
made far from any page ask for ``reader()``. What programs read stays metric, and so does what is kept.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from inventory.compute.density import grams_per_m2_from_oz_per_yd2
from inventory.compute.lengths import format_length, format_weight
from inventory.compute.spoken import as_written_here, figure, plainly

MM_PER_INCH = 25.4
G_PER_OUNCE = 28.349523125
G_M2_PER_OZ_YD2 = grams_per_m2_from_oz_per_yd2(1)


@dataclass(frozen=True)
class Units:
    """The units of one person: thread ``length``, spool ``weight`` and cloth ``size``.

    >>> IMPERIAL.length
    'yd'
    """

    length: str = "m"
    weight: str = "g"
    size: str = "cm"

    @property
    def across(self) -> str:
        """The unit of what is measured across a spool or a bobbin, and of small distances."""
        return "in" if self.size == "in" else "mm"

    @property
    def area_weight(self) -> str:
        """The unit of the weight of cloth and stabilizer."""
        return "oz/yd²" if self.weight == "oz" else "g/m²"


METRIC = Units()
IMPERIAL = Units(length="yd", weight="oz", size="in")

_asked: ContextVar[Callable[[], Units]] = ContextVar("units", default=lambda: METRIC)


def reader() -> Units:
    """Return the units of whoever reads what is said now: metric where nobody said otherwise."""
    units = _asked.get()()
    return Units(units.length, units.weight, units.size)


@contextmanager
def read_in(units: Units | Callable[[], Units]) -> Iterator[None]:
    """Have everything that is said meanwhile said in ``units``, which may be found out only when they are asked for.

    >>> with read_in(IMPERIAL):
    ...     told_sides(127, 254)
    '5 × 10 in'
    """
    token = _asked.set(units if callable(units) else lambda: units)
    try:
        yield
    finally:
        _asked.reset(token)


def told_sides(*sides_mm: float) -> str:
    """Return small distances, or the sides of a piece, in mm or in inches, with their unit.

    >>> told_sides(300, 200.5), told_sides(0.4)
    ('300 × 200.5 mm', '0.4 mm')
    """
    unit = reader().across
    return f"{' × '.join(side_number(side) for side in sides_mm)} {unit}"


def side_number(mm: float) -> str:
    """Return a small distance in mm or in inches, without its unit and in no more figures than it needs."""
    if reader().across == "mm":
        return plainly(mm) if abs(mm) < 1e6 else figure(mm, grouped=False)
    inches = mm / MM_PER_INCH
    places = 2 if abs(inches) >= 1 else 3
    return _in_few_figures(inches, places)


def told_thread(mm: float, *, places: int = 1) -> str:
    """Return a length of thread in m or yards, with its unit.

    >>> told_thread(312_040), told_thread(1_000_000, places=0)
    ('312.0 m', '1000 m')
    """
    return format_length(mm, unit=reader().length, places=places)


def told_length_plainly(mm: float) -> str:
    """Return what a spool, a bobbin or a roll holds in m or yards, in no more figures than it needs.

    >>> told_length_plainly(126_000), told_length_plainly(2_500)
    ('126 m', '2.5 m')
    """
    if reader().length == "m":
        return f"{plainly(mm / 1000)} m"
    return f"{_in_few_figures(mm / 914.4, 1)} yd"


def told_roll(width_mm: float, length_mm: float) -> str:
    """Return the size of a full roll as it is sold: its width, and its length in m or yards.

    >>> told_roll(500, 10_000)
    '50 cm × 10 m'
    """
    if reader().size == "in":
        return f"{side_number(width_mm)} in × {told_length_plainly(length_mm)}"
    return f"{plainly(width_mm / 10)} cm × {told_length_plainly(length_mm)}"


def told_mass(mg: float, *, places: int = 1) -> str:
    """Return a weight in g or ounces, with its unit.

    >>> told_mass(52_400)
    '52.4 g'
    """
    unit = reader().weight
    return format_weight(mg, unit=unit, places=places if unit == "g" else None)


def told_mass_plainly(mg: float) -> str:
    """Return what is printed on a can, or what it holds, in g or ounces, in no more figures than it needs.

    >>> told_mass_plainly(300_000)
    '300 g'
    """
    if reader().weight == "g":
        return f"{plainly(mg / 1000)} g"
    return f"{_in_few_figures(mg / 1000 / G_PER_OUNCE, 2)} oz"


def told_area(mm2: float) -> str:
    """Return an area in cm² or square inches.

    >>> told_area(12_345)
    '123 cm²'
    """
    if reader().size == "in":
        return f"{figure(mm2 / MM_PER_INCH**2)} in²"
    return f"{figure(mm2 / 100)} cm²"


def told_area_weight(g_m2: float) -> str:
    """Return the weight of cloth or stabilizer in g/m² or oz/yd².

    >>> told_area_weight(50)
    '50 g/m²'
    """
    if reader().weight == "oz":
        return f"{_in_few_figures(g_m2 / G_M2_PER_OZ_YD2, 2)} oz/yd²"
    return f"{plainly(g_m2)} g/m²"


def _in_few_figures(number: float, places: int) -> str:
    """Return a number in so many ``places`` at most, as the reader writes it."""
    return as_written_here(f"{number:.{places}f}".rstrip("0").rstrip("."))

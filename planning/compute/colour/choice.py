"""A requested colour, the shades that may stand for it with their spools, and the one that is chosen."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from inventory.compute.colour.lab import Lab
from inventory.compute.names.plain import hue_word
from planning.compute.certainty.enough import combine_free
from planning.compute.colour.sentences import NO_COLOUR_ASKED


@dataclass(frozen=True, slots=True)
class OwnedSpool:
    """A spool as the planner sees it; ``sigma_mm`` is None where nobody knows what is on it."""

    id: int
    label: str
    free_mm: int
    sigma_mm: float | None
    price_per_mm: float | None = None
    place: str = ""
    lot: str = ""  # the dye lot; empty where nobody wrote it down
    is_open: bool = False

    @property
    def is_known(self) -> bool:
        return self.sigma_mm is not None


@dataclass(frozen=True)
class OwnedShade:
    """A shade with its spools in the order in which they would be taken."""

    id: int
    range_id: int
    maker: str
    range: str
    code: str
    name: str
    hex: str
    lab: Lab | None
    spools: tuple[OwnedSpool, ...]
    # How far the colour may be off: one sigma along each axis of CIEDE2000.
    sigma: float = 0.0
    fibre: str = ""

    @cached_property  # asked for by every plan, of a shelf that is read once for many
    def free(self) -> tuple[float, float]:
        """Return the free length in mm and its sigma, over the spools that are known."""
        return combine_free(
            (spool.free_mm, spool.sigma_mm) for spool in self.spools if spool.sigma_mm is not None
        )

    @property
    def is_known(self) -> bool:
        return any(spool.is_known for spool in self.spools)


@dataclass(frozen=True)
class ColourRequest:
    """One requested colour and the thread it takes over the whole batch.

    ``geometry_mm`` is before any factor; ``path_mm``, lost where the thread changes, is a length that none scales.
    """

    hex: str
    lab: Lab | None
    geometry_mm: float
    name: str = ""
    # How far the colour asked for may be off; zero where it is what is asked for, whatever a thread measures.
    sigma: float = 0.0
    path_mm: float = 0.0
    # Where it is a wish: the colour of dyed thread that it comes to. None for a demand.
    wished: Lab | None = None
    # Where a person asked for a shade by its name and fibres are not to be crossed: the fibre of that shade.
    fibre: str = ""

    @property
    def sought(self) -> Lab | None:
        """The colour that shades are held against: that of the wish on the gamut, or the one demanded."""
        return self.wished or self.lab

    @property
    def called(self) -> str:
        """What a person would call it."""
        return self.name or self.hex or NO_COLOUR_ASKED


@dataclass(frozen=True)
class Choice:
    """The shade for one request. ``shade`` is None where the request has no colour or nothing is owned.

    ``near_enough`` is also said of a shade that a person pinned, however far off; ``delta_e_00`` tells.
    """

    shade: OwnedShade | None
    delta_e_00: float | None = None
    grade: str | None = None
    near_enough: bool = False
    # Where the true difference lies, 95 times in a hundred, as far as both colours are known.
    between: tuple[float, float] | None = None


def one_of_each_hue(shades: Sequence[OwnedShade], *, most: int) -> tuple[OwnedShade, ...]:
    """Return up to ``most`` shades, of each basic colour the one with most thread, then those with most thread.

    >>> def shade(id, lab, free_mm):
    ...     return OwnedShade(id, 1, "", "", "", "", "", lab, (OwnedSpool(id, "", free_mm, 0.0),))
    >>> reds = [shade(1, Lab(45, 60, 35), 900), shade(2, Lab(43, 58, 33), 5_000)]
    >>> [each.id for each in one_of_each_hue([*reds, shade(3, Lab(15, 0, 0), 10), shade(4, None, 99)], most=3)]
    [2, 3, 1]
    """
    longest = sorted(shades, key=lambda shade: -shade.free[0])
    first = {hue_word(shade.lab): shade for shade in reversed(longest) if shade.lab is not None}
    chosen = sorted(first.values(), key=lambda shade: -shade.free[0])
    taken = {shade.id for shade in chosen}
    return (*chosen, *(shade for shade in longest if shade.id not in taken))[:most]

"""How much thread a bobbin holds, from its size and from how tightly it is wound."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from inventory.compute.errors import WorkshopError, require_positive
from inventory.compute.spoken import N_, _, plainly
from inventory.compute.units import told_sides

# Share of the winding space that is fibre. The values are what published lengths of an L bobbin of 60 weight
# polyester imply (20.3 × 8.9 mm, 6 mm core): 93 m wound by hand; 119–141 m bought wound, which is 0.54–0.64.
# Lengths: a thread maker's teaching page, and a decorated apparel handbook.
SELF_WOUND_FILL = 0.42
PREWOUND_FILL = 0.59

# Density of the fibre itself in a room at 65 % humidity: W. E. Morton and J. W. S. Hearle, Physical
# Properties of Textile Fibres, 4th ed. (2008), table 5.1. Metallic thread, foil on a core, is a nominal value
# from memory.
FIBRE_DENSITY_G_CM3: Mapping[str, float] = {
    "polyester": 1.39,
    "rayon": 1.49,
    "cotton": 1.52,
    "nylon": 1.14,
    "silk": 1.34,
    "wool": 1.31,
    "metallic": 1.5,
}


class ImpossibleBobbin(WorkshopError):
    """The sizes, or the filling, cannot be those of a bobbin."""


@dataclass(frozen=True)
class BobbinGeometry:
    """The space that thread is wound into: a ring between the core and the rim, between the flanges."""

    outer_diameter_mm: float
    width_mm: float
    core_diameter_mm: float

    def __post_init__(self) -> None:
        require_positive(self.outer_diameter_mm, what=N_("outer diameter of the bobbin in mm"))
        require_positive(self.width_mm, what=N_("width of the bobbin in mm"))
        require_positive(self.core_diameter_mm, what=N_("core diameter of the bobbin in mm"))
        if self.core_diameter_mm >= self.outer_diameter_mm:
            raise ImpossibleBobbin(
                _(
                    "A core of {core} leaves no room for thread in a bobbin {outer} across. Measure both again."
                ).format(core=told_sides(self.core_diameter_mm), outer=told_sides(self.outer_diameter_mm))
            )


def winding_volume_mm3(geometry: BobbinGeometry) -> float:
    """Return the volume in mm³ that thread can be wound into.

    >>> round(winding_volume_mm3(BobbinGeometry(outer_diameter_mm=20.3, width_mm=8.9, core_diameter_mm=6)))
    2629
    """
    return math.pi / 4 * (geometry.outer_diameter_mm**2 - geometry.core_diameter_mm**2) * geometry.width_mm


def bobbin_capacity(
    geometry: BobbinGeometry, *, tex: float, density_g_cm3: float, fill: float = SELF_WOUND_FILL
) -> float:
    """Return the length in mm of thread of ``tex`` on a full bobbin.

    ``density_g_cm3`` is the fibre's (see FIBRE_DENSITY_G_CM3) and ``fill`` the share of the winding space
    that is fibre. The mass is volume × fill × density (1 g/cm³ = 1 mg/mm³), and 1 tex = 1 mg/m.

    >>> geometry = BobbinGeometry(outer_diameter_mm=20.3, width_mm=8.9, core_diameter_mm=6)
    >>> round(bobbin_capacity(geometry, tex=16.67, density_g_cm3=1.39) / 1000)
    92
    """
    if not 0 < fill <= 1:
        raise ImpossibleBobbin(
            _("The fill of a bobbin must be above 0 and at most 1, not {fill}.").format(fill=plainly(fill))
        )
    require_positive(density_g_cm3, what=N_("density of the fibre in g/cm³"))
    mass_mg = winding_volume_mm3(geometry) * fill * density_g_cm3
    return mass_mg / require_positive(tex, what=N_("linear density in tex")) * 1000

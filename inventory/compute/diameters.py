"""The length of thread on a spool, from a diameter measured across its winding, and how sure that is."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from inventory.compute.errors import WorkshopError, require_positive
from inventory.compute.spoken import N_, _, figure, plainly
from inventory.compute.units import told_sides

# One sigma of a diameter read in this way, in mm: judgement, no source. A ruler is read to about a millimetre.
TOOLS: Mapping[str, float] = {
    N_("ruler"): 0.5,
    N_("ruler to half a mm, twice"): 0.3,
    N_("calipers"): 0.15,
    N_("calipers, three turns"): 0.10,
}
LABEL_SIGMA = 0.01  # of the length that a put-up is sold with
WINDING_SIGMA = 0.02  # by how much the winding is laid looser or tighter: judgement, no source
# Thread and air on a spool, in g/cm³; outside of it a diameter, the length or the tex is likely wrong (from memory).
LEAST_DENSITY, MOST_DENSITY = 0.6, 1.1
BELIEVED_SIGMAS = 3.0


class NotThatSpool(WorkshopError):
    """The diameter is none that a spool of this put-up can have."""


@dataclass(frozen=True)
class Winding:
    """A full spool: its length, and its full and core diameter, known to ``sigma_mm`` each."""

    length_mm: float
    full_mm: float
    core_mm: float
    sigma_mm: float = TOOLS["calipers"]

    def __post_init__(self) -> None:
        require_positive(self.length_mm, what=N_("length of a full spool in mm"))
        require_positive(self.core_mm, what=N_("diameter of the core in mm"))
        if self.full_mm <= self.core_mm:
            raise WorkshopError(
                _("A full spool is thicker than its core; {full} is not more than {core}.").format(
                    full=told_sides(self.full_mm), core=told_sides(self.core_mm)
                )
            )


def length_from_diameter(diameter_mm: float, *, winding: Winding, tool: str) -> tuple[float, float]:
    """Return the length left in mm and its sigma: thread fills the ring between core and winding evenly.

    x = (D² − d²) / (F² − d²) is the share that is left. Of a cone the diameters half-way up are taken, which is exact
    where the winding is equally thick all the way. First order, with independent errors; raises NotThatSpool where the
    diameter is beyond the full or below the core by more than reading it explains.

    >>> winding = Winding(1_000_000, full_mm=32, core_mm=20, sigma_mm=0.5)
    >>> length, sigma = length_from_diameter(32, winding=winding, tool="ruler")
    >>> round(length), round(sigma / 1000)
    (1000000, 76)
    """
    error = sigma_of_tool(tool)
    reading = BELIEVED_SIGMAS * math.hypot(error, winding.sigma_mm)
    if not winding.core_mm - reading <= diameter_mm <= winding.full_mm + reading:
        raise NotThatSpool(
            _(
                "{diameter} across cannot be: such a spool is {core} empty and {full} full. Is it the right spool, "
                "and measured across the thread?"
            ).format(
                diameter=told_sides(diameter_mm),
                core=told_sides(winding.core_mm),
                full=told_sides(winding.full_mm),
            )
        )
    across = min(max(diameter_mm, winding.core_mm), winding.full_mm)
    share = (across**2 - winding.core_mm**2) / (winding.full_mm**2 - winding.core_mm**2)
    return share * winding.length_mm, sigma_by_diameter(share, winding=winding, error_mm=error)


def sigma_by_diameter(share: float, *, winding: Winding, error_mm: float) -> float:
    """Return one sigma in mm of the length of which this ``share`` is left, told by a diameter ± ``error_mm``."""
    full, core, length = winding.full_mm, winding.core_mm, winding.length_mm
    ring = full**2 - core**2
    across = math.sqrt(core**2 + share * ring)
    return math.hypot(
        length * 2 * across * error_mm / ring,
        length * share * 2 * full * winding.sigma_mm / ring,
        length * (1 - share) * 2 * core * winding.sigma_mm / ring,
        share * length * math.hypot(LABEL_SIGMA, WINDING_SIGMA),
    )


def sigma_of_tool(tool: str) -> float:
    """Return one sigma in mm of a diameter read with ``tool``, one of ``TOOLS``."""
    error = TOOLS.get(" ".join(tool.casefold().split()))
    if error is None:
        raise WorkshopError(
            _('"{tool}" is nothing to measure across with. Use {names}.').format(
                tool=tool, names="; ".join(map(_, TOOLS))
            )
        )
    return error


def density(winding: Winding, *, height_mm: float, tex: float) -> float:
    """Return the g/cm³ of the winding of a full spool that is ``height_mm`` high.

    >>> round(density(Winding(1_000_000, 32, 20), height_mm=45, tex=27), 2)  # suspiciously dense
    1.22
    """
    volume_cm3 = math.pi / 4 * (winding.full_mm**2 - winding.core_mm**2) * height_mm / 1000
    return (
        winding.length_mm / 1e6 * tex / require_positive(volume_cm3, what=N_("volume of the winding in cm³"))
    )


def density_doubt(winding: Winding, *, height_mm: float, tex: float) -> str:
    """Return what is odd about a winding's density, in words; empty where nothing is."""
    found = density(winding, height_mm=height_mm, tex=tex)
    if LEAST_DENSITY <= found <= MOST_DENSITY:
        return ""
    told = (
        _(
            "With these diameters and {height} of height a full spool would have {density} g/cm³, which is "
            "suspiciously dense: usual are {least} to {most}. Measure again, or check length and tex."
        )
        if found > MOST_DENSITY
        else _(
            "With these diameters and {height} of height a full spool would have {density} g/cm³, which is "
            "suspiciously loose: usual are {least} to {most}. Measure again, or check length and tex."
        )
    )
    return told.format(
        height=told_sides(height_mm),
        density=figure(found, 2),
        least=plainly(LEAST_DENSITY),
        most=plainly(MOST_DENSITY),
    )

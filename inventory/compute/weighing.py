"""The length of thread on a spool, from its weight or by eye, and how sure that is."""

import math
from collections.abc import Mapping
from typing import NamedTuple

from inventory.compute.errors import WorkshopError, require_not_negative, require_positive
from inventory.compute.spoken import N_, _
from inventory.compute.units import told_mass

# Commercial moisture regain: water as a share of dry mass. Cotton, silk and wool: ASTM D1909-13, read as
# cited in Bioresources and Bioprocessing, doi 10.1186/s40643-020-00339-1, table 10. Polyester, nylon and
# rayon: from memory (ASTM D1909; 13 % is the BISFA value for viscose, other tables print 11 %).
# Metallic thread is a foil on a polyester core and is taken as polyester: common practice, no source.
COMMERCIAL_MOISTURE_REGAIN: Mapping[str, float] = {
    "polyester": 0.004,
    "rayon": 0.13,
    "cotton": 0.085,
    "nylon": 0.045,
    "silk": 0.11,
    "wool": 0.136,
    "metallic": 0.004,
}

# How far the regain of a workshop's thread swings with the damp of the room, as one sigma and a share of the
# regain itself. Common practice, no source.
REGAIN_SWING = 0.25

MOISTURE_SIGMA: Mapping[str, float] = {
    fibre: REGAIN_SWING * regain / (1 + regain) for fibre, regain in COMMERCIAL_MOISTURE_REGAIN.items()
}
"""Relative sigma of a thread's weight from moisture: the weight is dry mass × (1 + regain)."""


class FillLevel(NamedTuple):
    """What a glance at a spool tells, as shares of the length it was sold with."""

    fraction: float
    sigma_fraction: float


# A judgement, no source: the sigmas are wide because people see the radius of the winding, not its volume,
# and because neighbouring words must overlap. A spool that matters is weighed.
FILL_LEVELS: Mapping[str, FillLevel] = {
    N_("full"): FillLevel(1.0, 0.05),
    N_("three quarters"): FillLevel(0.75, 0.12),
    N_("half"): FillLevel(0.5, 0.12),
    N_("quarter"): FillLevel(0.25, 0.10),
    N_("nearly empty"): FillLevel(0.06, 0.05),
}


class LighterThanTare(WorkshopError):
    """The scale shows less than the empty spool should weigh."""

    def __init__(self, *, gross_mg: float, tare_mg: float) -> None:
        gross, tare = (told_mass(mg, places=2) for mg in (gross_mg, tare_mg))
        super().__init__(
            _(
                "The spool weighs {gross}, which is less than {tare}, its weight when empty. "
                "Check the scale and the empty weight; if the spool is empty, set its length to 0."
            ).format(gross=gross, tare=tare)
        )


class UnknownFillLevel(WorkshopError):
    """The word for how full a spool looks is none of FILL_LEVELS."""


def length_from_weight(*, gross_mg: float, tare_mg: float, tex: float) -> float:
    """Return the thread length in mm that weighs ``gross_mg - tare_mg``.

    Linear density is mass per length: 1 tex = 1 g/km = 1 mg/m (ISO 1144).

    >>> length_from_weight(gross_mg=150_000, tare_mg=30_000, tex=24.0)
    5000000.0
    """
    require_not_negative(gross_mg, what=N_("weight in mg"))
    require_not_negative(tare_mg, what=N_("empty weight in mg"))
    if gross_mg < tare_mg:
        raise LighterThanTare(gross_mg=gross_mg, tare_mg=tare_mg)
    return (gross_mg - tare_mg) / require_positive(tex, what=N_("linear density in tex")) * 1000


def weight_of_length(*, length_mm: float, tex: float, tare_mg: float = 0) -> float:
    """Return the weight in mg of ``length_mm`` of thread on a spool that weighs ``tare_mg`` when empty.

    >>> weight_of_length(length_mm=5_000_000, tex=24.0, tare_mg=30_000)
    150000.0
    """
    require_not_negative(length_mm, what=N_("length in mm"))
    require_not_negative(tare_mg, what=N_("empty weight in mg"))
    return length_mm / 1000 * require_positive(tex, what=N_("linear density in tex")) + tare_mg


def length_sigma(
    *,
    gross_mg: float,
    tare_mg: float,
    tex: float,
    scale_resolution_mg: float,
    tare_sigma_mg: float,
    tex_relative_sigma: float,
    moisture_relative_sigma: float = 0.0,
) -> float:
    """Return one sigma, in mm, of the length that ``length_from_weight`` gives.

    First order, with independent errors. Each of the two readings, full and empty, is rounded to
    ``scale_resolution_mg``: a rectangular error of resolution/√12 (JCGM 100:2008, F.2.2.1).
    ``tare_sigma_mg`` is what empty spools differ by among themselves. Tex and moisture scale the length.

    >>> sigma_mm = length_sigma(gross_mg=150_000, tare_mg=30_000, tex=24.0, scale_resolution_mg=1_000,
    ...                         tare_sigma_mg=0, tex_relative_sigma=0)
    >>> round(sigma_mm / 1000, 1)
    17.0
    """
    length_mm = length_from_weight(gross_mg=gross_mg, tare_mg=tare_mg, tex=tex)
    for value, what in (
        (scale_resolution_mg, N_("resolution of the scale in mg")),
        (tare_sigma_mg, N_("sigma of the empty weight in mg")),
        (tex_relative_sigma, N_("relative sigma of tex")),
        (moisture_relative_sigma, N_("relative sigma from moisture")),
    ):
        require_not_negative(value, what=what)
    reading_mg = scale_resolution_mg / math.sqrt(12)
    net_sigma_mg = math.hypot(reading_mg, reading_mg, tare_sigma_mg)
    return math.hypot(
        net_sigma_mg / tex * 1000, length_mm * tex_relative_sigma, length_mm * moisture_relative_sigma
    )


def length_from_fill_level(level: str, *, put_up_mm: float) -> tuple[float, float]:
    """Return the length of a spool that looks ``level``, and its sigma, both in mm.

    ``put_up_mm`` is the length it was sold with.

    >>> length_from_fill_level("half", put_up_mm=1_000_000)
    (500000.0, 120000.0)
    """
    seen = FILL_LEVELS.get(" ".join(level.casefold().split()))
    if seen is None:
        raise UnknownFillLevel(
            _('"{level}" does not say how full a spool is. Use {names}.').format(
                level=level, names=", ".join(map(_, FILL_LEVELS))
            )
        )
    require_positive(put_up_mm, what=N_("length of a full spool in mm"))
    return seen.fraction * put_up_mm, seen.sigma_fraction * put_up_mm

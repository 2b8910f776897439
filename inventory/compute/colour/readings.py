"""Several readings of one thread made into one colour, and how far they lay apart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inventory.compute.colour.knowing import combine_readings
from inventory.compute.colour.lab import Lab, delta_e_00
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _, figure

# Readings of one thread farther from their mean than this were of two threads, or one slipped.
TOO_FAR_APART = 5.0


class ReadingsApart(WorkshopError):
    """The readings are not of one colour."""


@dataclass(frozen=True)
class KnownColour:
    """A colour with where it came from, its sigma along each axis of CIEDE2000, and what it was found from.

    ``spread`` is one sigma of the single readings, or of the pixels of a photograph. ``notes`` say in words what makes
    it less sure.
    """

    lab: Lab
    source: str
    sigma: float
    spread: float
    count: int
    notes: tuple[str, ...] = ()


def average_readings(labs: Sequence[Lab]) -> KnownColour:
    """Return the mean of a meter's readings of one thread, each under D65. Raises ReadingsApart.

    >>> found = average_readings([Lab(40.0, 30.0, 10.0), Lab(40.6, 30.0, 10.0), Lab(40.3, 30.0, 10.0)])
    >>> [round(value, 2) for value in found.lab], found.count
    ([40.3, 30.0, 10.0], 3)
    """
    if not labs:
        raise ReadingsApart(
            _("There is no reading of this thread. Take one, or better three at different places.")
        )
    readings = np.array([tuple(lab) for lab in labs])
    mean = readings.mean(axis=0)
    apart = delta_e_00(mean, readings)
    if float(apart.max()) > TOO_FAR_APART:
        raise ReadingsApart(
            _(
                "One reading lies ΔE00 {difference} from the mean of {count}: they are hardly of one thread. Take "
                "out the one that slipped, or give each thread its own code."
            ).format(difference=figure(apart.max(), 1, grouped=False), count=len(labs))
        )
    spread = float(np.sqrt((apart**2).sum() / (3 * (len(labs) - 1)))) if len(labs) > 1 else 0.0
    sigma = combine_readings(spread, len(labs))
    return KnownColour(Lab(*map(float, mean)), "measured", sigma, spread, len(labs))

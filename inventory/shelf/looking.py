"""How each thing on the shelf would best be looked at, and what that would tell: read for many at once."""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass

from inventory.compute.diameters import sigma_by_diameter, sigma_of_tool
from inventory.compute.knowing import Look
from inventory.compute.spoken import N_
from inventory.compute.weighing import FILL_LEVELS
from inventory.models import Spool, StabilizerRoll
from inventory.shelf.counts import MEASURED_SIGMA
from inventory.shelf.diameters import winding_of
from inventory.shelf.weights import TareNotKnown, sigma_by_weight

# What every workshop has at hand; a finer scale tells more.
USUAL_SCALE_MG, USUAL_TOOL = 1_000, "calipers"
_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True)
class ShelfLook:
    """A thing on the shelf with the look that tells most of it; ``most_mm`` is what a full one holds."""

    item_id: int
    label: str
    what: str
    place: str
    on_hand_mm: int
    most_mm: int
    look: Look


def looks_by_label(labels: Iterable[str]) -> dict[str, ShelfLook]:
    """Return how the spools and rolls with these labels would be looked at, where anything tells more than nothing."""
    wanted = list(labels)
    found = {}
    spools = Spool.objects.filter(label__in=wanted).select_related("place", "put_up", "shade__range")
    for spool in spools:
        most_mm = max(spool.on_hand, spool.put_up.length_mm if spool.put_up else 0)
        look = _look_at(spool, most_mm)
        if look is not None:
            place = spool.place.name if spool.place else ""
            found[spool.label] = ShelfLook(
                spool.pk, spool.label, str(spool.shade), place, spool.on_hand, most_mm, look
            )
    for roll in StabilizerRoll.objects.filter(label__in=wanted).select_related("place", "product"):
        lengths = tuple(float(roll.on_hand) * share for share in (0.0, 1.0, 2.0))
        look = Look(N_("measure along"), lengths, tuple(MEASURED_SIGMA * length for length in lengths))
        place = roll.place.name if roll.place else ""
        found[roll.label] = ShelfLook(
            roll.pk, roll.label, str(roll.product), place, roll.on_hand, roll.on_hand, look
        )
    return found


def _look_at(spool: Spool, most_mm: int) -> Look | None:
    """Return the look that tells most of a spool as it is thought to stand: scale, calipers or the eye."""
    if not most_mm:
        return None
    lengths = tuple(most_mm * share for share in _SHARES)
    looks = []
    with suppress(TareNotKnown):
        sigmas = tuple(sigma_by_weight(spool, length, USUAL_SCALE_MG) for length in lengths)
        looks.append(Look(N_("weigh"), lengths, sigmas))
    winding = winding_of(spool.put_up)
    if winding is not None:
        error = sigma_of_tool(USUAL_TOOL)
        shares = [min(1.0, length / winding.length_mm) for length in lengths]
        sigmas = tuple(sigma_by_diameter(share, winding=winding, error_mm=error) for share in shares)
        looks.append(Look(N_("measure across"), lengths, sigmas))
    if spool.put_up is not None:
        levels = sorted(FILL_LEVELS.values())
        looks.append(
            Look(
                N_("judge by eye"),
                tuple(level.fraction * spool.put_up.length_mm for level in levels),
                tuple(level.sigma_fraction * spool.put_up.length_mm for level in levels),
            )
        )
    at_mm = spool.on_hand if spool.is_known else most_mm / 2
    return min(looks, key=lambda look: look.sigma_at(at_mm), default=None)

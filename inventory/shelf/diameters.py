"""How much thread a spool holds, by a diameter measured across it, and which way would tell it best."""

from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.acting import whole_act
from inventory.compute.diameters import TOOLS, Winding, length_from_diameter, sigma_by_diameter
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import format_length
from inventory.compute.spoken import N_
from inventory.compute.units import METRIC, Units
from inventory.compute.weighing import FILL_LEVELS
from inventory.ledger import Finding, find
from inventory.models import Entry, PutUp, Spool, StockItem
from inventory.shelf.weights import TareNotKnown, sigma_by_weight

SCALES_MG = {N_("a 1 g scale"): 1_000, N_("a 0.1 g scale"): 100}


class DiametersNotKnown(WorkshopError):
    """Nobody has measured a full spool of this put-up and its core yet."""


@dataclass(frozen=True)
class MeasuringWay:
    """A way to tell how much is on a spool, with one sigma in mm of what it would tell."""

    called: str
    sigma_mm: float


@whole_act
def measure_spool(
    spool: StockItem, *, diameter_mm: float, tool: str, key: str, at: datetime, by: Any, reference: str = ""
) -> Entry:
    """Return the entry that sets ``spool`` to the length that the diameter across its thread tells.

    ``tool`` is one of ``inventory.compute.diameters.TOOLS``. Raises DiametersNotKnown until full and core diameter of
    its put-up were measured, and NotThatSpool for a diameter that such a spool cannot have.
    """
    fresh = _spool(spool)
    length_mm, sigma_mm = length_from_diameter(diameter_mm, winding=_winding(fresh), tool=tool)
    return find(
        fresh,
        quantity=round(length_mm),
        finding=Finding(sigma_mm, StockItem.Known.MEASURED),
        key=key,
        at=at,
        by=by,
        reference=reference or f"{diameter_mm:g} mm across, {tool}",
    )


def winding_of(put_up: PutUp | None) -> Winding | None:
    """Return the winding of a put-up, None until its diameters are known."""
    if put_up is None or not (put_up.full_diameter_mm and put_up.core_diameter_mm):
        return None
    return Winding(put_up.length_mm, put_up.full_diameter_mm, put_up.core_diameter_mm)


def ways_to_tell(spool: StockItem) -> list[MeasuringWay]:
    """Return the ways that tell how much is on ``spool`` as it is thought to stand, the surest first."""
    fresh = _spool(spool)
    left_mm = max(0, fresh.on_hand)
    ways = []
    with suppress(TareNotKnown):  # nothing is told by a weight until an empty one was weighed
        ways = [MeasuringWay(name, sigma_by_weight(fresh, left_mm, step)) for name, step in SCALES_MG.items()]
    winding = winding_of(fresh.put_up)
    if winding is not None:
        share = min(1.0, left_mm / winding.length_mm)
        ways += [
            MeasuringWay(tool, sigma_by_diameter(share, winding=winding, error_mm=error))
            for tool, error in TOOLS.items()
        ]
    if fresh.put_up is not None:
        share = left_mm / fresh.put_up.length_mm
        seen = min(FILL_LEVELS.values(), key=lambda level: abs(level.fraction - share))
        ways.append(MeasuringWay(N_("the eye"), seen.sigma_fraction * fresh.put_up.length_mm))
    return sorted(ways, key=lambda way: way.sigma_mm)


def best_way_in_words(spool: StockItem, units: Units = METRIC) -> str:
    """Return which ways would tell best how much is on ``spool``, each with its error; empty where none does."""
    ways = ways_to_tell(spool)
    if not ways:
        return ""
    told = ", ".join(
        _("{way} is good to {length}").format(
            way=_(way.called), length=format_length(way.sigma_mm, unit=units.length, places=0)
        )
        for way in ways
    )
    return _("For this spool as it stands: {told}.").format(told=told)


def _spool(spool: StockItem) -> Spool:
    found = Spool.objects.select_related("put_up", "shade__range").filter(pk=spool.pk).first()
    if found is None:
        raise WorkshopError(
            _("{spool} is no spool. Give its length or its count instead.").format(spool=spool)
        )
    return found


def _winding(spool: Spool) -> Winding:
    found = winding_of(spool.put_up)
    if found is None:
        alike = (
            _("a sealed {put_up} of {range}").format(put_up=spool.put_up, range=spool.shade.range)
            if spool.put_up
            else _("a sealed spool like it")
        )
        raise DiametersNotKnown(
            _(
                "How thick {spool} is when full and when empty is not known, so its diameter tells no "
                "length. Measure {alike} and an empty core once and enter both with the put-up."
            ).format(spool=spool, alike=alike)
        )
    return found

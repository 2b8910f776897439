"""Do I own this, in the shop: a page and its list, which a device keeps for when there is no network."""

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.catalogue.pocket import PocketShade, pocket_list
from inventory.compute.units import Units
from inventory.models import StockItem
from inventory.shelf.words import in_words
from inventory.views.asking import units_of


@require_safe
def pocket(request: HttpRequest) -> HttpResponse:
    """Show the page that asks the list; what it finds comes from there."""
    return render(request, "inventory/pocket.html")


@require_safe
def pocket_shades(request: HttpRequest) -> HttpResponse:
    """Send every shade that is known with what is owned of it, or what comes nearest, as the page reads it."""
    units = units_of(request)
    shades = [_as_data(each, units) for each in pocket_list()]
    return JsonResponse({"at": timezone.now().isoformat(), "shades": shades})


def _as_data(each: PocketShade, units: Units) -> dict[str, Any]:
    shade, kept = each.shade, each.kept
    data: dict[str, Any] = {"code": shade.code, "range": str(shade.range), "name": shade.name}
    if shade.hex:
        data |= {"hex": shade.hex, "words": _(each.words) if each.words else ""}
    if each.earlier_codes:
        data["earlier"] = each.earlier_codes
    if kept.spools:
        free = in_words(StockItem.Kind.SPOOL, kept.free_mm, units)
        data |= {"spools": kept.spools, "free": free, "places": kept.places}
    elif each.nearest is not None:
        data |= {"nearest": each.nearest, "seen": each.seen}
    return data

"""What every page of the house needs: the places, the person's units and look."""

from typing import Any, NamedTuple

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse
from django.utils.translation import gettext as _

from inventory.compute.spoken import N_
from inventory.compute.units import METRIC
from workshop.models import Preference

# The order in which a person meets them. A place whose page is not there yet is left out of the navigation.
PLACES = (
    (N_("Today"), "today"),
    (N_("Jobs"), "jobs"),
    (N_("Designs"), "designs"),
    (N_("Shelf"), "shelf"),
    (N_("Buying"), "buying"),
    (N_("Settings"), "preferences"),
)


class NavigationEntry(NamedTuple):
    """One entry of the navigation; ``current`` is ``page``, ``true`` (a page within) or empty."""

    name: str
    url_name: str
    url: str
    current: str


def house(request: HttpRequest) -> dict[str, Any]:
    """Return what the base page shows: ``nav_places``, and the person's ``units`` and ``preference``."""
    return {
        "nav_places": nav_places(request.path),
        # A page that fails before the person is known is still drawn, with the defaults.
        "units": getattr(request, "units", METRIC),
        "preference": getattr(request, "preference", Preference()),
    }


def nav_places(path: str) -> list[NavigationEntry]:
    """Return the places that exist, with the one marked that ``path`` lies in."""
    places = []
    for name, url_name in PLACES:
        try:
            url = reverse(url_name)
        except NoReverseMatch:
            continue
        places.append(NavigationEntry(_(name), url_name, url, ""))
    home = min((place.url for place in places), key=len, default="/")
    # "/" is the beginning of every path: the shortest address counts only when it is the page itself.
    within = [p for p in places if path == p.url or (p.url != home and path.startswith(p.url))]
    here = max(within, key=lambda place: len(place.url), default=None)
    if here is None:
        return places
    current = "page" if path == here.url else "true"
    return [place._replace(current=current) if place == here else place for place in places]

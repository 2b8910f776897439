"""What the views of the shelf read from a request."""

from django.http import HttpRequest

from inventory.compute.units import Units


def units_of(request: HttpRequest) -> Units:
    """Return the units of the person who asks."""
    units: Units = request.units  # type: ignore[attr-defined]
    return units


def in_place(request: HttpRequest) -> bool:
    """Return whether only a part of the page is wanted."""
    return bool(request.htmx)  # type: ignore[attr-defined]

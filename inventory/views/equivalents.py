"""Equivalents of a shade in the other ranges."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from inventory.catalogue.equivalents import (
    ONE_WAY,
    by_earlier_code,
    equivalents,
    one_shade,
    ranges_without,
)
from inventory.compute.errors import WorkshopError
from inventory.models import Shade


@require_safe
def equivalents_of(request: HttpRequest) -> HttpResponse:
    """Answer the shade that is typed."""
    asked = request.GET.get("q", "").replace("\x00", "").strip()[:80]
    context: dict[str, Any] = {"asked": asked}
    if asked:
        try:
            shade = one_shade(asked)
            context |= about(shade) | {"by_earlier_code": by_earlier_code(shade, asked)}
        except WorkshopError as problem:
            context["problem"] = str(problem)
    return render(request, "inventory/equivalents.html", context, status=422 if "problem" in context else 200)


@require_safe
def shade_equivalents(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the equivalents of one shade."""
    shade = get_object_or_404(Shade.objects.select_related("range"), pk=pk)
    context: dict[str, Any] = {"asked": f"{shade.range} {shade.code}"}
    try:
        context |= about(shade)
    except WorkshopError as problem:
        context["problem"] = str(problem)
    return render(request, "inventory/equivalents.html", context)


def about(shade: Shade) -> dict[str, Any]:
    """Return what a page shows of the equivalents of ``shade``. Raises NoOneShade where it has no colour."""
    found = equivalents(shade)
    return {
        "shade": shade,
        "equivalents": found,
        "unknown_ranges": ranges_without(shade, found),
        "one_way": ONE_WAY,
    }

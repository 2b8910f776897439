"""The gap map: drawn, and the same as a table."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from planning.buying.gaps import MOST_SUGGESTED, ShelfGaps, shelf_gaps
from planning.compute.colour.gaps import LIGHTNESSES, GapMap
from planning.models import Rules

# A plane of the drawing shows a* and b* from −REACH to REACH, in as many units to each side.
REACH = 78
# Of more shades than this, one of those that are covered and lie this near one another is drawn.
MOST_MARKS, ONE_IN = 500, 7


class GapForm(forms.Form):
    """How near is near, and how many shades to suggest."""

    limit = forms.FloatField(
        label=_("How near is near"),
        min_value=0.5,
        max_value=20,
        required=False,
        help_text=_(
            "Up to 1 nobody sees it, up to 2 hardly; up to 5 you would see it side by side (CIEDE2000)."
        ),
    )
    most = forms.IntegerField(
        label=_("Shades to suggest"), min_value=1, max_value=MOST_SUGGESTED, required=False
    )


@require_safe
def gap_map_page(request: HttpRequest) -> HttpResponse:
    """Show which colours the shelf does not cover."""
    begin = {"limit": Rules.current().colour_limit, "most": 5}
    form = GapForm({name: request.GET.get(name) or value for name, value in begin.items()})
    context: dict[str, Any] = {"form": form}
    if form.is_valid():
        found = shelf_gaps(limit=form.cleaned_data["limit"], most=form.cleaned_data["most"])
        context |= {"found": found, "planes": planes(found), "reach": REACH}
    return render(request, "planning/gap_map.html", context, status=200 if form.is_valid() else 422)


def planes(found: ShelfGaps) -> list[dict[str, Any]]:
    """Return one plane of a* and b* for each lightness, with its marks in the units of the drawing."""
    gaps = found.gaps
    numbers = {each.shade.id: number for number, each in enumerate(gaps.suggestions, 1)}
    drawn: list[dict[str, Any]] = []
    least = 0.0
    for below, word in LIGHTNESSES:
        marks = _marks(gaps, least, below, numbers)
        regions = [region for region in gaps.regions if region.lightness == word]
        open_ = sum(region.uncovered for region in regions)
        known = sum(region.known for region in regions)
        drawn.append({"word": word, "marks": marks, "known": known, "open": open_})
        least = below
    return drawn


def _marks(gaps: GapMap, least: float, below: float, numbers: dict[int, int]) -> list[dict[str, Any]]:
    marks = []
    drawn: set[tuple[int, int]] = set()
    for shade, is_covered in zip(gaps.points, gaps.is_covered, strict=True):
        if shade.lab is None or not least <= shade.lab.L < below:
            continue
        x, y = (round(min(REACH, max(-REACH, value)), 1) for value in (shade.lab.a, -shade.lab.b))
        cell = (round(x / ONE_IN), round(y / ONE_IN))
        if is_covered and len(gaps.points) > MOST_MARKS and cell in drawn:
            continue  # of many that lie on one another, one is seen
        drawn.add(cell)
        marks.append(
            {"x": x, "y": y, "hex": shade.hex, "covered": is_covered, "number": numbers.get(shade.id)}
        )
    # Suggestions are drawn last, over the others.
    return sorted(marks, key=lambda mark: (mark["number"] is not None, mark["covered"]))

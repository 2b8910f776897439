"""How the colour of a shade is known: from a meter, or from a photograph; what is found is shown before it counts."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from inventory.catalogue.colour_files import colour_for, read_meter_file
from inventory.catalogue.colour_forms import FoundForm, PhotographForm, ReadingsForm
from inventory.catalogue.shade_colours import set_colour, set_colours
from inventory.compute.colour.lab import delta_e_00, hex_from_lab
from inventory.compute.colour.readings import KnownColour
from inventory.compute.errors import WorkshopError
from inventory.models import Shade, ThreadRange


@require_http_methods(["GET", "HEAD", "POST"])
def shade_colour(request: HttpRequest, pk: int) -> HttpResponse:
    """Find the colour of a shade, show it beside the one that is known, and take it where a person says so."""
    shade = get_object_or_404(Shade.objects.select_related("range").prefetch_related("earlier_codes"), pk=pk)
    sent = request.POST.get("form", "")
    readings = ReadingsForm(*_sent(request, sent == "readings"))
    photograph = PhotographForm(*_sent(request, sent == "photograph"))
    found: KnownColour | None = None
    if sent == "use":
        use = FoundForm(request.POST)
        if use.is_valid():
            key = use.cleaned_data["key"]
            set_colour(shade, use.colour(), at=timezone.now(), by=request.user, key=key)
            return redirect(f"{reverse('catalogue_record', args=['shades', pk])}?done={key}")
    elif sent == "readings" and readings.is_valid():
        codes = [shade.code, *(each.code for each in shade.earlier_codes.all())]
        try:
            file = read_meter_file(
                readings.cleaned_data["readings"], illuminant=readings.cleaned_data["illuminant"]
            )
            found = colour_for(file, codes)
        except WorkshopError as problem:
            readings.add_error("readings", str(problem))
    elif sent == "photograph" and photograph.is_valid():
        found = photograph.found
    context: dict[str, Any] = {"shade": shade, "readings": readings, "photograph": photograph}
    if found is not None:
        context |= {
            "found": found,
            "found_hex": hex_from_lab(found.lab),
            "use": FoundForm.of(found),
            "moved": float(delta_e_00(tuple(shade.lab), [tuple(found.lab)])[0]) if shade.lab else None,
        }
    status = 422 if sent and found is None else 200
    return render(request, "inventory/shade_colour.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def range_readings(request: HttpRequest, pk: int) -> HttpResponse:
    """Read the colours of many shades of a range from one file of a meter: all or none."""
    of_range = get_object_or_404(ThreadRange, pk=pk)
    form = ReadingsForm(*_sent(request, request.method == "POST"))
    rows: list[dict[str, Any]] = []
    if form.is_bound and form.is_valid():
        try:
            file = read_meter_file(form.cleaned_data["readings"], illuminant=form.cleaned_data["illuminant"])
            if file.problems:
                raise WorkshopError("; ".join(str(problem) for problem in file.problems[:10]))
            done = set_colours(of_range, file.colours, at=timezone.now(), by=request.user)
        except WorkshopError as problem:
            form.add_error("readings", str(problem))
        else:
            rows = [
                {
                    "shade": shade,
                    "hex": hex_from_lab(colour.lab),
                    "colour": colour,
                    "changed": change is not None,
                }
                for shade, colour, change in done
            ]
            messages.success(
                request,
                ngettext(
                    "{count} colour of {range} is read.", "{count} colours of {range} are read.", len(rows)
                ).format(count=len(rows), range=of_range),
            )
    status = 422 if form.is_bound and not rows else 200
    return render(
        request,
        "inventory/range_readings.html",
        {"range": of_range, "form": form, "rows": rows},
        status=status,
    )


def _sent(request: HttpRequest, is_sent: bool) -> tuple[Any, Any]:
    return (request.POST, request.FILES) if is_sent else (None, None)

"""The colours that a design asks for: typed, pasted, copied, or the file's own again."""

import hashlib

from django.contrib import messages
from django.db.models import Count, Prefetch, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from inventory.models import Shade
from planning.library.colours import (
    back_to_file_colours,
    copy_colours,
    keep_thread_on,
    known_shades,
    read_list,
    recolour,
    requested,
)
from planning.library.forms import ColourListForm, ColoursForm, CopyForm
from planning.models import Block, Design

SUGGESTIONS = 12
MOST_SOURCES = 48


@require_http_methods(["GET", "HEAD", "POST"])
def design_colours(request: HttpRequest, pk: int) -> HttpResponse:
    """Type the colour of each block, and where the thread stays on."""
    found = get_object_or_404(Design, pk=pk)
    blocks = found.blocks.select_related("shade__range")
    form = ColoursForm(request.POST or None, blocks=blocks, book=known_shades())
    if request.method == "POST" and form.is_valid():
        changed = recolour(found, form.colours)
        keep_thread_on(found, form.staying)
        recoloured = ngettext("{n} block recoloured.", "{n} blocks recoloured.", changed).format(n=changed)
        messages.success(request, recoloured if changed else _("Kept as it is now."))
        return redirect("design", found.pk)
    return render(
        request,
        "planning/design_colours.html",
        {"design": found, "form": form},
        status=422 if form.is_bound else 200,
    )


@require_safe
def shade_suggestions(request: HttpRequest) -> HttpResponse:
    """Answer what is typed into a colour field with shades that begin so."""
    written = next((str(value).strip() for value in reversed(list(request.GET.values()))), "")
    shades = Shade.objects.none()
    if written and not written.startswith(("#", "lab")):
        last = written.split()[-1]
        shades = Shade.objects.for_needle().select_related("range")
        shades = (
            shades.filter(code__istartswith=last)
            | shades.filter(earlier_codes__code__istartswith=last)
            | shades.filter(name__icontains=written)
        )
    return render(
        request, "planning/design_shades.html", {"shades": shades.distinct().order_by("code")[:SUGGESTIONS]}
    )


@require_http_methods(["GET", "HEAD", "POST"])
def design_colour_list(request: HttpRequest, pk: int) -> HttpResponse:
    """Read a colour list, show what it means, and apply it once that was seen."""
    found = get_object_or_404(Design, pk=pk)
    form = ColourListForm(request.POST or None, request.FILES or None)
    read = None
    if request.method == "POST" and form.is_valid():
        text, maker = form.cleaned_data["text"], form.cleaned_data["maker"]
        read = read_list(found, text, maker=maker)
        seen = request.POST.get("seen") == _seen(text, maker)
        if request.POST.get("step") == "apply" and seen and read.colours:
            recolour(found, {each.stop: requested(each) for each in read.colours})
            left = len(read.problems) + len(read.left_out)
            said = ngettext(
                "{n} block coloured from the list.", "{n} blocks coloured from the list.", len(read.colours)
            ).format(n=len(read.colours))
            if left:
                said += " " + ngettext("{n} stayed as it was.", "{n} stayed as they were.", left).format(
                    n=left
                )
            messages.success(request, said)
            return redirect("design", found.pk)
        # What came as a file goes on as text, so that it can be looked at and mended.
        data = request.POST.copy()
        data["text"] = text
        form = ColourListForm(data)
        form.is_valid()
        data["seen"] = _seen(text, maker)
    blocks = {block.number: block for block in found.blocks.select_related("shade__range")}
    return render(
        request,
        "planning/design_colour_list.html",
        {
            "design": found,
            "form": form,
            "read": read,
            "rows": [(each, blocks[each.stop]) for each in read.colours] if read else [],
            "seen": form.data.get("seen", ""),
            "stops": len(blocks),
        },
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "HEAD", "POST"])
def design_colours_copy(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the colours of another design with as many blocks."""
    found = get_object_or_404(Design, pk=pk)
    stops = found.blocks.count()
    sources = (
        Design.objects.exclude(pk=found.pk)
        .annotate(stops_there=Count("blocks"), coloured=Count("blocks", filter=~Q(blocks__hex="")))
        .filter(stops_there=stops, coloured__gt=0)
        .defer("outline", "warnings")
        .prefetch_related(
            Prefetch("blocks", queryset=Block.objects.only("design_id", "number", "hex", "name", "drawn_mm"))
        )
        .order_by("name", "format", "pk")
    )
    form = CopyForm(request.POST or None, sources=sources)
    if request.method == "POST" and form.is_valid():
        source = form.cleaned_data["source"]
        changed = copy_colours(found, source=source)
        messages.success(
            request,
            ngettext(
                "{n} block changed to the colours of {name}.",
                "{n} blocks changed to the colours of {name}.",
                changed,
            ).format(n=changed, name=source.name),
        )
        return redirect("design", found.pk)
    return render(
        request,
        "planning/design_copy.html",
        {"design": found, "form": form, "sources": sources[:MOST_SOURCES], "stops": stops},
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "HEAD", "POST"])
def design_colours_take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask before the colours chosen by hand go, and put back the file's own."""
    found = get_object_or_404(Design, pk=pk)
    if request.method == "POST":
        back_to_file_colours(found)
        messages.success(request, _("The design asks for its file's own colours again."))
        return redirect("design", found.pk)
    return render(
        request,
        "planning/design_undo.html",
        {"design": found, "blocks": found.blocks.select_related("shade__range")},
    )


def _seen(text: str, maker: str) -> str:
    """Return a mark of a list and its maker, the same however the browser ends the lines."""
    return hashlib.sha256("\n".join([maker, *text.splitlines()]).encode()).hexdigest()

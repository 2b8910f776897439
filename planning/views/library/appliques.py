"""The appliques of a design: its parts, what may be one, what a person said is one."""

from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from inventory.compute.errors import WorkshopError
from inventory.models import StabilizerProduct
from inventory.views.asking import units_of
from planning.compute.stitches.applique import DesignPart, ProposedApplique, proposals
from planning.library.appliques import add_applique, parts_of, remove_applique
from planning.library.forms import AppliqueForm
from planning.models import Applique, AppliqueStop, Design


@require_http_methods(["GET", "HEAD", "POST"])
def design_appliques(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the parts of a design, and take in what a person says is an applique."""
    found = get_object_or_404(Design, pk=pk)
    units = units_of(request)
    problem = ""
    parts: tuple[DesignPart, ...] = ()
    try:
        parts = parts_of(found)
    except (WorkshopError, OSError) as trouble:
        problem = str(trouble)
    said = {(stop.block, stop.part): stop for stop in _stops(found)}
    open_parts = [each for each in parts if (each.block, each.part) not in said]
    maybe = proposals(open_parts)
    if request.method == "POST":
        form = AppliqueForm(request.POST, parts=parts, units=units)
        if form.is_valid():
            key = f"applique-{pk}-{form.cleaned_data['key']}"[:80]
            try:
                add_applique(found, **form.asked(), at=timezone.now(), by=request.user, key=key)
            except WorkshopError as refused:
                form.add_error(None, str(refused))
            else:
                messages.success(request, _("Kept. Plans reckon with its fabric from now on."))
                return redirect("design_appliques", pk)
    else:
        form = AppliqueForm(initial=_proposed(request, maybe), parts=parts, units=units)
    return render(
        request,
        "planning/design_appliques.html",
        {
            "design": found,
            "form": form,
            "problem": problem,
            "rows": [(each, said.get((each.block, each.part))) for each in parts],
            "proposals": list(enumerate(maybe, 1)),
            "appliques": found.appliques.select_related("product").prefetch_related("stops"),
            "any_fabric": StabilizerProduct.objects.filter(kind=StabilizerProduct.Kind.FABRIC).exists(),
        },
        status=422 if form.is_bound else 200,
    )


@require_POST
def design_applique_remove(request: HttpRequest, pk: int, applique: int) -> HttpResponse:
    """Take an applique out of a design."""
    found = get_object_or_404(Applique.objects.select_related("design"), pk=applique, design=pk)
    remove_applique(found, at=timezone.now(), by=request.user)
    messages.success(
        request, _("{applique} is taken out: its parts are stitched like any others.").format(applique=found)
    )
    return redirect("design_appliques", pk)


def _stops(design: Design) -> list[AppliqueStop]:
    return list(AppliqueStop.objects.filter(applique__design=design).select_related("applique"))


def _proposed(request: HttpRequest, maybe: tuple[ProposedApplique, ...]) -> dict[str, Any]:
    """Return what the form begins with: the proposal that the address names, if there is such a one."""
    first: dict[str, Any] = {"key": uuid4().hex}
    asked = request.GET.get("proposal", "")
    if asked.isdecimal() and 1 <= int(asked[:4]) <= len(maybe):
        chosen = maybe[int(asked) - 1]
        first |= {
            "placement": _key(chosen.placement),
            "tack_down": _key(chosen.tack_down),
            "cover": _key(chosen.cover),
        }
    return first


def _key(part: DesignPart | None) -> str:
    return part.key if part else ""

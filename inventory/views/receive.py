"""What comes onto the shelf."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory.compute.errors import WorkshopError
from inventory.ledger.history import act_of, last_reversible
from inventory.models import BobbinStyle, Place, Shade, StabilizerProduct
from inventory.shelf.arrival_forms import ARRIVALS
from inventory.shelf.forms import shades_like
from inventory.views.asking import units_of

# What the next form of a series begins with.
KEPT = "receive-kept"


@require_http_methods(["GET", "HEAD", "POST"])
def receive(request: HttpRequest, slug: str = "spools") -> HttpResponse:
    """Put something on the shelf; the next form keeps what is likely to be the same."""
    if slug not in ARRIVALS:
        raise Http404(f"nothing comes as {slug}")
    kind = ARRIVALS[slug]
    units = units_of(request)
    if request.method == "POST":
        form = kind(request.POST, units=units)
        if form.is_valid():
            try:
                form.carry_out(at=timezone.now(), by=request.user)
            except WorkshopError as problem:
                form.add_error(None, str(problem))
            else:
                kept = {name: value for name, value in form.again().items() if name != "key"}
                request.session[KEPT] = {slug: kept}
                return redirect(f"{reverse('receive', args=[slug])}?done={form.cleaned_data['key']}")
    else:
        first = {"shade": request.GET["shade"]} if "shade" in request.GET else {}
        kept = request.session.get(KEPT, {}).get(slug, {}) if "done" in request.GET else {}
        form = kind(units=units, initial=kept | first)
    context = {
        "form": form,
        "kind": kind,
        "kinds": ARRIVALS.values(),
        "missing": _missing(slug),
        **_came(request),
    }
    return render(request, "inventory/receive.html", context, status=422 if form.is_bound else 200)


def _came(request: HttpRequest) -> dict[str, Any]:
    entries = act_of(request.GET.get("done", "")) if request.GET.get("done") else []
    return {
        "came": [entry.item for entry in entries],
        "reversible": last_reversible(entries) if entries else None,
    }


def _missing(slug: str) -> list[tuple[str, str]]:
    """Return what the catalogue lacks before anything of this sort can come: its name, and where it is added."""
    shade, style = (Shade, _("a shade"), "shades"), (BobbinStyle, _("a bobbin style"), "bobbin-styles")
    product, place = (
        (StabilizerProduct, _("a stabilizer"), "stabilizers"),
        (Place, _("a place (optional)"), "places"),
    )
    wants: dict[str, list[tuple[Any, str, str]]] = {
        "spools": [shade],
        "part-used-spool": [shade],
        "bobbins": [shade, style],
        "needles": [],
        "cans": [(StabilizerProduct, _("a spray adhesive"), "stabilizers")],
    }
    asked = [*wants.get(slug, [product]), place]
    sprays = StabilizerProduct.objects.filter(kind=StabilizerProduct.Kind.SPRAY)
    none = {"cans": not sprays.exists()}
    return [
        (name, where)
        for model, name, where in asked
        if (none.get(slug) if model is StabilizerProduct else None) or not model.objects.exists()
    ]


@require_safe
def shade_choices(request: HttpRequest) -> HttpResponse:
    """Answer the shades that fit what was typed so far, for the list under the field."""
    typed = request.GET.get("shade", "").replace("\x00", "").strip()[:80]
    found = shades_like(typed, most=20) if len(typed) > 1 else []
    return render(request, "inventory/shade_choices.html", {"shades": found})

"""Do I own this?"""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.catalogue.owning import do_i_own
from inventory.compute.colour.lab import hex_from_lab
from inventory.compute.errors import WorkshopError


@require_safe
def do_i_own_this(request: HttpRequest) -> HttpResponse:
    """Answer a shade code, a name or a colour from the shelf."""
    asked = request.GET.get("q", "").replace("\x00", "").strip()[:80]
    context: dict[str, object] = {"asked": asked}
    if asked:
        try:
            answer = do_i_own(asked)
        except WorkshopError as problem:
            context["problem"] = str(problem)
        else:
            context |= {"answer": answer, "hex": hex_from_lab(answer.colour) if answer.colour else None}
    return render(request, "inventory/own.html", context, status=422 if "problem" in context else 200)

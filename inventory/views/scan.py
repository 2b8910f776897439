"""The scan box: a label code, then a quantity or a weight; the result is announced with *take back* beside it."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from inventory.compute.errors import WorkshopError
from inventory.ledger.history import act_of, last_reversible
from inventory.models import Entry
from inventory.shelf.acts import act_meant
from inventory.shelf.forms import Act, new_key
from inventory.shelf.reads import Described, item_by_label
from inventory.shelf.scan_box import movement_meant, read_code
from inventory.shelf.weights import MoreThanFull
from inventory.shelf.words import outcome
from inventory.views.asking import in_place, units_of


@require_safe
def scanned(request: HttpRequest, code: str) -> HttpResponse:
    """Lead from a label's QR code to the thing that carries it."""
    found = item_by_label(code)
    if found is None:
        return render(request, "inventory/not_found.html", {"code": code}, status=404)
    return redirect("item", found.item.label)


@require_http_methods(["GET", "HEAD", "POST"])
def scan(request: HttpRequest) -> HttpResponse:
    """Take a label code, then what was done with the thing."""
    if request.method == "POST":
        return _second_step(request)
    typed = request.GET.get("code", "").strip()
    if not typed:
        key = request.GET.get("done", "")
        return _answer(request, {"code": ""} | (result_of(request, act_of(key)) if key else {}))
    read = read_code(typed)
    found = item_by_label(read.code)
    if found is None:
        return _answer(
            request,
            {
                "code": typed,
                "problem": _("Nothing on the shelf carries {code}. {hint}").format(
                    code=read.code, hint=_HINT
                ),
            },
        )
    return _answer(request, _asked(found, amount=read.rest))


_HINT = gettext_lazy("Check the code, or look for the thing in the lists of the shelf.")


def _asked(found: Described, *, amount: str = "", problem: str = "", sure: bool = False) -> dict[str, Any]:
    return {"scanned": found, "amount": amount, "problem": problem, "key": new_key(), "ask_sure": sure}


def _second_step(request: HttpRequest) -> HttpResponse:
    typed = request.POST.get("amount", "").strip()
    found = item_by_label(request.POST.get("code", ""))
    if found is None:
        return _answer(
            request,
            {"code": request.POST.get("code", ""), "problem": _("It is gone. {hint}").format(hint=_HINT)},
        )
    if not typed:
        return _answer(
            request, {"code": "", "said": [_("Nothing was moved on {label}.").format(label=found.item.label)]}
        )
    other = item_by_label(read_code(typed).code)
    if other is not None:
        # The next thing was scanned instead of a quantity.
        return _answer(request, _asked(other, amount=read_code(typed).rest))
    try:
        act = _act(request, found, typed)
        act.carry_out(at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        asked = _asked(found, amount=typed, problem=str(problem), sure=isinstance(problem, MoreThanFull))
        return _answer(request, asked)
    key = act.cleaned_data["key"]
    if not in_place(request):
        return redirect(f"{reverse('scan')}?done={key}")
    entries = act_of(key)
    return _answer(request, {"code": ""} | result_of(request, entries))


def _act(request: HttpRequest, found: Described, typed: str) -> Act:
    meant = movement_meant(typed, kind=found.item.kind, units=units_of(request))
    return act_meant(
        meant,
        typed=typed,
        item=found.item,
        units=units_of(request),
        key=request.POST.get("key", ""),
        sure="sure" in request.POST,
    )


def result_of(request: HttpRequest, entries: list[Entry]) -> dict[str, Any]:
    """Return what to announce of an act, and the entry by which it can be taken back."""
    return {"said": outcome(entries, units_of(request)), "reversible": last_reversible(entries)}


def _answer(request: HttpRequest, context: dict[str, Any]) -> HttpResponse:
    if in_place(request):
        # In place a refusal is drawn like an answer: htmx leaves pages of 4xx where they are.
        return render(request, "inventory/scan_step.html", context | {"in_place": True})
    return render(
        request,
        "inventory/scan.html",
        context | {"on_scan_page": True},
        status=422 if context.get("problem") else 200,
    )

"""Stocktakes: round the shelf with a scanner, left and taken up again at any time."""

from collections import Counter
from collections.abc import Sequence

from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.models import Place, StockItem, Stocktake
from inventory.shelf.counts import found_as_typed
from inventory.shelf.forms import new_key
from inventory.shelf.labelled import item_labelled
from inventory.shelf.reads import Described, described
from inventory.shelf.scan_box import read_code
from inventory.shelf.weights import MoreThanFull
from inventory.stocktakes.stocktakes import (
    StocktakeReport,
    TurnedUpHere,
    begin_place,
    finish,
    next_thing,
    next_unseen,
    record,
    report,
)
from inventory.views.asking import units_of


@require_http_methods(["GET", "HEAD", "POST"])
def stocktakes(request: HttpRequest) -> HttpResponse:
    """List the stocktakes, and begin one of a place."""
    problem = ""
    if request.method == "POST":
        place = Place.objects.filter(pk=_number(request.POST.get("place", ""))).first()
        if place is None:
            problem = _("Choose the place to go round.")
        else:
            try:
                begun = begin_place(
                    place, key=request.POST.get("key", ""), at=timezone.now(), by=request.user
                )
            except WorkshopError as refused:
                problem = str(refused)
            else:
                return redirect("stocktake", begun.pk)
    listed = Stocktake.objects.select_related("place", "by").annotate(
        expected=Count("lines"), seen=Count("lines", filter=Q(lines__found__isnull=False))
    )
    context = {
        "going_on": listed.filter(finished_at__isnull=True),
        "finished": listed.filter(finished_at__isnull=False)[:30],
        "places": Place.objects.annotate(
            holds=Count("items", filter=Q(items__retired_at__isnull=True))
        ).filter(holds__gt=0),
        "problem": problem,
        "key": new_key(),
    }
    return render(request, "inventory/stocktakes.html", context, status=422 if problem else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def stocktake(request: HttpRequest, pk: int) -> HttpResponse:
    """Go on with a stocktake: the next thing to look for, and a box for what was found."""
    held = get_object_or_404(Stocktake.objects.select_related("place"), pk=pk)
    typed_code = request.POST.get("code", "").strip()
    typed_found = request.POST.get("found", "").strip()
    problem, ask_sure, ask_moving = "", False, False
    if request.method == "POST":
        try:
            code = read_code(typed_code)
            item = item_labelled(code.code)
            words = typed_found or code.rest
            scanned = next_thing(words)
            if scanned is not None:
                # A scanner types into whatever box has the focus: a code there is the next thing.
                item, words, typed_code, typed_found = scanned, "", scanned.label, ""
            if not words:
                problem = _(
                    "What was found of {label}? Type a length, a weight, a count, or ? for unknown."
                ).format(label=item.label)
            else:
                found = found_as_typed(words, item=item, units=units_of(request), sure="sure" in request.POST)
                line = record(
                    held,
                    label=item.label,
                    found=found,
                    key=request.POST.get("key", ""),
                    at=timezone.now(),
                    by=request.user,
                    moving={"here": True, "back": False}.get(request.POST.get("moving", "")),
                )
                messages.success(request, _("{label} is noted.").format(label=line.item.label))
                return redirect("stocktake", held.pk)
        except WorkshopError as refused:
            problem = str(refused)
            ask_sure, ask_moving = isinstance(refused, MoreThanFull), isinstance(refused, TurnedUpHere)
    so_far = report(held)
    wanted = next_unseen(held) if held.finished_at is None else None
    context = {
        "stocktake": held,
        "report": so_far,
        "total": so_far.seen + len(so_far.not_seen),
        "wanted": described([wanted.pk], kind=wanted.kind)[0] if wanted else None,
        "key": new_key(),
        "code": typed_code or (wanted.label if wanted else ""),
        "found": typed_found,
        "problem": problem,
        "sure": ask_sure or "sure" in request.POST,
        "moving": ask_moving or request.POST.get("moving", ""),
    }
    if held.finished_at is not None:
        return render(request, "inventory/stocktake_report.html", context | _summed_up(so_far))
    return render(request, "inventory/stocktake.html", context, status=422 if problem else 200)


def _summed_up(so_far: StocktakeReport) -> dict[str, object]:
    counts = Counter(
        "more" if each.quantity > 0 else "less" if each.quantity < 0 else "moved"
        for each in so_far.differences
    )
    return {
        "more": counts["more"],
        "less": counts["less"],
        "moved": counts["moved"],
        "not_seen": _in_words(so_far.not_seen),
    }


@require_POST
def finish_stocktake(request: HttpRequest, pk: int) -> HttpResponse:
    """End a stocktake; its report is its page from then on."""
    held = get_object_or_404(Stocktake, pk=pk)
    finish(held, at=timezone.now())
    return redirect("stocktake", held.pk)


@require_safe
def stocktake_report(request: HttpRequest, pk: int) -> HttpResponse:
    """Show what a stocktake has come to so far, whether it goes on or not."""
    held = get_object_or_404(Stocktake.objects.select_related("place"), pk=pk)
    so_far = report(held)
    context = {
        "stocktake": held,
        "report": so_far,
        "total": so_far.seen + len(so_far.not_seen),
    }
    return render(request, "inventory/stocktake_report.html", context | _summed_up(so_far))


def _in_words(items: Sequence[StockItem]) -> list[Described]:
    """Return things of any kinds with what they are in words, in their order; a question for each kind."""
    kinds = {item.kind for item in items}
    told = {
        each.item.pk: each
        for kind in kinds
        for each in described([item.pk for item in items if item.kind == kind], kind=kind)
    }
    return [told[item.pk] for item in items if item.pk in told]


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else 0

"""One thing on the shelf: what it is, how much and how sure, what can be done with it, what was."""

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from inventory import ledger
from inventory.compute.errors import WorkshopError
from inventory.ledger.changes import history_of
from inventory.ledger.history import act_of, last_reversible, levels, movements
from inventory.models import Change, Entry, Reservation
from inventory.orders.coming import coming_of
from inventory.shelf.acts import acts_for
from inventory.shelf.forms import Act
from inventory.shelf.reads import Described, item_by_label
from inventory.shelf.words import held_in_words, how_sure, in_words, outcome, quantity_number, quantity_unit
from inventory.views.asking import in_place, units_of

HISTORY_PAGE = 25
# So many movements stand in sight; more wait behind their line.
FEW_MOVEMENTS = 2
# Open without a click: what is wanted most.
OPEN = {"take", "weigh", "open", "cut", "put-back"}
MOST_OPEN = 2


def _found(request: HttpRequest, label: str) -> Described:
    found = item_by_label(label)
    if found is None:
        raise Http404(f"nothing carries {label}")
    return found


@require_safe
def item(request: HttpRequest, label: str) -> HttpResponse:
    """Show one thing."""
    found = item_by_label(label)
    if found is None:
        return render(request, "inventory/not_found.html", {"code": label}, status=404)
    return _page(request, found)


@require_http_methods(["GET", "HEAD", "POST"])
def act(request: HttpRequest, label: str, slug: str) -> HttpResponse:
    """Carry out one act with one thing; without one, show its page with that act opened."""
    found = _found(request, label)
    wanted = next((each for each in acts_for(found.item) if each.slug == slug), None)
    if wanted is None:
        raise Http404(f"{slug} is nothing that is done with {label}")
    if request.method != "POST":
        return _page(request, found, opened=slug)
    form = wanted(request.POST, item=found.item, units=units_of(request))
    if form.is_valid():
        try:
            form.carry_out(at=timezone.now(), by=request.user)
        except WorkshopError as problem:
            form.add_error(None, str(problem))
        else:
            return redirect(f"{reverse('item', args=[found.item.label])}?done={form.cleaned_data['key']}")
    return _page(request, found, bound=form, status=422)


@require_http_methods(["GET", "HEAD", "POST"])
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask whether a movement is to be taken back, with everything that happened in the same act; then do it."""
    entry = get_object_or_404(Entry.objects.select_related("item"), pk=pk)
    entries = act_of(entry.key)
    problem = ""
    if request.method == "POST":
        # An act is taken back once, so that its own number makes the key: two clicks take it back once.
        key = f"undo-{entries[0].pk}"
        try:
            ledger.reverse(entry, key=key, at=timezone.now(), by=request.user)
        except WorkshopError as refusal:
            problem = str(refusal)
        else:
            return _taken_back(request, entry, key)
    units = units_of(request)
    lines = [(each, in_words(each.item.kind, abs(each.quantity), units)) for each in entries]
    context = {"entry": entry, "lines": lines, "problem": problem, "reversible": last_reversible(entries)}
    if in_place(request) and problem:
        return render(request, "inventory/scan_step.html", {"code": "", "problem": problem, "in_place": True})
    return render(request, "inventory/take_back.html", context, status=422 if problem else 200)


def _taken_back(request: HttpRequest, entry: Entry, key: str) -> HttpResponse:
    if in_place(request):
        entries = act_of(key)
        said = outcome(entries, units_of(request))
        return render(request, "inventory/scan_step.html", {"code": "", "said": said, "in_place": True})
    if request.POST.get("back") == "scan":
        return redirect(f"{reverse('scan')}?done={key}")
    return redirect(f"{reverse('item', args=[entry.item.label])}?done={key}")


def _page(
    request: HttpRequest,
    found: Described,
    *,
    bound: Act | None = None,
    opened: str = "",
    status: int = 200,
) -> HttpResponse:
    units = units_of(request)
    thing = found.item
    forms = [
        bound if bound is not None and isinstance(bound, each) else each(item=thing, units=units)
        for each in acts_for(thing)
    ]
    opened = bound.slug if bound is not None else opened
    first = [form.slug for form in forms if form.slug in OPEN][:MOST_OPEN]
    history = Paginator(movements(thing), HISTORY_PAGE).get_page(request.GET.get("page"))
    context = {
        "found": found,
        "item": thing,
        "held": held_in_words(thing, units),
        "sure": how_sure(thing, units),
        "free": in_words(thing.kind, thing.free, units),
        "reservations": [
            (each.holder, in_words(thing.kind, each.quantity, units))
            for each in Reservation.objects.filter(item_id=thing.pk)
        ]
        if thing.reserved
        else [],
        "forms": [(form, form.slug in ([opened] if opened else first)) for form in forms],
        "history": [_moved(entry, thing.kind, request) for entry in history.object_list],
        "page_obj": history,
        "few_movements": FEW_MOVEMENTS,
        "page_numbers": history.paginator.get_elided_page_range(history.number),
        "unit": quantity_unit(thing.kind, units),
        "levels": levels(thing),
        "coming": coming_of(thing, today=timezone.localdate()),
        "changes": history_of(thing).select_related("by")[:10],
        **_done(request, found),
    }
    return render(request, "inventory/item.html", context, status=status)


def _moved(entry: Entry, kind: str, request: HttpRequest) -> dict[str, Any]:
    units = units_of(request)
    sign = "+" if entry.quantity > 0 else "−" if entry.quantity < 0 else ""
    return {
        "entry": entry,
        "quantity": sign + quantity_number(kind, abs(entry.quantity), units),
        "balance": quantity_number(kind, entry.balance, units),  # type: ignore[attr-defined]
        "reversible": last_reversible([entry]) is not None,
        "reversed": hasattr(entry, "reversed_by"),
    }


def _done(request: HttpRequest, found: Described) -> dict[str, Any]:
    """Return what the act did that this page comes from, with the entry by which it is taken back."""
    key = request.GET.get("done", "")
    if not key:
        return {}
    entries = act_of(key)
    if entries:
        others = {entry.item.label for entry in entries} - {found.item.label}
        return {
            "said": outcome(entries, units_of(request)),
            "reversible": last_reversible(entries),
            "others": sorted(others),
        }
    if Change.objects.filter(key=key).exists():
        return {"said": ["Noted."]}
    return {"said": [_("It was so already; nothing was changed.")]}

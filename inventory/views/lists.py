"""The lists of the shelf: thread, bobbins, stabilizer, needles."""

from typing import Any, NamedTuple
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import Http404, HttpRequest, HttpResponse, QueryDict, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.ledger.history import counts_by_kind
from inventory.lists.file import list_csv
from inventory.lists.filters import ShelfFilter
from inventory.lists.found import TABS, FoundThings, Listed, Tab, shelf
from inventory.lists.many import DoneWithMany, find_many, move_many, relabel_many, retire_many
from inventory.lists.wall import wall
from inventory.models import ActOnMany, Place, StockItem
from inventory.shelf.counts import found_as_typed
from inventory.shelf.forms import new_key
from inventory.shelf.reads import Described, described
from inventory.views.asking import units_of

# A page is read, not scrolled; who ticks many asks for more at once.
PER_PAGE, MANY_PER_PAGE = 10, 100
MOST_AT_ONCE = 500


class ColumnHead(NamedTuple):
    """The head of a column by which the list can be sorted."""

    name: str
    address: str
    sorted: str  # ascending, descending, or empty


def _tab(slug: str) -> Tab:
    if slug not in TABS:
        raise Http404(f"there is no list of {slug}")
    return TABS[slug]


def _asked(request: HttpRequest, tab: Tab) -> tuple[ShelfFilter, FoundThings]:
    form = ShelfFilter(request.GET, tab=tab)
    return form, shelf(tab, form.wanted())


@require_safe
def shelf_list(request: HttpRequest, slug: str = "thread") -> HttpResponse:
    """List one tab of the shelf as the page's address asks for it."""
    tab = _tab(slug)
    form, asked = _asked(request, tab)
    many = request.GET.get("shown") == "many"
    per_page = MANY_PER_PAGE if many else PER_PAGE
    page: Page[Listed] = Paginator(asked, per_page).get_page(request.GET.get("page"))  # type: ignore[arg-type]
    counts = counts_by_kind()
    context = {
        "tab": tab,
        "tabs": [(each, sum(counts.get(kind, 0) for kind in each.kinds)) for each in TABS.values()],
        "form": form,
        "chips": [(words, _without(request.GET, name)) for name, words in form.chips()],
        "sorts": {name: _column(request.GET, name) for name in tab.sorts},
        "page_obj": page,
        "rows": page.object_list,
        "page_numbers": page.paginator.get_elided_page_range(page.number),
        "near": asked.near,
        "many": many,
        "measured_in": units_of(request).size if tab.slug == "stabilizer" else "",
        "many_per_page": MANY_PER_PAGE,
        "wall": wall() if tab.slug == "thread" else (),
        "family": form.cleaned_data.get("family", ""),
        "places": Place.objects.all(),
        "key": new_key(),
        "is_empty": not any(counts.values()),
        "query": request.GET.urlencode(),
    }
    return render(request, "inventory/shelf.html", context)


@require_safe
def shelf_csv(request: HttpRequest, slug: str) -> StreamingHttpResponse:
    """Send the list of the page's address as a file, row by row."""
    tab = _tab(slug)
    _, asked = _asked(request, tab)
    response = StreamingHttpResponse(list_csv(asked), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = (
        f'attachment; filename="shelf-{tab.slug}-{timezone.localdate():%Y-%m-%d}.csv"'
    )
    return response


@require_POST
def together(request: HttpRequest, slug: str) -> HttpResponse:
    """Do one thing with all that was ticked; what cannot be seen to be meant is asked once more."""
    tab = _tab(slug)
    back = f"{reverse('shelf_list', args=[tab.slug])}?{request.POST.get('query', '')}"
    things = _ticked(request)
    wanted = request.POST.get("do", "")
    if not things:
        return _told(
            request, back, tab, [_("Nothing was ticked. Tick what you mean, then choose what to do.")]
        )
    if wanted == "label":
        return redirect(f"{reverse('labels')}?{urlencode([('item', thing.item.pk) for thing in things])}")
    if wanted == "move":
        place = Place.objects.filter(pk=_number(request.POST.get("place", ""))).first()
        if place is None:
            return _told(request, back, tab, [_("Choose the place that they go to.")])
        return _done(request, back, tab, move_many(_items(things), place=place, **_said(request)))
    if wanted in ("retire", "relabel", "find") and "asked" not in request.POST:
        context = {"things": things, "back": back, "tab": tab, "key": new_key()}
        context |= {"query": request.POST.get("query", ""), "rows": [(thing, "", "") for thing in things]}
        return render(request, f"inventory/{wanted}_together.html", context)
    if wanted == "retire":
        reference = request.POST.get("reference", "")[:120]
        return _done(request, back, tab, retire_many(_items(things), reference=reference, **_said(request)))
    if wanted == "relabel":
        typed = {thing.item.pk: request.POST.get(f"label-{thing.item.pk}", "").strip() for thing in things}
        return _done(request, back, tab, relabel_many(_items(things), labels=typed, **_said(request)))
    if wanted == "find":
        return _find(request, back, tab, things)
    raise Http404(f"{wanted} is nothing that is done with many things")


def _find(request: HttpRequest, back: str, tab: Tab, things: list[Described]) -> HttpResponse:
    """Set each thing to what was typed for it; where anything cannot be read, nothing is done and all is kept."""
    sure, found, problems = "sure" in request.POST, [], {}
    typed = {thing.item.pk: request.POST.get(f"found-{thing.item.pk}", "").strip() for thing in things}
    for thing in things:
        text = typed[thing.item.pk]
        try:
            if text:
                found.append(
                    (thing.item, found_as_typed(text, item=thing.item, units=units_of(request), sure=sure))
                )
        except WorkshopError as problem:
            problems[thing.item.pk] = str(problem)
    done = None if problems else find_many(found, **_said(request))
    if done is not None and not done.problems:
        return _done(request, back, tab, done)
    context = {
        "rows": [(thing, typed[thing.item.pk], problems.get(thing.item.pk, "")) for thing in things],
        "refused": done.problems if done else (),
        "back": back,
        "tab": tab,
        "key": new_key(),
        "query": request.POST.get("query", ""),
    }
    return render(request, "inventory/find_together.html", context, status=422)


def _items(things: list[Described]) -> list[StockItem]:
    return [thing.item for thing in things]


def _said(request: HttpRequest) -> dict[str, Any]:
    return {
        "key": request.POST.get("key", "")[:40] or new_key(),
        "at": timezone.now(),
        "by": request.user,
    }


def _ticked(request: HttpRequest) -> list[Described]:
    pks = [number for text in request.POST.getlist("item")[:MOST_AT_ONCE] if (number := _number(text))]
    kinds = dict(StockItem.objects.filter(pk__in=pks).order_by("label").values_list("pk", "kind"))
    things: list[Described] = []
    for kind in dict.fromkeys(kinds.values()):
        things += described([pk for pk, of_kind in kinds.items() if of_kind == kind], kind=kind)
    return sorted(things, key=lambda thing: thing.item.label)


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else 0


def _done(request: HttpRequest, back: str, tab: Tab, done: DoneWithMany) -> HttpResponse:
    """Lead back to the list with the act and the way to take it back, or show what of it could not be done."""
    if done.act is None and not done.problems:
        messages.info(request, _("It was so already; nothing was changed."))
        return redirect(back)
    if done.problems:
        return _told(request, back, tab, list(done.problems), done.act)
    messages.success(request, f"{done.act}.")
    assert done.act is not None  # neither done nor refused was answered above
    return redirect("act_on_many", done.act.pk)


def _told(
    request: HttpRequest, back: str, tab: Tab, problems: list[str], act: ActOnMany | None = None
) -> HttpResponse:
    context = {"problems": problems, "act": act, "back": back, "tab": tab}
    return render(request, "inventory/not_all_done.html", context, status=422)


def _without(asked: QueryDict, name: str) -> str:
    rest = [(key, value) for key, values in asked.lists() for value in values if key not in (name, "page")]
    return f"?{urlencode(rest)}"


def _column(asked: QueryDict, name: str) -> ColumnHead:
    now = asked.get("sort", "")
    rest = [(key, value) for key, values in asked.lists() for value in values if key not in ("sort", "page")]
    turned = {name: f"-{name}", f"-{name}": ""}.get(now, name)
    shown = {name: "ascending", f"-{name}": "descending"}.get(now, "")
    return ColumnHead(name, f"?{urlencode([*rest, *([('sort', turned)] if turned else [])])}", shown)

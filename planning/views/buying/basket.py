"""What must be bought, why, from whom, and the orders that come of it."""

from datetime import date, datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from inventory.acting.days import short_month
from inventory.compute.errors import WorkshopError
from inventory.compute.left_out import left_out_in_words
from inventory.lists.looking_back import (
    dead_stock,
    idle_since,
    price_history,
    spent_by_month,
    stock_value,
    turnover,
    unpriced_count,
    unused_put_ups,
)
from inventory.models import Order, StockItem, Supplier
from inventory.schema.unchanged import read_as
from inventory.shelf.forms import new_key
from inventory.shelf.words import quantity_number, quantity_unit
from planning.buying.basket import BasketPlan, plan_basket
from planning.buying.drafting import AlreadyDrafted, draft_orders, shown_of
from planning.buying.due import headline, waiting_orders
from planning.buying.needs import MaterialNeed, Needs, needs_of_all, what_books_rest_on, what_needs_rest_on
from planning.facts.patience import patience
from planning.jobs.season import items_needed, kept
from planning.models import Job, Rules

# A material's key has spaces, which an address shows as hyphens.
MONTHS_BACK = 12
# So long a page waits for the cheapest basket; the work of the search seldom takes as long.
PATIENCE_SECONDS = 20.0
SHOWN_ORDERS = 5
PER_PAGE = 20
MOST_LINES = 5


class BasketForm(forms.Form):
    """From whom, and for which jobs."""

    no_drafts = forms.BooleanField(label=_("Leave out jobs that are only drafts"), required=False)
    one_supplier = forms.BooleanField(label=_("All of it from one supplier"), required=False)
    may_split = forms.BooleanField(
        label=_("A material may come from several suppliers, in several dye lots"), required=False
    )
    only = forms.ModelMultipleChoiceField(
        Supplier.objects.all(),
        to_field_name="name",
        label=_("Only from"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text=_("None ticked: from any."),
    )

    def names(self) -> list[str]:
        return [supplier.name for supplier in self.cleaned_data["only"]]


def _currency() -> str:
    return Rules.current().currency


@require_safe
def buying(request: HttpRequest) -> HttpResponse:
    """Show what must be bought and the cheapest basket for it."""
    form = BasketForm(request.GET, label_suffix="")
    refused = ""
    plan: BasketPlan | None = None
    needs = Needs((), ())
    try:
        needs, plan = _asked(form)
    except WorkshopError as problem:
        refused = str(problem)
    is_whole = request.GET.get("whole") == "yes"
    # What is to be bought stands first, and what is used or kept, and there, last.
    ranked = sorted(needs.needs, key=lambda need: (not need.missing, not _is_told(need)))
    page: Page[MaterialNeed] = Paginator(ranked, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "refused": refused,
        "needs": needs,
        "not_considered": left_out_in_words(needs.left_out),
        "plan": plan,
        "rows": [(need, _sums(need)) for need in page.object_list if _is_told(need) and need.missing],
        "enough_rows": [
            (need, _sums(need)) for need in page.object_list if _is_told(need) and not need.missing
        ],
        "others": [need for need in page.object_list if not _is_told(need)],
        "page_obj": page,
        "page_numbers": page.paginator.get_elided_page_range(page.number),
        "currency": _currency(),
        "orders": [
            order for order in Order.objects.with_lines()[:50] if order.state == "draft" or order.is_open
        ],
        "headline": headline(plan, today=timezone.localdate()) if plan and plan.parts else "",
        "waiting": waiting_orders(needs, today=timezone.localdate()),
        "too_late": [need for need in needs.needs if need.comes_too_late and need.material.coming],
        "key": new_key(),
        "shown": shown_of(plan) if plan else "",
        "today": timezone.localdate(),
        "has_suppliers": Supplier.objects.exists(),
        "query": request.GET.urlencode(),
        "is_whole": is_whole,
        "most_lines": MOST_LINES,
        "shown_lines": ":" if is_whole else f":{MOST_LINES}",
    }
    return render(request, "planning/buying.html", context, status=422 if refused else 200)


def _asked(form: BasketForm) -> tuple[Needs, BasketPlan]:
    if not form.is_valid():
        raise WorkshopError(gettext("One of these suppliers is not known (any more). Choose again."))
    given, today = form.cleaned_data, timezone.localdate()
    drafts, one, split, names = (
        not given["no_drafts"], given["one_supplier"], given["may_split"], form.names(),
    )  # fmt: skip
    needs = needs_of_all(today=today, include_drafts=drafts)
    return needs, kept(
        ("basket", today, drafts, one, split, tuple(names), read_as()),
        what_needs_rest_on,
        lambda: plan_basket(
            needs,
            today=today,
            only=names,
            one_supplier=one,
            may_split=split,
            seconds_left=patience(PATIENCE_SECONDS),
        ),
    )


def _is_told(need: MaterialNeed) -> bool:
    """Return whether a need has a row of its own: something lacks, is on its way, or a job takes of it."""
    return bool(need.missing or need.jobs or need.net.on_order)


def _sums(need: MaterialNeed) -> dict[str, Any]:
    """Return how a need comes about, as a person would add it up."""
    return {
        "jobs": sum(job.quantity for job in need.jobs),
        "free": need.net.free,
        "on_order": need.net.on_order,
        "safety": need.net.safety,
    }


@require_POST
def buying_draft(request: HttpRequest) -> HttpResponse:
    """Draft an order to each supplier of the basket, as the page that asks for it showed it."""
    form = BasketForm(request.POST, label_suffix="")
    try:
        drafted = draft_orders(
            lambda: _asked(form)[1],
            key=request.POST.get("key", "")[:40] or new_key(),
            at=timezone.now(),
            by=request.user,
            only=request.POST.get("to", ""),
            shown=request.POST.get("shown", ""),
        )
    except AlreadyDrafted as told:
        messages.info(request, str(told))
        return redirect("order", told.orders[0].number) if len(told.orders) == 1 else redirect("orders")
    except WorkshopError as problem:
        messages.error(request, str(problem))
        asked = {name: values for name, values in request.POST.lists() if name in form.fields}
        return redirect(f"{reverse('buying')}?{urlencode(asked, doseq=True)}")
    if len(drafted) == 1:
        return redirect("order", drafted[0].number)
    messages.success(
        request,
        gettext("{number} orders are drafted. Check each, send it, and say that it is placed.").format(
            number=len(drafted)
        ),
    )
    return redirect("orders")


@require_safe
def material(request: HttpRequest, slug: str) -> HttpResponse:
    """Show one material: the jobs behind its need, and the history behind its reorder point."""
    key = slug.replace("-", " ")
    needs = needs_of_all(today=timezone.localdate())
    need = next((each for each in needs.needs if each.key == key), None)
    if need is None:
        raise Http404(f"nothing is needed of {slug}")
    context = {
        "need": need,
        "sums": _sums(need),
        "service": Rules.current().service_level,
        "today": timezone.localdate(),
        "staple_book": {
            "thread": "staple-threads",
            "bobbins": "staple-bobbins",
            "stabilizer": "staple-rolls",
            "spray": "staple-cans",
        }.get(need.material.kind),
    }
    return render(request, "planning/material.html", context)


class MonthsForm(forms.Form):
    months = forms.IntegerField(label=_("Unused for months"), min_value=1, max_value=120, initial=12)


@require_safe
def looking_back(request: HttpRequest) -> HttpResponse:
    """Show what was spent, bought and used, what prices did, and what lies there unused."""
    form = MonthsForm(request.GET or {"months": "12"}, label_suffix="")
    months = form.cleaned_data["months"] if form.is_valid() else 12
    at = timezone.now()
    today = timezone.localdate()
    since = today.replace(year=today.year - 1, day=1)
    back = kept(
        ("looking back", today, months, read_as()),
        what_needs_rest_on,
        lambda: _looked_back(at=at, since=since, months=months),
    )
    units = request.units  # type: ignore[attr-defined]
    context = {
        "form": form,
        "months": months,
        "chart": [(short_month(month.first), month.total) for month in back["spent"]],
        "spent_total": sum((month.total for month in back["spent"]), start=0),
        "turnover": [
            (
                StockItem.Kind(each.kind).label,
                quantity_number(each.kind, each.bought, units),
                quantity_number(each.kind, each.used, units),
                quantity_unit(each.kind, units) or gettext("pieces"),
            )
            for each in back["moved"]
        ],
        "value": [(StockItem.Kind(kind).label, worth) for kind, worth in sorted(back["worth"].items())],
        "value_total": sum(back["worth"].values()),
        "currency": _currency(),
        "since": since,
        **back,
    }
    return render(request, "planning/looking_back.html", context, status=422 if form.errors else 200)


def _looked_back(*, at: datetime, since: date, months: int) -> dict[str, Any]:
    """Return what the page tells, in the shelf's own units."""
    told: dict[str, Any] = kept(
        ("the books", since, months, read_as()),
        what_books_rest_on,
        lambda: {
            "spent": spent_by_month(since=since),
            "moved": turnover(since=since),
            "prices": price_history(since=since),
            "worth": stock_value(),
            "unpriced": unpriced_count(),
            "idle": idle_since(at=at, months=months),
            "put_ups": unused_put_ups(),
        },
    )
    wanted = items_needed(Job.State.PROMISED, Job.State.DRAFT).order_by().values_list("pk", flat=True)
    return {**told, "dead": dead_stock(told["idle"], wanted=wanted)}

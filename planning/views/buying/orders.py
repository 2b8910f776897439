"""Orders: their list, one of them, what is done with it, and what came of it with its labels."""

from typing import Any
from uuid import uuid4

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.acting.days import plain_day
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import parse_count, parse_decimal
from inventory.models import Order, OrderLine, OrderReceipt, Place, Shade
from inventory.orders.orders import (
    Arrived,
    cancel_order,
    expect_order,
    give_up,
    place_order,
    receive_order,
    reverse_receipt,
    take_cancelling_back,
    told_of_order,
)
from inventory.orders.scanned import Came, read_scanned
from inventory.orders.sheets import order_csv, order_pdf, order_text
from inventory.shelf.forms import new_key, shades_like
from planning.models import Rules

TYPES = {"pdf": "application/pdf", "csv": "text/csv; charset=utf-8", "txt": "text/plain; charset=utf-8"}


class PlaceOrderForm(forms.Form):
    """When it is expected."""

    expected_on = forms.DateField(
        label=_("Expected on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=_("Blank: after the supplier's usual days."),
    )


class CameForm(forms.Form):
    """What came for one line: how many, their dye lot and price, or another shade instead."""

    count = forms.CharField(label=_("Came"), required=False, max_length=10)
    lot = forms.CharField(label=_("Lot"), required=False, max_length=40)
    price = forms.CharField(label=_("Price each"), required=False, max_length=20)
    instead = forms.CharField(
        label=_("Instead of it"),
        required=False,
        max_length=80,
        help_text=_("The code of another shade; blank where it is right."),
    )
    labels = forms.CharField(required=False, max_length=6000, widget=forms.HiddenInput)

    def __init__(self, *args: Any, line: OrderLine, **options: Any) -> None:
        options |= {"label_suffix": "", "prefix": f"l{line.number}"}
        super().__init__(*args, **options)
        self.line = line
        for name in ("count", "price"):
            self.fields[name].widget.attrs |= {"inputmode": "decimal", "autocomplete": "off", "size": "6"}
        if line.product_id is not None or line.bobbin_style_id is not None:
            del self.fields["instead"]

    def clean_count(self) -> int:
        text = self.cleaned_data["count"].strip()
        return _read(parse_count, text) if text and text != "0" else 0

    def clean_labels(self) -> list[str]:
        return self.cleaned_data["labels"].split()

    def clean_price(self) -> Any:
        text = self.cleaned_data["price"].strip()
        return _read(parse_decimal, text) if text else None

    def clean_instead(self) -> Shade | None:
        text = self.cleaned_data["instead"].strip()
        if not text:
            return None
        found = list(Shade.objects.by_code(text).select_related("range")[:2]) or shades_like(text, most=2)
        alike = [shade for shade in found if shade.range_id == self._range_id]
        if len(alike) != 1:
            raise forms.ValidationError(
                gettext(
                    '"{text}" is not one shade of this range. A thread of another range is received on the '
                    "shelf's page."
                ).format(text=text)
            )
        return alike[0]

    @property
    def _range_id(self) -> int | None:
        return self.line.shade.range_id if self.line.shade else None

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        labels, count = given.get("labels", []), given.get("count", 0)
        if len(labels) > count:
            self.add_error(
                "count",
                gettext("{labels} of them were given labels, which is more than {count}.").format(
                    labels=len(labels), count=count
                ),
            )
        return given

    def arrived(self) -> list[Arrived]:
        """Return what came of the line: those with labels that were scanned, and those whose labels are drawn."""
        given = self.cleaned_data
        what: dict[str, Any] = {
            "lot": given.get("lot", ""),
            "price_each": given.get("price"),
            "instead": given.get("instead"),
        }
        labels, count = given["labels"], given["count"]
        if self.line.bobbin_style_id is not None:
            return [Arrived(self.line, count, labels=labels, **what)]
        scanned = [Arrived(self.line, len(labels), labels=labels, **what)] if labels else []
        return [*scanned, Arrived(self.line, count - len(labels), **what)]


def _read(reader: Any, text: str) -> Any:
    try:
        return reader(text)
    except WorkshopError as problem:
        raise forms.ValidationError(str(problem)) from None


@require_safe
def orders(request: HttpRequest) -> HttpResponse:
    """List the orders, the newest first."""
    found = list(Order.objects.with_lines()[:200])
    return render(request, "planning/orders.html", {"orders": found, "currency": Rules.current().currency})


def _found(number: int) -> Order:
    return get_object_or_404(Order.objects.with_lines(), number=number)


@require_http_methods(["GET", "HEAD", "POST"])
def order(request: HttpRequest, number: int) -> HttpResponse:
    """Show an order; a POST receives what came of it."""
    found = _found(number)
    received = request.method == "POST"
    all_came = "all_came" in request.POST
    lines = [line for line in found.lines.all() if line.to_come]
    scanned = read_scanned(lines, [*request.GET.getlist("scanned"), request.GET.get("code", "")])
    rows = [
        (
            line,
            CameForm(request.POST, line=line)
            if received and not all_came
            else CameForm(line=line, initial=_begins_with(line, scanned)),
        )
        for line in lines
    ]
    place = Place.objects.filter(pk=_whole(request.POST.get("place", ""))).first()
    problem = ""
    # Each form is asked, so that every bad field is shown at once.
    are_valid = [form.is_valid() for _, form in rows] if received and not all_came else []
    if received and all(are_valid):
        key = request.POST.get("key", "")[:60] or uuid4().hex
        if all_came and OrderReceipt.objects.filter(line__order=found, entry__key=key).exists():
            # Sent twice: nothing is to come any more, and the first has its answer.
            return redirect(f"{reverse('order', args=[number])}?{urlencode({'done': key})}")
        try:
            receive_order(
                found,
                arrived=[Arrived(line, line.to_come) for line in lines]
                if all_came
                else [parcel for _, form in rows for parcel in form.arrived()],
                key=key,
                at=timezone.now(),
                by=request.user,
                place=place,
            )
        except WorkshopError as refusal:
            problem = str(refusal)
        else:
            return redirect(f"{reverse('order', args=[number])}?{urlencode({'done': key})}")
    return render(
        request,
        "planning/order.html",
        _context(request, found, rows, problem) | {"scanned": scanned},
        status=422 if received else 200,
    )


def _begins_with(line: OrderLine, scanned: Came) -> dict[str, Any]:
    return {
        "price": f"{line.price_each:.2f}",
        "count": scanned.counts.get(line.number, ""),
        "labels": " ".join(scanned.labels.get(line.number, [])),
    }


def _context(
    request: HttpRequest, found: Order, rows: list[tuple[OrderLine, CameForm]], problem: str
) -> dict[str, Any]:
    receipts = list(
        OrderReceipt.objects.filter(line__order=found)
        .select_related("entry__item", "entry__reversed_by", "line")
        .order_by("-entry__at", "entry__line")
    )
    acts: dict[str, list[OrderReceipt]] = {}
    for receipt in receipts:
        acts.setdefault(receipt.entry.key, []).append(receipt)
    done = request.GET.get("done", "")
    return {
        "told": told_of_order(found),
        "order": found,
        "rows": rows if found.state == Order.State.PLACED else [],
        "problem": problem,
        "currency": Rules.current().currency,
        "place_form": PlaceOrderForm(label_suffix=""),
        "places": Place.objects.all(),
        "key": new_key(),
        "acts": [
            {
                "key": key,
                "receipts": of_act,
                "at": of_act[0].entry.at,
                "reversed": hasattr(of_act[0].entry, "reversed_by"),
                "is_new": key == done,
                "labels": f"{reverse('labels')}?{urlencode([('item', each.entry.item_id) for each in of_act])}",
            }
            for key, of_act in acts.items()
        ],
    }


@require_POST
def order_act(request: HttpRequest, number: int, act: str) -> HttpResponse:
    """Place, cancel or revive an order, put its day off, give up the rest of a line, or take a receipt back."""
    found, at = _found(number), timezone.now()
    try:
        if act == "place":
            form = PlaceOrderForm(request.POST)
            if not form.is_valid():
                raise WorkshopError(gettext("The day it is expected is no date. Write it like 2026-03-09."))
            placed = place_order(found, at=at, by=request.user, expected_on=form.cleaned_data["expected_on"])
            assert placed.expected_on is not None  # placing gives every order its day
            said = gettext("Order {number} is placed, and expected on {day}.").format(
                number=number, day=plain_day(placed.expected_on)
            )
        elif act == "expect":
            form = PlaceOrderForm(request.POST)
            if not form.is_valid() or not form.cleaned_data["expected_on"]:
                raise WorkshopError(gettext("Say on which day the rest is expected, such as 2026-03-09."))
            expect_order(found, on=form.cleaned_data["expected_on"], at=at, by=request.user)
            said = gettext("The rest of order {number} is expected on {day}.").format(
                number=number, day=plain_day(form.cleaned_data["expected_on"])
            )
        elif act == "cancel":
            cancelled = cancel_order(found, at=at, by=request.user)
            said = (
                gettext("Order {number} is closed.")
                if cancelled.placed_at
                else gettext("Order {number} is cancelled.")
            )
            said = said.format(number=number)
        elif act == "revive":
            take_cancelling_back(found, at=at, by=request.user)
            said = gettext("Order {number} is expected again.").format(number=number)
        elif act == "give-up":
            line = get_object_or_404(found.lines, number=_whole(request.POST.get("line", "")))
            said = gettext("The rest of {what} is no longer expected.").format(
                what=give_up(line, at=at, by=request.user).what
            )
        elif act == "take_back":
            reverse_receipt(found, key=request.POST.get("receipt", ""), at=at, by=request.user)
            said = gettext("Taken back: what came is off the shelf, and expected again.")
        else:
            raise Http404(f"{act} is nothing that is done with an order")
    except WorkshopError as problem:
        messages.error(request, str(problem))
    else:
        messages.success(request, said)
    return redirect("order", number)


@require_safe
def order_file(request: HttpRequest, number: int, ending: str) -> HttpResponse:
    """Send an order as a file."""
    if ending not in TYPES:
        raise Http404(f"orders are not written as {ending}")
    found, rules = _found(number), Rules.current()
    named = {"workshop": rules.workshop_name, "currency": rules.currency}
    content = {
        "pdf": lambda: order_pdf(found, **named),
        "csv": lambda: order_csv(found),
        "txt": lambda: order_text(found, **named).encode(),
    }[ending]()
    response = HttpResponse(content, content_type=TYPES[ending])
    shown = "inline" if ending == "txt" else "attachment"
    response["Content-Disposition"] = f'{shown}; filename="order-{found.number}.{ending}"'
    return response


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 19 else 0

"""Buying: what is needed, the cheapest basket, orders drafted, placed, cancelled and received."""

from decimal import Decimal
from typing import Any, Literal

from django.http import Http404, HttpRequest
from django.utils import timezone
from ninja import Field, Path, Query, Router, Schema

from inventory.compute.errors import WorkshopError
from inventory.models import Order, Shade
from inventory.orders.orders import Arrived, cancel_order, place_order, receive_order
from planning.buying.basket import BasketPlan, plan_basket
from planning.buying.drafting import draft_orders, shown_of
from planning.buying.needs import MaterialNeed, needs_of_all
from planning.buying.rows import shopping_rows_of_all
from planning.facts.patience import patience
from planning.models import Rules
from workshop.api.catalogue import LeftOutRow
from workshop.api.once import DoneOnce, once
from workshop.api.shapes import Asked, Day, Few, Id, Money, Name, PageAsked, RowPage, Words, page_of
from workshop.api.stock import ActDone, act_done, place_named

router = Router(tags=["buying"])
OrderNumber = Path(..., ge=1, le=2**31 - 1)
PATIENCE_SECONDS = 20.0
MOST_SUPPLIERS, MOST_LINES = 50, 500
THERE_BY = "The day by which it must be there, so that its job can be begun in time."


class JobNeedRow(Schema):
    """What one job takes of a material."""

    job: int
    what: str
    needed_on: str | None = Field(description=THERE_BY)
    quantity: int


class NeedTold(Schema):
    """A material: what jobs take of it, what is there, and what must be bought; in its unit."""

    material: str
    kind: str
    name: str
    detail: str
    unit: Literal["mm", "mg", "pieces"]
    free: int
    on_order: int
    safety: int
    missing: int
    needed_on: str | None = Field(description=THERE_BY)
    order_by: str | None
    kept_for: str = Field(description="Why it is kept though no job wants it; empty where that is not so.")
    jobs: list[JobNeedRow]


class NeedsAnswer(RowPage[NeedTold]):
    """The needs of all open jobs and of the shelf itself."""

    unclear: list[str] = Field(description="Jobs of which it cannot be said what they need.")
    left_out: list[LeftOutRow]


class BasketRow(Schema):
    """One thing to buy, or a need that nobody is known to sell."""

    what: str
    kind: str
    need_mm: int
    need_pieces: int
    packs: int
    put_up: str
    supplier: str
    unit_price: str | None
    total: str | None
    order_by: str | None
    needed_on: str | None = Field(description=THERE_BY)
    jobs: list[int]
    kept_for: str


class BasketAnswer(Schema):
    """The cheapest basket in whole packs; ``shown`` is sent back where just this is drafted."""

    currency: str
    total: str
    proof: str | None = Field(
        description="How far it is proven to be the cheapest; null where nothing is said."
    )
    shown: str
    rows: list[BasketRow]


class OrderLineRow(Schema):
    """So many packs of one thing."""

    line: int
    what: str
    put_up: str
    packs: int
    things: int
    received: int
    to_come: int
    total: str


class OrderRow(Schema):
    """An order to one supplier; ``stands`` says how in words."""

    number: int
    supplier: str
    state: Literal["draft", "placed", "cancelled"]
    stands: str
    expected_on: str | None
    shipping: str
    total: str
    lines: list[OrderLineRow]


class OrdersAnswer(Schema):
    """The orders that were drafted."""

    orders: list[OrderRow]


class BasketAsked(Asked):
    """From whom, and for which jobs."""

    no_drafts: bool = Field(False, description="Leave out jobs that are only drafts.")
    one_supplier: bool = False
    may_split: bool = Field(
        False, description="A material may come from several suppliers, in several dye lots."
    )
    only: list[Words] = Field(default_factory=list, max_length=MOST_SUPPLIERS, description="Only from these.")


class DraftAsked(Asked):
    """The basket that is drafted, asked for as it was shown."""

    no_drafts: bool = Field(False, strict=True)
    one_supplier: bool = Field(False, strict=True)
    may_split: bool = Field(False, strict=True)
    only: list[Name] = Field(default_factory=list, max_length=MOST_SUPPLIERS)
    to: Words = Field("", description="Draft only the order to this supplier of the basket.")
    shown: Words | None = Field(None, description="From the basket: draft only that one.")


class PlaceAsked(Asked):
    """When it is expected; null: after the supplier's usual days."""

    expected_on: Day | None = None


class CameAsked(Asked):
    """What came for one line."""

    line: int = Field(strict=True, ge=1, le=10_000)
    count: Few
    lot: str = Field("", strict=True, max_length=40, pattern=r"^[^\x00]*$")
    price_each: Money | None = Field(None, description="Null: as ordered.")
    instead_shade_id: Id | None = Field(None, description="Another shade of the range that came instead.")


class ReceiveAsked(Asked):
    """What came of an order."""

    lines: list[CameAsked] = Field(min_length=1, max_length=MOST_LINES)
    place: Words = ""


@router.get("/needs", response=NeedsAnswer, url_name="api_needs")
def list_needs(request: HttpRequest, asked: Query[PageAsked]) -> Any:
    """List what jobs and the shelf need of each material."""
    needs = needs_of_all(today=timezone.localdate())
    page = page_of(request, needs.needs, asked, count=len(needs.needs), row=_need)
    left_out = [
        {"what": each.what, "count": each.count, "why": each.why, "labels": list(each.labels)}
        for each in needs.left_out
    ]
    return page | {"unclear": list(needs.unclear), "left_out": left_out}


@router.get("/basket", response=BasketAnswer, url_name="api_basket")
def ask_basket(request: HttpRequest, asked: Query[BasketAsked]) -> Any:
    """Find the cheapest basket for what must be bought."""
    needs, plan = _basket(asked)
    rows = shopping_rows_of_all(plan, needs)
    return {
        "currency": Rules.current().currency,
        "total": str(plan.basket.total),
        "proof": str(plan.basket.proof) if plan.basket.proof else None,
        "shown": shown_of(plan),
        "rows": rows,
    }


@router.get("/orders", response=RowPage[OrderRow], url_name="api_orders")
def list_orders(request: HttpRequest, asked: Query[PageAsked]) -> Any:
    """List the orders, the newest first."""
    found = Order.objects.with_lines().order_by("-number")
    return page_of(request, found, asked, count=found.count(), row=_order)


@router.post("/orders", response={201: OrdersAnswer}, url_name="api_orders")
@once(201)
def draft(request: HttpRequest, asked: DraftAsked) -> OrdersAnswer:
    """Draft an order to each supplier of the basket."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    drafted = draft_orders(lambda: _basket(asked)[1], only=asked.to, shown=asked.shown, **done.as_asked)
    return OrdersAnswer.model_validate({"orders": [_order(_found(each.number)) for each in drafted]})


@router.get("/orders/{number}", response=OrderRow, url_name="api_order")
def one_order(request: HttpRequest, number: int = OrderNumber) -> Any:
    """Tell of one order."""
    return _order(_found(number))


@router.post("/orders/{number}/place", response=OrderRow, url_name="api_place_order")
@once()
def place(request: HttpRequest, placed: PlaceAsked, number: int = OrderNumber) -> OrderRow:
    """Say that an order was sent."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    place_order(_found(number), at=done.at, by=done.by, expected_on=placed.expected_on)
    return OrderRow.model_validate(_order(_found(number)))


@router.post("/orders/{number}/cancel", response=OrderRow, url_name="api_cancel_order")
@once()
def cancel(request: HttpRequest, number: int = OrderNumber) -> OrderRow:
    """Cancel an order; of one that came in part, the rest is given up."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    cancel_order(_found(number), at=done.at, by=done.by)
    return OrderRow.model_validate(_order(_found(number)))


@router.post("/orders/{number}/receive", response={201: ActDone}, url_name="api_receive_order")
@once(201)
def receive(request: HttpRequest, came: ReceiveAsked, number: int = OrderNumber) -> ActDone:
    """Put what came of an order on the shelf, each thing with its label."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    order = _found(number)
    lines = {line.number: line for line in order.lines.all()}
    unknown = [each.line for each in came.lines if each.line not in lines]
    if unknown:
        raise WorkshopError(f"Order {number} has no line {unknown[0]}; it has {', '.join(map(str, lines))}.")
    arrived = [
        Arrived(
            lines[each.line],
            each.count,
            lot=each.lot,
            price_each=None if each.price_each is None else Decimal(each.price_each),
            instead=_shade(each.instead_shade_id) if each.instead_shade_id else None,
        )
        for each in came.lines
    ]
    place = place_named(came.place) if came.place else None
    receive_order(order, arrived=arrived, place=place, **done.as_asked)
    return act_done(done.key)


def _basket(asked: BasketAsked | DraftAsked) -> tuple[Any, BasketPlan]:
    today = timezone.localdate()
    needs = needs_of_all(today=today, include_drafts=not asked.no_drafts)
    return needs, plan_basket(
        needs,
        today=today,
        only=asked.only,
        one_supplier=asked.one_supplier,
        may_split=asked.may_split,
        seconds_left=patience(PATIENCE_SECONDS),
    )


def _found(number: int) -> Order:
    order = Order.objects.with_lines().filter(number=number).first()
    if order is None:
        raise Http404(f"There is no order {number}.")
    return order


def _shade(number: int) -> Shade:
    found = Shade.objects.filter(pk=number).first()
    if found is None:
        raise WorkshopError(f"No shade has the number {number}.")
    return found


def _need(need: MaterialNeed) -> dict[str, Any]:
    net, material = need.net, need.material
    return {
        "material": need.key,
        "kind": material.kind,
        "name": material.name,
        "detail": material.detail,
        "unit": material.unit,
        "free": round(net.free),
        "on_order": round(net.on_order),
        "safety": round(net.safety),
        "missing": need.missing,
        "needed_on": need.needed_on.isoformat() if need.needed_on else None,
        "order_by": need.order_by.isoformat() if need.order_by else None,
        "kept_for": need.kept_for,
        "jobs": [
            {
                "job": each.job,
                "what": each.what,
                "needed_on": each.day.isoformat() if each.day else None,
                "quantity": each.quantity,
            }
            for each in need.jobs
        ],
    }


def _order(order: Order) -> dict[str, Any]:
    return {
        "number": order.number,
        "supplier": order.supplier.name,
        "state": order.state,
        "stands": order.stands,
        "expected_on": order.expected_on.isoformat() if order.expected_on else None,
        "shipping": str(order.shipping),
        "total": str(order.total),
        "lines": [
            {
                "line": line.number,
                "what": line.what,
                "put_up": line.sold_as,
                "packs": line.packs,
                "things": line.things,
                "received": line.received,
                "to_come": line.to_come,
                "total": str(line.total),
            }
            for line in order.lines.all()
        ],
    }

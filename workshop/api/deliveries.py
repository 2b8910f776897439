"""What comes onto the shelf: spools, bobbins and rolls, each delivery one act."""

from decimal import Decimal
from typing import Any, TypeVar, cast

from django.db import models
from django.http import HttpRequest
from ninja import Field, Router

from inventory.compute.errors import WorkshopError
from inventory.models import BobbinStyle, PutUp, Shade, StabilizerProduct
from inventory.shelf.receipts import (
    Delivery,
    receive_bobbins,
    receive_open_spool,
    receive_rolls,
    receive_spools,
)
from workshop.api.once import DoneOnce, once
from workshop.api.shapes import Asked, Few, Id, Money, Some, Whole, Words
from workshop.api.stock import ActDone, act_done, place_named

router = Router(tags=["stock"])
Record = TypeVar("Record", bound=models.Model)
LONGEST_SIDE_MM = 10**6


class Arrives(Asked):
    """What all deliveries say."""

    place: Words = Field("", description="The name of a place.")
    lot: str = Field("", strict=True, max_length=40, pattern=r"^[^\x00]*$")
    price_each: Money | None = None
    reference: Words = ""


class SpoolsAsked(Arrives):
    """Full spools of a shade."""

    shade_id: Id
    put_up_id: Id
    count: Few = 1


class OpenSpoolAsked(Arrives):
    """A part-used spool that is new to the books; without a length it stays unknown until it is weighed."""

    shade_id: Id
    put_up_id: Id | None = None
    length_mm: Whole | None = None


class BobbinsAsked(Arrives):
    """Full bobbins of one style."""

    style_id: Id
    shade_id: Id
    length_mm: Some = Field(description="Of thread on each.")
    count: Few


class RollsAsked(Arrives):
    """Full rolls of a stabilizer."""

    product_id: Id
    width_mm: int = Field(strict=True, ge=1, le=LONGEST_SIDE_MM)
    length_mm: Some
    count: Few = 1


@router.post("/deliveries/spools", response={201: ActDone}, url_name="api_receive_spools")
@once(201)
def receive_full_spools(request: HttpRequest, came: SpoolsAsked) -> ActDone:
    """Put full spools on the shelf."""
    done = _done(request)
    shade, put_up = _named(Shade, came.shade_id, "shade"), _named(PutUp, came.put_up_id, "put-up")
    receive_spools(shade, put_up=put_up, count=came.count, delivery=_delivery(came, done))
    return act_done(done.key)


@router.post("/deliveries/open-spool", response={201: ActDone}, url_name="api_receive_open_spool")
@once(201)
def receive_part_used_spool(request: HttpRequest, came: OpenSpoolAsked) -> ActDone:
    """Put a part-used spool on the shelf that is new to the books."""
    done = _done(request)
    put_up = _named(PutUp, came.put_up_id, "put-up") if came.put_up_id else None
    receive_open_spool(
        _named(Shade, came.shade_id, "shade"),
        put_up=put_up,
        length_mm=came.length_mm,
        delivery=_delivery(came, done),
    )
    return act_done(done.key)


@router.post("/deliveries/bobbins", response={201: ActDone}, url_name="api_receive_bobbins")
@once(201)
def receive_full_bobbins(request: HttpRequest, came: BobbinsAsked) -> ActDone:
    """Put full bobbins on the shelf."""
    done = _done(request)
    receive_bobbins(
        _named(BobbinStyle, came.style_id, "bobbin style"),
        shade=_named(Shade, came.shade_id, "shade"),
        length_mm=came.length_mm,
        count=came.count,
        delivery=_delivery(came, done),
    )
    return act_done(done.key)


@router.post("/deliveries/rolls", response={201: ActDone}, url_name="api_receive_rolls")
@once(201)
def receive_full_rolls(request: HttpRequest, came: RollsAsked) -> ActDone:
    """Put full rolls of stabilizer on the shelf."""
    done = _done(request)
    receive_rolls(
        _named(StabilizerProduct, came.product_id, "stabilizer"),
        width_mm=came.width_mm,
        length_mm=came.length_mm,
        count=came.count,
        delivery=_delivery(came, done),
    )
    return act_done(done.key)


def _delivery(came: Arrives, done: DoneOnce) -> Delivery:
    return Delivery(
        **done.as_asked,
        place=place_named(came.place) if came.place else None,
        lot=came.lot.strip(),
        price_each=None if came.price_each is None else Decimal(came.price_each),
        reference=came.reference,
    )


def _done(request: HttpRequest) -> DoneOnce:
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    return done


def _named(model: type[Record], number: int, what: str) -> Record:
    found: Any = model._default_manager.filter(pk=number).first()
    if found is None:
        raise WorkshopError(f"No {what} has the number {number}.")
    return cast(Record, found)

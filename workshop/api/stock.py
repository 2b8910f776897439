"""Stock: what is on the shelf, one thing of it, and what is done with a thing."""

from typing import Any, Literal

from django.http import Http404, HttpRequest
from ninja import Field, Path, Query, Router, Schema

from inventory import ledger
from inventory.compute.errors import WorkshopError
from inventory.ledger import entries_of
from inventory.ledger.history import act_of, movements
from inventory.ledger.posting import SHOWN
from inventory.lists.found import TABS, ShelfSearch, shelf
from inventory.models import Entry, Place, Spool, StockItem
from inventory.shelf import things
from inventory.shelf.counts import count_item
from inventory.shelf.labelled import item_labelled
from inventory.shelf.reads import Described, described, item_by_label
from inventory.shelf.weights import judge_spool, weigh_spool
from workshop.api.once import DoneOnce, once
from workshop.api.shapes import (
    Asked,
    Name,
    Number,
    PageAsked,
    RowPage,
    Some,
    Whole,
    Words,
    Yes,
    in_its_unit,
    page_of,
)

router = Router(tags=["stock"])
Label = Path(..., min_length=1, max_length=60, description="The code on its label, in capitals or not.")
MOST_MG = 10**9


class StockThing(Schema):
    """One thing on the shelf. A length is in mm, what is counted in pieces; the other of the two is null."""

    label: str
    kind: Literal["spool", "bobbins", "part_bobbin", "roll", "sheets", "offcut", "needles", "can"]
    name: str = Field(description="What it is in words.")
    detail: str
    hex: str | None = Field(description="Its nearest screen colour; null where it has none or nobody knows.")
    shade_id: int | None
    on_hand_mm: int | None
    on_hand_pieces: int | None
    free_mm: int | None = Field(description="Without what is set aside.")
    free_pieces: int | None
    sigma_mm: float | None = Field(description="One standard deviation; null where nobody knows.")
    sigma_pieces: float | None
    known: Literal["sealed", "weighed", "counted", "measured", "judged", "unknown"]
    empty_mg: int | None = Field(description="Of a spool: what it weighs empty.")
    place: str | None
    lot: str
    note: str
    opened_on: str | None
    received_on: str | None
    is_on_the_shelf: bool


class Movement(Schema):
    """One movement of one thing, for good; what takes it back is a movement of its own."""

    number: int
    label: str
    reason: str
    moved_mm: int | None
    moved_pieces: int | None
    at: str
    by: str | None
    station: str | None
    reference: str
    takes_back: int | None = Field(description="The number of the movement that this takes back.")
    is_taken_back: bool


class ActDone(Schema):
    """What an act moved, and the things as they are now."""

    movements: list[Movement]
    things: list[StockThing]


class StockAsked(PageAsked):
    """Which things: of one list, by words, in a place."""

    of: Literal["thread", "bobbins", "stabilizer", "needles", "sprays"] = "thread"
    text: Words = ""
    place: Words = Field("", description="The name of a place.")
    low: bool = False


class WeighAsked(Asked):
    """What the scale shows with the spool and its thread on it."""

    gross_mg: int = Field(strict=True, ge=1, le=MOST_MG, examples=[52400])
    scale_step_mg: int = Field(
        strict=True, ge=1, le=10**6, examples=[100], description="The step of its last figure."
    )
    sure: Yes = Field(False, description="Believe more than a full spool could hold.")
    reference: Words = ""


class Amount(Asked):
    """How much, in the unit of the thing: a length in mm, or pieces."""

    mm: Some | None = None
    pieces: Some | None = None

    def of(self, item: StockItem) -> int:
        """Return the quantity in the thing's own unit. Raises WorkshopError for the other one, or none."""
        amount, other, unit = (
            (self.mm, self.pieces, "mm") if item.is_measured else (self.pieces, self.mm, "pieces")
        )
        if amount is None or other is not None:
            raise WorkshopError(f"{item} is kept in {unit}: send how many {unit}, and nothing else.")
        return amount


class UseAsked(Amount):
    """So much is taken for something."""

    reference: Words = Field("", description="What for.")


class CountAsked(Asked):
    """So much is really there."""

    mm: Whole | None = None
    pieces: Whole | None = None
    sure: Yes = Field(False, description="Believe what cannot well be.")
    reference: Words = ""


class JudgeAsked(Asked):
    """What a spool looks like."""

    level: Literal["full", "three quarters", "half", "quarter", "nearly empty"]


class MoveAsked(Asked):
    """Where it is kept from now on."""

    place: Name | None = Field(description="The name of a place; null for none.")


class WhyAsked(Asked):
    """Why, in words."""

    reference: Words = ""


@router.get("/stock", response=RowPage[StockThing], url_name="api_stock")
def list_stock(request: HttpRequest, asked: Query[StockAsked]) -> Any:
    """List what is on the shelf, by label."""
    place = place_named(asked.place) if asked.place else None
    found = shelf(TABS[asked.of], ShelfSearch(text=asked.text, place=place, low=asked.low, sort="label"))
    return page_of(request, found, asked, count=found.count(), row=lambda each: thing_as_data(each.thing))


@router.post("/stock/{path:label}/weigh", response=ActDone, url_name="api_weigh")
@once()
def weigh(request: HttpRequest, weighed: WeighAsked, label: str = Label) -> ActDone:
    """Set a spool to the length that its weight tells."""
    done, item = _meant(request, label)
    weigh_spool(
        item,
        gross_mg=weighed.gross_mg,
        scale_resolution_mg=weighed.scale_step_mg,
        sure=weighed.sure,
        reference=weighed.reference,
        **done.as_asked,
    )
    return act_done(done.key)


@router.post("/stock/{path:label}/use", response=ActDone, url_name="api_use")
@once()
def use(request: HttpRequest, used: UseAsked, label: str = Label) -> ActDone:
    """Take so much of a thing."""
    done, item = _meant(request, label)
    ledger.use(item, quantity=used.of(item), reference=used.reference, **done.as_asked)
    return act_done(done.key)


@router.post("/stock/{path:label}/put-back", response=ActDone, url_name="api_put_back")
@once()
def put_back(request: HttpRequest, left: Amount, label: str = Label) -> ActDone:
    """Put back what was taken and not used."""
    done, item = _meant(request, label)
    things.put_back(item, quantity=left.of(item), **done.as_asked)
    return act_done(done.key)


@router.post("/stock/{path:label}/count", response=ActDone, url_name="api_count")
@once()
def count(request: HttpRequest, counted: CountAsked, label: str = Label) -> ActDone:
    """Set a thing to what is really there, counted or measured."""
    done, item = _meant(request, label)
    there, other = (counted.mm, counted.pieces) if item.is_measured else (counted.pieces, counted.mm)
    if there is None or other is not None or item.kind == StockItem.Kind.OFFCUT:
        unit = "mm" if item.is_measured else "pieces"
        raise WorkshopError(
            f"{item} is kept in {unit}: send how many {unit}, and nothing else; an offcut is one."
        )
    count_item(item, quantity=there, sure=counted.sure, reference=counted.reference, **done.as_asked)
    return act_done(done.key)


@router.post("/stock/{path:label}/judge", response=ActDone, url_name="api_judge")
@once()
def judge(request: HttpRequest, judged: JudgeAsked, label: str = Label) -> ActDone:
    """Set a spool to what it looks like."""
    done, item = _meant(request, label)
    judge_spool(item, level=judged.level, **done.as_asked)
    return act_done(done.key)


@router.post("/stock/{path:label}/waste", response=ActDone, url_name="api_waste")
@once()
def waste(request: HttpRequest, wasted: UseAsked, label: str = Label) -> ActDone:
    """Write so much of a thing off."""
    done, item = _meant(request, label)
    ledger.waste(item, quantity=wasted.of(item), reference=wasted.reference, **done.as_asked)
    return act_done(done.key)


@router.post("/stock/{path:label}/move", response=StockThing, url_name="api_move")
@once()
def move_to(request: HttpRequest, moved: MoveAsked, label: str = Label) -> StockThing:
    """Keep a thing in another place."""
    done, item = _meant(request, label)
    things.move(item, place=place_named(moved.place) if moved.place else None, **done.as_asked)
    return _thing(label)


@router.post("/stock/{path:label}/retire", response=ActDone, url_name="api_retire")
@once()
def take_off(request: HttpRequest, why: WhyAsked, label: str = Label) -> ActDone:
    """Take a thing off the shelf; what is left of it is written off."""
    done, item = _meant(request, label)
    things.retire(item, reference=why.reference, **done.as_asked)
    return act_done(done.key)


@router.get("/stock/{path:label}/movements", response=RowPage[Movement], url_name="api_movements")
def list_movements(request: HttpRequest, asked: Query[PageAsked], label: str = Label) -> Any:
    """List the movements of a thing, newest first."""
    item = item_labelled(label)
    found = movements(item).select_related("item")
    return page_of(request, found, asked, count=found.count(), row=movement_as_data)


@router.get("/stock/{path:label}", response=StockThing, url_name="api_thing")
def one_thing(request: HttpRequest, label: str = Label) -> Any:
    """Tell of one thing."""
    return _thing(label)


@router.post("/movements/{number}/take-back", response=ActDone, url_name="api_take_back")
@once()
def take_movement_back(request: HttpRequest, number: Path[Number]) -> ActDone:
    """Take a movement back, with everything that happened in the same act."""
    done: DoneOnce = request.done  # type: ignore[attr-defined]
    entry = Entry.objects.filter(pk=number).select_related("item").first()
    if entry is None:
        raise Http404(f"No movement has the number {number}.")
    first = act_of(entry.key)[0]
    # The same key as on the pages: an act is taken back once, whoever does it.
    key = f"undo-{first.pk}"
    ledger.reverse(entry, key=key, at=done.at, by=done.by)
    return act_done(key)


def place_named(name: str) -> Place:
    """Return the place of that name, in capitals or not. Raises WorkshopError with the names there are."""
    place = Place.objects.filter(name__iexact=name).first()
    if place is None:
        names = ", ".join(Place.objects.values_list("name", flat=True)) or "none yet"
        raise WorkshopError(f'There is no place called "{name}". There are: {names}.')
    return place


def thing_as_data(thing: Described) -> dict[str, Any]:
    """Return a thing as programs are told of it."""
    item = thing.item
    known = item.sigma if item.is_known else None
    return {
        "label": item.label,
        "kind": item.kind,
        "name": thing.name,
        "detail": thing.detail,
        "hex": thing.hex,
        "shade_id": getattr(item, "shade_id", None),
        **in_its_unit("on_hand", item.on_hand, is_measured=item.is_measured),
        **in_its_unit("free", item.free, is_measured=item.is_measured),
        **in_its_unit("sigma", known, is_measured=item.is_measured),
        "known": item.known,
        "empty_mg": item.empty_weight_mg if isinstance(item, Spool) else None,
        "place": item.place.name if item.place else None,
        "lot": item.lot,
        "note": item.note,
        "opened_on": item.opened_on.isoformat() if item.opened_on else None,
        "received_on": item.received_on.isoformat() if item.received_on else None,
        "is_on_the_shelf": item.retired_at is None,
    }


def movement_as_data(entry: Entry) -> dict[str, Any]:
    """Return a movement as programs are told of it."""
    return {
        "number": entry.pk,
        "label": entry.item.label,
        "reason": entry.reason,
        **in_its_unit("moved", entry.quantity, is_measured=entry.item.is_measured),
        "at": entry.at.isoformat(),
        "by": entry.by.get_username() if entry.by else None,
        "station": entry.station or None,
        "reference": entry.reference,
        "takes_back": entry.reverses_id,
        "is_taken_back": hasattr(entry, "reversed_by"),
    }


def act_done(key: str) -> ActDone:
    """Return what the act with this key moved, and the things as they are now."""
    entries = [entry for entry in entries_of(key) if entry.line < SHOWN]
    kinds = {entry.item_id: entry.item.kind for entry in entries}
    now = [thing for pk, kind in kinds.items() for thing in described([pk], kind=kind)]
    return ActDone.model_validate(
        {
            "movements": [movement_as_data(entry) for entry in entries],
            "things": [thing_as_data(thing) for thing in now],
        }
    )


def _thing(label: str) -> StockThing:
    found = item_by_label(label)
    if found is None:
        item_labelled(label)  # which says so
    assert found is not None
    return StockThing.model_validate(thing_as_data(found))


def _meant(request: HttpRequest, label: str) -> tuple[DoneOnce, StockItem]:
    return request.done, item_labelled(label)  # type: ignore[attr-defined]

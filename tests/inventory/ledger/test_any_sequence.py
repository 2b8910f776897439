"""Whatever is done to a few things on the shelf, in whatever order, the ledger stays right.

Acts, refusals, repetitions and reversals are drawn at random; what must hold is worked out here anew from the
bare rows after every step.
"""

from collections import Counter, defaultdict
from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from inventory import ledger
from inventory.compute.errors import WorkshopError
from inventory.compute.weighing import FILL_LEVELS
from inventory.ledger.changes import changed_before
from inventory.models import Change, Entry, Place, Reservation, StockItem, StocktakeLine
from inventory.shelf.bobbins import open_bobbin, put_back_part_bobbin, wind_bobbins
from inventory.shelf.counts import Found, count_item
from inventory.shelf.needles import use_needle
from inventory.shelf.offcuts import cut_piece
from inventory.shelf.receipts import receive_needles, receive_offcut, receive_sheets, receive_spools
from inventory.shelf.things import edit_item, move, put_back_on_shelf, retire, split_pack
from inventory.shelf.weights import judge_spool, learn_tare, mark_unknown, weigh_spool
from inventory.stocktakes.stocktakes import begin_items, begin_place, finish, record
from tests.factories import (
    NOW,
    a_bobbin_style,
    a_delivery,
    a_key,
    a_place,
    a_put_up,
    a_roll,
    a_spool,
    a_stabilizer,
    some_bobbins,
)

Kind = StockItem.Kind

which = st.integers(min_value=0, max_value=30)
share = st.sampled_from([0.0, 0.1, 0.4, 1.0, 1.0, 1.3])
undo = st.booleans()


class State(NamedTuple):
    """What an act may change of an item."""

    on_hand: int
    reserved: int
    sigma: float | None
    known: str
    opened_on: Any
    retired_at: Any
    place: int | None


class Request(NamedTuple):
    """Something that was asked for and done, to be asked for again just like that."""

    ask: Callable[[], Any]
    answer: Any
    still_the_same: Callable[[], bool]


def states() -> dict[int, State]:
    rows = StockItem.objects.values_list(
        "pk", "on_hand", "reserved", "sigma", "known", "opened_on", "retired_at", "place"
    )
    return {pk: State(*values) for pk, *values in rows}


def everything() -> tuple[object, ...]:
    """Return all that an act may write, to compare before and after."""
    return (
        states(),
        Entry.objects.count(),
        list(Reservation.objects.order_by("pk").values_list("pk", "item", "quantity")),
        Change.objects.count(),
        list(StocktakeLine.objects.order_by("pk").values_list("pk", "expected", "found", "entry")),
    )


def always() -> bool:
    return True


class Shelf(RuleBasedStateMachine):
    """A shelf with one or two things of every kind, and hands that do anything to them."""

    def __init__(self) -> None:
        super().__init__()
        self.transaction = transaction.atomic()
        self.transaction.__enter__()
        self.done: list[Request] = []
        self.stocktakes: list[Any] = []

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.transaction.__exit__(None, None, None)

    @initialize()
    def fill(self) -> None:
        a_spool(metres=1000, place=a_place("wall"))
        a_spool(metres=1000, left_m=300, place=a_place("wall"))
        some_bobbins(count=3, metres=80)
        a_roll(width_mm=500, metres=2)
        receive_sheets(a_stabilizer(), width_mm=300, height_mm=400, count=2, delivery=a_delivery())
        receive_offcut(a_stabilizer(), width_mm=300, height_mm=400, delivery=a_delivery())
        receive_needles(system="130/705", size=75, count=3, delivery=a_delivery())

    # -- acts --------------------------------------------------------------------------------------------------

    @rule(count=st.integers(0, 2), back=undo)
    def receive(self, count: int, back: bool) -> None:
        shade = self.one(0, Kind.SPOOL).spool.shade
        delivery = a_delivery()
        ask = partial(receive_spools, shade, put_up=a_put_up(), count=count, delivery=delivery)
        self.do(ask, key=delivery.key, back=back)

    @rule(i=which, part=share, back=undo)
    def use(self, i: int, part: float, back: bool) -> None:
        item = self.one(i)
        quantity = self.part_of(item, part)
        before = item.on_hand
        done = self.act(ledger.use, item, quantity=quantity, back=back)
        if done and not back:
            left = StockItem.objects.get(pk=item.pk)
            assert left.on_hand == (
                before - quantity if item.is_known else max(before - quantity, item.reserved)
            )

    @rule(i=which, part=share, back=undo)
    def waste(self, i: int, part: float, back: bool) -> None:
        item = self.one(i)
        self.act(ledger.waste, item, quantity=self.part_of(item, part), back=back)

    @rule(i=which, part=share, back=undo)
    def count(self, i: int, part: float, back: bool) -> None:
        item = self.one(i)
        quantity = self.part_of(item, part)
        if self.act(count_item, item, quantity=quantity, back=back) and not back:
            assert StockItem.objects.get(pk=item.pk).on_hand == quantity

    @rule(i=which, gross_mg=st.integers(8_000, 60_000), sure=st.booleans(), back=undo)
    def weigh(self, i: int, gross_mg: int, sure: bool, back: bool) -> None:
        item = self.one(i, Kind.SPOOL)
        tare_mg = item.spool.empty_weight_mg

        def same_tare() -> bool:
            return StockItem.objects.get(pk=item.pk).spool.empty_weight_mg == tare_mg

        weights = {"gross_mg": gross_mg, "scale_resolution_mg": 1_000}
        self.act(weigh_spool, item, **weights, sure=sure, back=back, still_the_same=same_tare)

    @rule(i=which, level=st.sampled_from(sorted(FILL_LEVELS)), back=undo)
    def judge(self, i: int, level: str, back: bool) -> None:
        self.act(judge_spool, self.one(i, Kind.SPOOL), level=level, back=back)

    @rule(i=which, back=undo)
    def forget(self, i: int, back: bool) -> None:
        self.act(mark_unknown, self.one(i), back=back)

    @rule(i=which, empty_mg=st.integers(9_000, 15_000))
    def learn(self, i: int, empty_mg: int) -> None:
        self.act(learn_tare, self.one(i, Kind.SPOOL), empty_mg=empty_mg)

    @rule(i=which, count=st.integers(1, 3), length_mm=st.sampled_from([None, 20_000, 90_000]), back=undo)
    def wind(self, i: int, count: int, length_mm: int | None, back: bool) -> None:
        spool = self.one(i, Kind.SPOOL)
        self.act(wind_bobbins, spool, style=a_bobbin_style(), count=count, length_mm=length_mm, back=back)

    @rule(i=which, back=undo)
    def open(self, i: int, back: bool) -> None:
        self.act(open_bobbin, self.one(i, Kind.BOBBINS), back=back)

    @rule(i=which, part=share, back=undo)
    def put_back(self, i: int, part: float, back: bool) -> None:
        item = self.one(i, Kind.PART_BOBBIN)
        self.act(put_back_part_bobbin, item, left_mm=self.part_of(item, part), back=back)

    @rule(i=which, height_mm=st.sampled_from([100, 200, 400]), keep=st.booleans(), back=undo)
    def cut(self, i: int, height_mm: int, keep: bool, back: bool) -> None:
        item = self.one(i, Kind.ROLL, Kind.SHEETS, Kind.OFFCUT)
        rest = [(100, height_mm), (20, 20)] if keep else []
        self.act(cut_piece, item, width_mm=150, height_mm=height_mm, keep=rest, back=back)

    @rule(i=which, count=st.integers(1, 3), back=undo)
    def split(self, i: int, count: int, back: bool) -> None:
        self.act(split_pack, self.one(i, Kind.BOBBINS, Kind.SHEETS, Kind.NEEDLES), count=count, back=back)

    @rule(i=which, count=st.integers(1, 2), back=undo)
    def take_needle(self, i: int, count: int, back: bool) -> None:
        self.act(use_needle, self.one(i, Kind.NEEDLES), count=count, back=back)

    @rule(i=which, back=undo)
    def retire(self, i: int, back: bool) -> None:
        self.act(retire, self.one(i), back=back)

    @rule(i=which)
    def put_back_on_shelf(self, i: int) -> None:
        self.act(put_back_on_shelf, self.one(i, retired=True))

    # -- what is set aside -------------------------------------------------------------------------------------

    @rule(i=which, part=share)
    def set_aside(self, i: int, part: float) -> None:
        item = self.one(i)
        key = a_key()
        ask = partial(
            ledger.set_aside,
            item,
            quantity=self.part_of(item, part),
            holder="job 1",
            key=key,
            at=NOW,
            by=None,
        )
        self.do(ask, still_the_same=lambda: Reservation.objects.filter(key=key).exists())

    @rule(i=which)
    def release(self, i: int) -> None:
        held = list(Reservation.objects.order_by("pk"))
        if held:
            one = held[i % len(held)]
            assert ledger.release([one]) == 1
            assert ledger.release([one]) == 0

    @rule(i=which, part=share, back=undo)
    def use_reserved(self, i: int, part: float, back: bool) -> None:
        held = list(Reservation.objects.order_by("pk"))
        if held:
            one = held[i % len(held)]
            # Taking it back frees it: it is not set aside a second time.
            self.act(ledger.use_reserved, one, quantity=round(part * one.quantity), back=back)

    # -- moving, editing, stocktakes ---------------------------------------------------------------------------

    @rule(i=which, name=st.sampled_from(["wall", "drawer"]))
    def move(self, i: int, name: str) -> None:
        key = a_key()
        ask = partial(move, self.one(i), place=a_place(name), key=key, at=NOW, by=None)
        # What was there already was not edited, so that there is nothing to remember the request by.
        self.do(ask, still_the_same=lambda: changed_before(key) is not None)

    @rule(i=which, lot=st.sampled_from(["A1", "B2", ""]))
    def edit(self, i: int, lot: str) -> None:
        key = a_key()
        ask = partial(edit_item, self.one(i), lot=lot, key=key, at=NOW, by=None)
        self.do(ask, still_the_same=lambda: changed_before(key) is not None)

    @rule(place=st.booleans())
    def begin_stocktake(self, place: bool) -> None:
        request = {"key": a_key(), "at": NOW, "by": None}
        if place:
            begun = self.do(partial(begin_place, Place.objects.get(name="wall"), **request))
        else:
            begun = self.do(partial(begin_items, list(StockItem.objects.all()[:3]), what="three", **request))
        if begun:
            self.stocktakes.append(begun)

    @rule(i=which, j=which, part=share)
    def record(self, i: int, j: int, part: float) -> None:
        if self.stocktakes:
            item = self.one(i)
            found = Found(quantity=self.part_of(item, part))
            stocktake = self.stocktakes[j % len(self.stocktakes)]
            ask = partial(
                record, stocktake, label=item.label, found=found, key=a_key(), at=NOW, by=None, moving=True
            )
            line = self.do(ask)
            if line:
                assert (line.item_id, line.found) == (item.pk, found.quantity)

    @rule(j=which)
    def finish_stocktake(self, j: int) -> None:
        if self.stocktakes:
            finish(self.stocktakes[j % len(self.stocktakes)], at=NOW)

    # -- once more, and back again -----------------------------------------------------------------------------

    @rule(i=which)
    def ask_again(self, i: int) -> None:
        """Repeat any earlier request: it answers as it did and moves nothing."""
        if not self.done:
            return
        request = self.done[-1 - i % len(self.done)]
        if not request.still_the_same():
            return
        before = everything()
        assert request.ask() == request.answer
        assert everything() == before

    @rule(i=which)
    def take_back(self, i: int) -> None:
        """Reverse any earlier act: it is undone to the millimetre, or refused and nothing is."""
        keys = list(dict.fromkeys(Entry.objects.order_by("-id").values_list("key", flat=True)))
        act = ledger.entries_of(keys[i % len(keys)])
        before = states()
        if not self.act(ledger.reverse, act[0]):
            return
        moved: Counter[int] = Counter()
        for entry in act:
            moved[entry.item_id] += entry.quantity
        after = states()
        assert {pk: before[pk].on_hand - after[pk].on_hand for pk in moved} == dict(moved)
        assert {pk: state for pk, state in after.items() if pk not in moved} == {
            pk: state for pk, state in before.items() if pk not in moved
        }

    @invariant()
    def the_ledger_is_right(self) -> None:
        entered: Counter[int] = Counter()
        held: Counter[int] = Counter()
        keys: Counter[tuple[str, int]] = Counter()
        reversals: dict[int, list[Entry]] = defaultdict(list)
        entries = {entry.pk: entry for entry in Entry.objects.all()}
        for entry in entries.values():
            entered[entry.item_id] += entry.quantity
            keys[entry.key, entry.line] += 1
            if entry.reverses_id is not None:
                reversals[entry.reverses_id].append(entry)
        for reservation in Reservation.objects.all():
            held[reservation.item_id] += reservation.quantity
        for pk, state in states().items():
            assert state.on_hand == entered[pk] >= 0
            assert 0 <= state.reserved == held[pk] <= state.on_hand
            assert state.retired_at is None or state.on_hand == 0
            assert (state.sigma is None) == (state.known == "unknown")
        assert set(keys.values()) <= {1}
        for pk, (reversal, *others) in reversals.items():
            assert not others
            assert (reversal.quantity, reversal.item_id) == (-entries[pk].quantity, entries[pk].item_id)
        assert ledger.ledger_problems() == []

    # -- how the rules do it -----------------------------------------------------------------------------------

    def one(self, i: int, *kinds: str, retired: bool = False) -> StockItem:
        """Return one of the items of these kinds, mostly one that is on the shelf."""
        items = StockItem.objects.filter(kind__in=kinds) if kinds else StockItem.objects.all()
        there = list(items.filter(retired_at__isnull=not retired).order_by("pk")) or list(
            items.order_by("pk")
        )
        return there[i % len(there)] if there else self.one(i)

    def part_of(self, item: StockItem, part: float) -> int:
        return round(part * max(item.on_hand, 1))

    def act(
        self,
        verb: Callable[..., Any],
        thing: Any,
        *,
        back: bool = False,
        still_the_same: Callable[[], bool] = always,
        **particulars: Any,
    ) -> Any:
        key = a_key()
        ask = partial(verb, thing, key=key, at=NOW, by=None, **particulars)
        return self.do(ask, key=key, back=back, still_the_same=still_the_same)

    def do(
        self,
        ask: Callable[[], Any],
        *,
        key: str = "",
        back: bool = False,
        still_the_same: Callable[[], bool] = always,
    ) -> Any:
        """Return the answer to a request, None if refused; with ``back``, take it back at once."""
        before = everything()
        known = states()
        try:
            answer = ask()
        except WorkshopError:
            assert everything() == before, "a refusal must move nothing"
            return None
        self.done.append(Request(ask, answer, still_the_same))
        if back:
            act = ledger.entries_of(key)
            ledger.reverse(act[-1], key=a_key(), at=NOW, by=None)
            self.is_as_it_was(known)
        return answer

    def is_as_it_was(self, known: dict[int, State]) -> None:
        """Check that an act was undone: all is as before, and what the act brought is gone from the shelf."""
        for pk, state in states().items():
            if pk in known:
                # What less was found of does not come to be set aside again.
                assert state._replace(reserved=0) == known[pk]._replace(reserved=0)
                assert state.reserved <= known[pk].reserved
            else:
                assert (state.on_hand, state.retired_at) == (0, NOW)


@pytest.mark.django_db
@pytest.mark.parametrize("sequences", [4, pytest.param(40, marks=pytest.mark.thorough)])
def test_any_sequence_of_acts_leaves_the_ledger_right(sequences: int) -> None:
    few = settings(max_examples=sequences, stateful_step_count=30, deadline=None)
    run_state_machine_as_test(Shelf, settings=few)

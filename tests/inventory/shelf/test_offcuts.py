"""Stabilizer cut: what it is cut from loses it, useful rests come back as offcuts, and undoing restores both."""

import pytest

from inventory import ledger
from inventory.ledger import CannotReverse, KeyUsedForAnother, NotEnough
from inventory.models import Offcut, StockItem
from inventory.shelf.offcuts import LEAST_USEFUL_MM, DoesNotFit, cut_piece
from inventory.shelf.receipts import receive_offcut, receive_sheets
from tests.factories import NOW, a_delivery, a_key, a_place, a_roll, a_spool, a_stabilizer

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def held(item):
    return StockItem.objects.get(pk=item.pk)


def an_offcut(width_mm=300, height_mm=400):
    return receive_offcut(a_stabilizer(), width_mm=width_mm, height_mm=height_mm, delivery=a_delivery())


def test_a_piece_takes_its_height_off_the_roll():
    roll = a_roll(width_mm=500, metres=10)
    cut_piece(roll, width_mm=240, height_mm=300, **act())
    assert held(roll).on_hand == 9_700
    assert held(roll).opened_on == NOW.date()


def test_a_useful_rest_goes_on_the_shelf_with_a_label():
    roll = a_roll(width_mm=500)
    cut = cut_piece(roll, width_mm=240, height_mm=300, keep=[(260, 300)], place=a_place("box"), **act())
    (offcut,) = cut.offcuts
    assert (offcut.width_mm, offcut.height_mm, offcut.on_hand) == (260, 300, 1)
    assert (offcut.product, offcut.place.name, offcut.label[0]) == (roll.product, "box", "C")
    assert (held(offcut).known, held(offcut).sigma) == ("counted", 0.0)


def test_a_rest_too_small_to_use_is_not_kept():
    cut = cut_piece(a_roll(width_mm=500), width_mm=410, height_mm=300, keep=[(90, 300)], **act())
    assert LEAST_USEFUL_MM == 100
    assert (cut.offcuts, cut.too_small) == ((), ((90, 300),))
    assert not Offcut.objects.exists()


def test_what_is_useful_can_be_said():
    cut = cut_piece(a_roll(), width_mm=410, height_mm=300, keep=[(90, 300)], least_useful_mm=80, **act())
    assert len(cut.offcuts) == 1


def test_cutting_taken_back_restores_the_roll_and_takes_the_offcuts_off_the_shelf():
    roll = a_roll(width_mm=500)
    cut = cut_piece(roll, width_mm=240, height_mm=300, keep=[(260, 300)], **act())
    ledger.reverse(cut.entries[0], **act())
    offcut = held(cut.offcuts[0])
    assert (held(roll).on_hand, held(roll).opened_on, held(roll).sigma) == (10_000, None, roll.sigma)
    assert (offcut.on_hand, offcut.retired_at) == (0, NOW)
    assert ledger.ledger_problems() == []


def test_cutting_cannot_be_taken_back_once_the_offcut_is_used():
    roll = a_roll(width_mm=500)
    cut = cut_piece(roll, width_mm=240, height_mm=300, keep=[(260, 300)], **act())
    ledger.use(cut.offcuts[0], quantity=1, **act())
    with pytest.raises(CannotReverse):
        ledger.reverse(cut.entries[0], **act())
    assert held(roll).on_hand == 9_700


def test_an_offcut_that_is_cut_is_gone_and_its_rest_is_another():
    offcut = an_offcut(300, 400)
    cut = cut_piece(offcut, width_mm=300, height_mm=250, keep=[(300, 150)], **act())
    assert (held(offcut).on_hand, held(offcut).retired_at) == (0, NOW)
    assert [(each.width_mm, each.height_mm) for each in cut.offcuts] == [(300, 150)]
    assert cut.offcuts[0].pk != offcut.pk


def test_an_offcut_comes_back_when_the_cut_is_undone():
    offcut = an_offcut()
    cut = cut_piece(offcut, width_mm=300, height_mm=250, keep=[(300, 150)], **act())
    ledger.reverse(cut.entries[-1], **act())
    assert (held(offcut).on_hand, held(offcut).retired_at, held(offcut).opened_on) == (1, None, None)
    assert held(cut.offcuts[0]).retired_at == NOW


def test_a_sheet_is_taken_from_its_pack():
    pack = receive_sheets(a_stabilizer(), width_mm=200, height_mm=300, count=25, delivery=a_delivery())
    cut = cut_piece(pack, width_mm=200, height_mm=180, keep=[(200, 120)], **act())
    assert held(pack).on_hand == 24
    assert (cut.offcuts[0].width_mm, cut.offcuts[0].height_mm) == (200, 120)


def test_the_same_cut_sent_twice_cuts_once():
    offcut = an_offcut()
    request = act(width_mm=300, height_mm=250, keep=[(300, 110), (40, 40)])
    first = cut_piece(offcut, **request)
    assert cut_piece(offcut, **request) == first
    assert first.too_small == ((40, 40),)
    assert Offcut.objects.count() == 2


def test_a_key_belongs_to_one_cut():
    roll = a_roll(width_mm=500)
    request = act(width_mm=240, height_mm=300, keep=[(260, 300)])
    cut_piece(roll, **request)
    with pytest.raises(KeyUsedForAnother):
        cut_piece(roll, **request | {"keep": [(250, 300)]})
    with pytest.raises(KeyUsedForAnother):
        cut_piece(roll, **request | {"height_mm": 310})
    assert held(roll).on_hand == 9_700


@pytest.mark.parametrize(
    ("piece", "keep"),
    [
        ((501, 300), []),
        ((240, 300), [(240, 301)]),
        ((300, 300), [(260, 300)]),
        ((0, 300), []),
        ((300, -1), []),
    ],
)
def test_what_does_not_fit_is_refused(piece, keep):
    roll = a_roll(width_mm=500)
    with pytest.raises(DoesNotFit):
        cut_piece(roll, width_mm=piece[0], height_mm=piece[1], keep=keep, **act())
    assert held(roll).on_hand == 10_000
    assert not Offcut.objects.exists()


def test_more_than_is_left_on_the_roll_is_refused():
    roll = a_roll(metres=1)
    with pytest.raises(NotEnough):
        cut_piece(roll, width_mm=200, height_mm=1_001, keep=[(300, 1_001)], **act())
    assert not Offcut.objects.exists()


def test_nothing_is_cut_from_a_spool():
    spool = a_spool()
    with pytest.raises(ValueError, match=f"{spool.label} is no stabilizer"):
        cut_piece(spool, width_mm=10, height_mm=10, **act())

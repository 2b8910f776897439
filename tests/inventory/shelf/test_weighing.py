"""Spools weighed, judged and forgotten: the length follows, how sure it is follows, and nonsense is refused."""

import math

import pytest

from inventory import ledger
from inventory.compute.weighing import LighterThanTare, UnknownFillLevel
from inventory.ledger import KeyUsedForAnother, NotEnough
from inventory.models import Change, Spool, StockItem
from inventory.shelf.weights import (
    LengthWhenFullNotKnown,
    MoreThanFull,
    TareNotKnown,
    judge_spool,
    learn_tare,
    mark_unknown,
    weigh_spool,
)
from tests.factories import NOW, a_key, a_put_up, a_range, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def on_scale(grams, *, scale_g=1.0, **particulars):
    weights = {"gross_mg": round(grams * 1000), "scale_resolution_mg": round(scale_g * 1000)}
    return weights | act(**particulars)


def held(item):
    return StockItem.objects.get(pk=item.pk)


def a_spool_of(*, fibre="polyester", nominal=False, tare_mg=12_000):
    range = a_range(name=f"{fibre} {nominal}", fibre=fibre, tex=27.0, tex_is_nominal=nominal)
    a_put_up(range, metres=1000, tare_mg=tare_mg)
    return a_spool(a_shade(range=range), metres=1000)


def test_a_weight_tells_a_length():
    spool = a_spool_of()
    entry = weigh_spool(spool, **on_scale(25.5))
    # 13.5 g of 27 tex (27 mg a metre) are 500 m.
    assert (entry.quantity, entry.reason) == (-500_000, "weigh")
    assert (held(spool).on_hand, held(spool).known) == (500_000, "weighed")


def test_a_one_gram_scale_is_off_by_tens_of_metres():
    spool = a_spool_of()
    weigh_spool(spool, **on_scale(25.5, scale_g=1))
    # Two readings rounded to 1 g, the tare's own 3 %, 3 % of tex, and a quarter of the regain of 0.4 %.
    net_mg = math.sqrt(2 * 1000**2 / 12 + 360**2)
    expected = math.hypot(net_mg / 27 * 1000, 500_000 * 0.03, 500_000 * 0.25 * 0.004 / 1.004)
    assert held(spool).sigma == pytest.approx(expected, rel=1e-6)
    assert 10_000 < held(spool).sigma < 100_000


def test_a_finer_scale_is_surer():
    coarse, fine = a_spool_of(), a_spool_of()
    weigh_spool(coarse, **on_scale(25.5, scale_g=1))
    weigh_spool(fine, **on_scale(25.5, scale_g=0.01))
    assert held(fine).sigma < held(coarse).sigma


def test_a_tex_that_only_stands_for_a_label_is_less_sure():
    stated, nominal = a_spool_of(), a_spool_of(nominal=True)
    weigh_spool(stated, **on_scale(25.5))
    weigh_spool(nominal, **on_scale(25.5))
    # 24 to 44 tex under one label: a rectangle of ± 10 about 34, so 17 %.
    assert held(nominal).sigma == pytest.approx(500_000 * 0.17, rel=0.05)
    assert held(nominal).sigma > 2 * held(stated).sigma


def test_damp_rayon_is_less_sure_than_polyester():
    polyester, rayon = a_spool_of(), a_spool_of(fibre="rayon")
    weigh_spool(polyester, **on_scale(25.5, scale_g=0.01))
    weigh_spool(rayon, **on_scale(25.5, scale_g=0.01))
    assert held(rayon).sigma > held(polyester).sigma


def test_without_an_empty_weight_the_refusal_tells_how_to_learn_it():
    spool = a_spool_of(tare_mg=None)
    with pytest.raises(TareNotKnown, match=r"Put an empty 1000 m spool of Skerry .* on the scale once"):
        weigh_spool(spool, **on_scale(25.5))
    assert held(spool).on_hand == 1_000_000


def test_an_empty_weight_once_learnt_holds_for_every_spool_of_the_put_up():
    spool = a_spool_of(tare_mg=None)
    another = a_spool(spool.shade, metres=1000)
    learn_tare(spool, empty_mg=12_000, at=NOW, by=None)
    weigh_spool(another, **on_scale(25.5))
    assert held(another).on_hand == 500_000


def test_a_second_empty_weight_is_the_spools_own():
    spool = a_spool_of(tare_mg=12_000)
    another = a_spool(spool.shade, metres=1000)
    learn_tare(spool, empty_mg=14_700, at=NOW, by=None)
    weigh_spool(spool, **on_scale(25.5))
    weigh_spool(another, **on_scale(25.5))
    assert (held(spool).on_hand, held(another).on_hand) == (400_000, 500_000)


def test_learning_an_empty_weight_leaves_a_trace():
    spool = a_spool_of(tare_mg=None)
    change = learn_tare(spool, empty_mg=12_000, at=NOW, by=None)
    assert (change.table, change.record) == ("putup", spool.put_up_id)
    assert change.fields == {"tare_mg": {"before": None, "after": 12_000}}
    assert learn_tare(spool, empty_mg=12_000, at=NOW, by=None) is None
    assert Change.objects.count() == 1


def test_learning_sent_late_again_does_not_undo_a_newer_weight():
    spool = a_spool_of(tare_mg=None)
    first = {"empty_mg": 12_000, "at": NOW, "by": None, "key": a_key()}
    change = learn_tare(spool, **first)
    learn_tare(spool, empty_mg=12_500, at=NOW, by=None, key=a_key())
    assert learn_tare(spool, **first) == change
    assert Spool.objects.get(pk=spool.pk).empty_weight_mg == 12_500


def test_more_than_a_full_spool_is_a_question():
    spool = a_spool_of()
    with pytest.raises(
        MoreThanFull, match=r"52\.0 g would be 1481 m .* holds 1000 m\. Is it the right spool"
    ):
        weigh_spool(spool, **on_scale(52))
    assert held(spool).on_hand == 1_000_000
    weigh_spool(spool, **on_scale(52, sure=True))
    assert held(spool).on_hand == 1_481_481


def test_a_little_more_than_full_is_believed():
    spool = a_spool_of()
    weigh_spool(spool, **on_scale(40))
    assert held(spool).on_hand == 1_037_037


def test_a_spool_that_reads_just_below_its_empty_weight_is_empty():
    spool = a_spool_of()
    weigh_spool(spool, **on_scale(11.5))
    assert held(spool).on_hand == 0


def test_a_spool_far_lighter_than_when_empty_is_refused():
    spool = a_spool_of()
    with pytest.raises(LighterThanTare):
        weigh_spool(spool, **on_scale(5))
    assert held(spool).on_hand == 1_000_000


def test_a_weighing_sent_twice_happens_once():
    spool = a_spool_of()
    request = on_scale(25.5)
    first = weigh_spool(spool, **request)
    ledger.use(spool, quantity=100_000, **act())
    assert weigh_spool(spool, **request) == first
    assert held(spool).on_hand == 400_000


def test_another_weight_under_the_same_key_is_another_request():
    spool = a_spool_of()
    request = on_scale(25.5)
    weigh_spool(spool, **request)
    with pytest.raises(KeyUsedForAnother):
        weigh_spool(spool, **request | {"gross_mg": 30_000})
    assert held(spool).on_hand == 500_000


def test_a_weighing_taken_back_restores_what_was_known():
    spool = a_spool_of()
    before = held(spool)
    ledger.reverse(weigh_spool(spool, **on_scale(25.5)), **act())
    after = held(spool)
    assert (after.on_hand, after.sigma, after.known) == (before.on_hand, before.sigma, before.known)


def test_only_spools_are_weighed():
    batch = some_bobbins()
    with pytest.raises(ValueError, match=f"{batch.label} is no spool"):
        weigh_spool(batch, **on_scale(25.5))


@pytest.mark.parametrize(("level", "metres"), [("full", 1000), ("Half", 500), ("nearly  empty", 60)])
def test_the_eye_tells_a_length_roughly(level, metres):
    spool = a_spool_of()
    judge_spool(spool, level=level, **act())
    assert (held(spool).on_hand, held(spool).known) == (metres * 1000, "judged")
    assert held(spool).sigma >= 50_000


def test_a_word_that_is_no_level_is_refused():
    with pytest.raises(UnknownFillLevel, match="three quarters"):
        judge_spool(a_spool_of(), level="plenty", **act())


def test_half_of_an_unlabelled_spool_says_nothing():
    spool = a_spool_of()
    Spool.objects.filter(pk=spool.pk).update(put_up=None)
    with pytest.raises(LengthWhenFullNotKnown, match="Choose its put-up first"):
        judge_spool(spool, level="half", **act())


def test_what_nobody_knows_is_unknown_and_not_zero():
    spool = a_spool_of()
    mark_unknown(spool, **act())
    assert (held(spool).known, held(spool).sigma, held(spool).on_hand) == ("unknown", None, 1_000_000)
    assert not held(spool).is_known


def test_what_is_unknown_stays_unknown_when_some_is_used():
    spool = a_spool_of()
    mark_unknown(spool, **act())
    ledger.use(spool, quantity=300_000, **act())
    assert (held(spool).known, held(spool).sigma) == ("unknown", None)


def test_more_than_the_books_have_can_be_used_of_the_unknown_for_it_was_evidently_there():
    spool = a_spool_of()
    ledger.use(spool, quantity=900_000, **act())
    mark_unknown(spool, **act())
    request = act()
    used = ledger.use(spool, quantity=250_000, **request)
    assert ledger.use(spool, quantity=250_000, **request) == used
    assert used.quantity == -250_000
    assert (held(spool).on_hand, held(spool).known) == (0, "unknown")
    assert ledger.ledger_problems() == []
    ledger.reverse(used, **act())
    assert (held(spool).on_hand, held(spool).known) == (100_000, "unknown")


def test_what_is_set_aside_of_the_unknown_stays_set_aside():
    spool = a_spool_of()
    ledger.set_aside(spool, quantity=400_000, holder="job 1", **act())
    mark_unknown(spool, **act())
    ledger.use(spool, quantity=900_000, **act())
    assert (held(spool).on_hand, held(spool).reserved) == (400_000, 400_000)
    assert ledger.ledger_problems() == []


def test_nothing_of_the_unknown_can_be_set_aside():
    spool = a_spool_of()
    mark_unknown(spool, **act())
    with pytest.raises(NotEnough, match=r"not known how much .* Weigh it, count it or judge it first"):
        ledger.set_aside(spool, quantity=1, holder="job 1", **act())


def test_weighing_ends_not_knowing_and_taking_it_back_returns_there():
    spool = a_spool_of()
    mark_unknown(spool, **act())
    entry = weigh_spool(spool, **on_scale(25.5))
    assert (held(spool).known, held(spool).on_hand) == ("weighed", 500_000)
    ledger.reverse(entry, **act())
    assert (held(spool).known, held(spool).sigma, held(spool).on_hand) == ("unknown", None, 1_000_000)

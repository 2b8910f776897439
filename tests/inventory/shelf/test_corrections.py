"""A spool that was entered as something else, put right in one act."""

import pytest
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from inventory.ledger import ledger_problems, set_aside
from inventory.models import Change, Spool, StockItem
from inventory.shelf.corrections import ShadeNotClear, correct_spool, shade_meant
from tests.factories import NOW, a_key, a_put_up, a_range, a_shade, a_spool

pytestmark = pytest.mark.django_db


def other_range():
    return a_range("Tern", "Thirty", tex=40.0)


def correct(spool, shade, put_up, key=""):
    return correct_spool(
        spool, shade=shade, put_up=put_up, key=key or a_key(), at=NOW, by=None, why="wrong box"
    )


def held(spool) -> Spool:
    return Spool.objects.select_related("shade").get(pk=spool.pk)


def test_what_was_weighed_is_reckoned_anew_from_the_same_weight():
    spool = a_spool(a_shade("R"), left_m=800)
    shade = a_shade("T1", range=other_range())
    put_up = a_put_up(other_range(), metres=1000, tare_mg=10_000)
    done = correct(spool, shade, put_up)
    # 12 g and 800 m of tex 27 are 33.6 g; less 10 g that is 23.6 g of tex 40, and 590 m.
    assert held(spool).on_hand == 590_000
    assert held(spool).shade == shade
    assert done.entry is not None
    assert done.entry.quantity == 590_000 - 800_000
    assert done.change is not None
    assert set(done.change.fields) == {"shade", "put_up"}
    assert not ledger_problems()


def test_a_sealed_spool_holds_what_its_put_up_says_and_twice_sent_is_once():
    spool = a_spool(a_shade("R"))
    shade, put_up = a_shade("T1", range=other_range()), a_put_up(other_range(), metres=2500)
    first = correct(spool, shade, put_up, key="once")
    assert held(spool).on_hand == 2_500_000
    again = correct(spool, shade, put_up, key="once")
    assert again.entry == first.entry
    assert Change.objects.count() == 1


def test_those_for_whom_it_is_set_aside_are_told():
    spool = a_spool(a_shade("R"))
    set_aside(spool, quantity=10, holder="job 7", key=a_key(), at=NOW, by=None)
    assert correct(spool, a_shade("B"), spool.put_up).holders == ("job 7",)


def test_a_put_up_of_another_range_is_refused():
    spool = a_spool(a_shade("R"))
    with pytest.raises(WorkshopError, match="is sold as"):
        correct(spool, a_shade("B"), a_put_up(other_range(), metres=700))


def test_a_shade_is_meant_by_its_code_where_that_is_enough():
    red, other = a_shade("R1"), a_shade("R1", range=other_range())
    only = a_shade("B7")
    assert shade_meant("b7") == only
    assert shade_meant(f"{other.range} r1") == other
    with pytest.raises(ShadeNotClear, match="in full"):
        shade_meant("R1")
    with pytest.raises(ShadeNotClear, match="No shade"):
        shade_meant("Skerry X9")
    assert red != other


def test_it_is_corrected_on_its_page(client, person):
    client.force_login(person)
    spool, blue = a_spool(a_shade("R")), a_shade("B7", name="deep blue")
    sent = {"shade": "B7", "put_up": spool.put_up_id, "why": "wrong box", "key": a_key()}
    answer = client.post(reverse("act", args=[spool.label, "correct"]), sent, follow=True)
    assert answer.status_code == 200
    assert held(spool).shade == blue
    assert "deep blue" in answer.content.decode()
    assert StockItem.objects.get(pk=spool.pk).on_hand == 1_000_000

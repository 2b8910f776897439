"""What holds for every page of the shelf and the catalogue."""

import pytest
from django.urls import reverse

from inventory.catalogue.pages import BOOKS
from inventory.models import (
    Entry,
    Spool,
    StockItem,
)
from inventory.shelf.arrival_forms import ARRIVALS
from tests.factories import (
    a_key,
    a_place,
    a_put_up,
    a_roll,
    a_shade,
    a_spool,
    an_offer,
    some_bobbins,
)

pytestmark = pytest.mark.django_db


def addresses():
    spool = a_spool(place=a_place())
    some_bobbins()
    a_roll()
    an_offer(a_put_up())
    found = [reverse(name) for name in ("shelf", "own", "receive_first", "catalogue", "scan")]
    found += [reverse("shelf_list", args=[slug]) for slug in ("thread", "bobbins", "stabilizer", "needles")]
    found += [reverse("catalogue_list", args=[slug]) for slug in BOOKS]
    found += [reverse("catalogue_add", args=[slug]) for slug in BOOKS]
    found += [reverse("receive", args=[slug]) for slug in ARRIVALS]
    found += [reverse("item", args=[item.label]) for item in StockItem.objects.all()]
    found += [
        reverse("take_back", args=[Entry.objects.get(item=spool).pk]),
        reverse("label", args=[spool.label]),
    ]
    return [*found, f"{reverse('own')}?q=%23112233", f"{reverse('shelf')}?near=%23112233"]


def test_no_page_carries_inline_style_or_script(signed_in):
    for address in addresses():
        page = signed_in.get(address, follow=True).content.decode()
        for forbidden in (" style=", "<style", "<script>", " onclick=", "javascript:"):
            assert forbidden not in page, address


def test_a_visitor_is_asked_to_sign_in_everywhere_and_changes_nothing(client, person):
    for address in addresses():
        for method in (client.get, client.post):
            assert method(address).url.startswith(reverse("sign_in")), address


def test_one_search_stands_on_every_page(signed_in):
    for address in addresses():
        assert 'id="find"' in signed_in.get(address, follow=True).content.decode(), address


def test_a_box_of_spools_is_split_into_single_ones_that_cost_together_what_the_box_did(signed_in):
    shade = a_shade("R")
    put_up = a_put_up(shade.range)
    sent = {
        "shade": str(shade),
        "put_up": put_up.pk,
        "count": "2",
        "in_box": "3",
        "price": "10.00",
        "key": a_key(),
    }
    for _ in range(2):  # sent twice, they come once
        signed_in.post(reverse("receive", args=["spools"]), sent)
    prices = Spool.objects.filter(shade=shade).values_list("price_paid", flat=True)
    assert len(prices) == 6
    assert sum(prices) == 20

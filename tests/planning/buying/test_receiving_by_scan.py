"""What came of an order, told by scanning: shades, labels of things alike, and labels that are stuck on now."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.models import Order, OrderLine, Spool
from inventory.orders.orders import OrderedThing, draft_order, order_problems, place_order
from inventory.orders.scanned import read_scanned
from tests.factories import NOW, a_put_up, a_shade, a_spool, an_offer
from tests.pages import page_text

pytestmark = pytest.mark.django_db


@pytest.fixture
def order() -> Order:
    red, blue = a_shade("1147", name="harbour red"), a_shade("1290", name="deep blue")
    offer = an_offer(a_put_up(red.range), price="4.20")
    things = [
        OrderedThing(offer, packs=count, total=Decimal("4.20") * count, shade=shade)
        for shade, count in ((red, 2), (blue, 1))
    ]
    made = draft_order(offer.supplier, things=things, key="d", at=NOW, by=None)
    return place_order(made, at=NOW)


def lines_of(order: Order) -> list[OrderLine]:
    return list(Order.objects.with_lines().get(pk=order.pk).lines.all())


def test_codes_names_and_labels_of_things_alike_count_the_lines(order: Order) -> None:
    there = a_spool(order.lines.all()[0].shade)
    scanned = read_scanned(
        lines_of(order), ["1147", f"HTTPS://SHELF.EXAMPLE/S/{there.label}", "", "Deep Blue"]
    )
    assert (scanned.counts, scanned.labels, scanned.problem) == ({1: 2, 2: 1}, {}, "")
    assert scanned.said.endswith(": 1 of 1.")


def test_a_label_that_nothing_carries_goes_on_what_was_counted_last(order: Order) -> None:
    scanned = read_scanned(lines_of(order), ["1147", "S0901", "S0902", "1290", "s0903"])
    assert scanned.counts == {1: 2, 2: 1}
    assert scanned.labels == {1: ["S0901", "S0902"], 2: ["s0903"]}


@pytest.mark.parametrize(
    ("codes", "kept", "why"),
    [
        (["S0901"], 0, "Scan first what came"),
        (["rubbish"], 0, "Nothing called rubbish is still to come"),
        (["1290", "1290"], 1, "all that is to come of this order is counted already"),
        (["1290", "S0901", "S0902"], 2, "counted already"),
        (["1147", "S0901", "1290", "s0901"], 3, "on another of these things already"),
    ],
)
def test_what_cannot_be_is_said_and_the_rest_stays(
    order: Order, codes: list[str], kept: int, why: str
) -> None:
    scanned = read_scanned(lines_of(order), codes)
    assert scanned.codes == codes[:kept]
    assert why in scanned.problem


def test_what_was_scanned_comes_onto_the_shelf_with_its_labels(signed_in, order: Order) -> None:
    address = reverse("order", args=[order.number])
    answer = signed_in.get(
        address, [("scanned", "1147"), ("scanned", "S0901"), ("scanned", "1147"), ("code", "1290")]
    )
    forms = {line.number: form for line, form in answer.context["rows"]}
    assert "1290 deep blue" in page_text(answer)
    assert "1 of 1." in page_text(answer)
    sent = {
        form[name].html_name: form[name].value() or "" for form in forms.values() for name in form.fields
    } | {"key": "parcel"}
    assert (sent["l1-count"], sent["l1-labels"], sent["l2-count"]) == (2, "S0901", 1)
    signed_in.post(address, sent)
    came = Spool.objects.order_by("pk")
    assert [str(each.shade.code) for each in came] == ["1147", "1147", "1290"]
    assert "S0901" in {each.label for each in came}
    assert order_problems() == []
    # Sent again, nothing comes twice.
    signed_in.post(address, sent)
    assert Spool.objects.count() == 3


def test_more_labels_than_things_are_asked_about(signed_in, order: Order) -> None:
    answer = signed_in.post(
        reverse("order", args=[order.number]),
        {"key": "p", "l1-count": "1", "l1-labels": "S0901 S0902", "l2-count": ""},
    )
    assert answer.status_code == 422
    assert "2 of them were given labels, which is more than 1." in page_text(answer)
    assert not Spool.objects.exists()

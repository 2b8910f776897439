"""The pages of buying: from the list to what came, with everything that can be undone."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.ledger import ledger_problems
from inventory.models import (
    BobbinStyle,
    Order,
    OrderReceipt,
    PriceBreak,
    Shade,
    Spool,
    StabilizerProduct,
    Staple,
)
from inventory.orders.orders import order_problems
from planning.buying.needs import needs_of_all
from planning.jobs.jobs import JobFacts, delete_job, make_job, plan_of
from planning.library.designs import keep_design
from planning.models import Job
from planning.stitch_files.reading import read_design_file
from tests.factories import (
    NOW,
    a_place,
    a_put_up,
    a_roll,
    a_shade,
    a_spool,
    an_offer,
    some_bobbins,
    use_up,
)
from tests.pages import page_text

pytestmark = pytest.mark.django_db
RED = "#b01c2e"


@pytest.fixture
def red(workshop) -> Shade:
    shade = a_shade("R", hex=RED, name="harbour red")
    a_spool(shade, left_m=100)
    some_bobbins(count=200)
    a_roll()
    an_offer(a_put_up(shade.range), price="4.20")
    return shade


@pytest.fixture
def job(red, stitch_file) -> Job:
    return a_job(stitch_file)


def a_job(stitch_file, *, pieces: int = 40) -> Job:
    path = stitch_file(RED, stitches=900)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    needed_on = timezone.localdate() + timedelta(days=20)
    made = make_job(
        JobFacts(what=f"{pieces} pennants", pieces=pieces, needed_on=needed_on),
        designs=[design],
        at=NOW,
        by=None,
    )
    return Job.objects.with_everything().get(pk=made.pk)


def text(response) -> str:
    return page_text(response)


def draft(client) -> Order:
    page = client.get(reverse("buying")).context
    fields = {"key": "k", "shown": page["shown"], "to": page["plan"].parts[0].supplier.name}
    client.post(reverse("buying_draft"), fields)
    return Order.objects.get()


def act(client, order: Order, name: str, **fields):
    return client.post(reverse("order_act", args=[order.number, name]), fields, follow=True)


def test_a_visitor_is_asked_to_sign_in(client, db):
    for name in ("buying", "orders", "looking_back"):
        assert client.get(reverse(name)).url.startswith(reverse("sign_in"))


def test_an_empty_workshop_is_told_what_the_page_is_for(signed_in):
    page = text(signed_in.get(reverse("buying")))
    assert "Nothing needs to be bought" in page
    assert "Ask for a first job" in page


def test_the_list_says_what_it_costs_and_leads_to_the_jobs(signed_in, job):
    page = text(signed_in.get(reverse("buying")))
    assert "To buy from Quay Supplies" in page
    assert reverse("job", args=[job.pk]) in page
    assert "From one supplier only" in page


def test_only_a_supplier_who_has_nothing_leaves_it_unsold(signed_in, job):
    an_offer(a_put_up(metres=333), supplier="Pier Threads").put_up.offers.all().delete()
    page = text(signed_in.get(reverse("buying"), {"only": "Pier Threads"}))
    assert "nobody is known to sell it among these suppliers" in page
    assert signed_in.get(reverse("buying"), {"only": "Nobody"}).status_code == 422


def test_a_material_shows_its_jobs_and_its_history(signed_in, job, red):
    today = timezone.now()
    for week in range(1, 10):
        use_up(a_spool(red, at=today - timedelta(weeks=12)), 400_000, at=today - timedelta(weeks=week))
    page = text(signed_in.get(reverse("material", args=[f"shade-{red.pk}"])))
    assert "Jobs behind it" in page
    assert "The broken line is the reorder point" in page
    assert signed_in.get(reverse("material", args=["shade-9999"])).status_code == 404


def test_from_list_to_shelf_and_back(signed_in, job, red):
    order = draft(signed_in)
    assert (order.state, order.number) == ("draft", 1)
    page = signed_in.get(reverse("buying"))
    assert "drafted and not sent" in text(page)
    assert page.context["plan"].parts == ()
    act(signed_in, order, "place")
    order.refresh_from_db()
    assert order.state == "placed"
    packs = order.lines.get().packs
    fields = {"key": "parcel", "l1-count": packs, "l1-lot": "L7", "l1-price": "4,10"}
    page = signed_in.post(reverse("order", args=[1]), fields, follow=True)
    assert "Print their labels" in text(page)
    came = Spool.objects.filter(lot="L7")
    assert [str(spool.price_paid) for spool in came] == ["4.10"] * packs
    assert plan_of(job).verdict == "enough"
    signed_in.post(reverse("order", args=[1]), fields)
    assert Spool.objects.filter(lot="L7").count() == packs
    act(signed_in, order, "take_back", receipt="parcel")
    assert not Spool.objects.on_the_shelf().filter(lot="L7").exists()
    assert plan_of(job).verdict == "short"
    assert (ledger_problems(), order_problems()) == ([], [])


def test_more_than_is_to_come_is_refused_in_words(signed_in, job):
    order = draft(signed_in)
    act(signed_in, order, "place")
    refused = signed_in.post(reverse("order", args=[1]), {"key": "p", "l1-count": 99})
    assert refused.status_code == 422
    assert "still to come of order 1, not 99" in text(refused)
    assert OrderReceipt.objects.count() == 0


def test_a_wrong_shade_goes_on_the_shelf_as_what_it_is(signed_in, job):
    blue = a_shade("B", hex="#1c2b8d", name="deep blue")
    order = draft(signed_in)
    act(signed_in, order, "place")
    signed_in.post(reverse("order", args=[1]), {"key": "p", "l1-count": 1, "l1-instead": "B"})
    assert Spool.objects.get(shade=blue).on_hand == 1_000_000
    assert Order.objects.get().is_open
    refused = signed_in.post(reverse("order", args=[1]), {"key": "q", "l1-count": 1, "l1-instead": "ZZ"})
    assert refused.status_code == 422


def test_an_order_is_cancelled_and_taken_up_again(signed_in, job):
    order = draft(signed_in)
    assert "cancelled" in text(act(signed_in, order, "cancel"))
    assert "expected again" in text(act(signed_in, order, "revive"))
    order.refresh_from_db()
    assert order.state == "draft"


def test_a_delay_is_noted_and_the_need_returns(signed_in, job):
    order = draft(signed_in)
    act(signed_in, order, "place")
    assert needs_of_all(today=timezone.localdate()).to_buy == ()
    assert "to come" in text(signed_in.get(reverse("item", args=[Spool.objects.get().label])))
    late = timezone.localdate() + timedelta(days=40)
    assert "is expected on" in text(act(signed_in, order, "expect", expected_on=late.isoformat()))
    assert len(needs_of_all(today=timezone.localdate()).to_buy) == 1
    assert "such as 2026-03-09" in text(act(signed_in, order, "expect"))


@pytest.mark.parametrize("book", ["price-steps", "staple-threads", "staple-bobbins", "staple-rolls"])
def test_steps_and_staples_are_kept_in_the_catalogue(signed_in, job, red, book: str):
    offer = red.range.put_ups.get(name="1000 m spool").offers.get()
    fields = {
        "price-steps": {"offer": offer.pk, "from_packs": "5", "price": "3.90"},
        "staple-threads": {"shade": str(red), "minimum": "500"},
        "staple-bobbins": {"shade": str(red), "bobbin_style": BobbinStyle.objects.get().pk, "minimum": "12"},
        "staple-rolls": {"product": StabilizerProduct.objects.get().pk, "minimum": "5 m"},
    }[book]
    added = signed_in.post(reverse("catalogue_add", args=[book]), {"key": "k"} | fields)
    assert added.status_code == 302, text(added)
    assert signed_in.get(reverse("catalogue_list", args=[book])).status_code == 200
    assert PriceBreak.objects.count() + Staple.objects.count() == 1


def test_one_list_is_drafted_once_from_two_tabs(signed_in, job):
    tabs = [signed_in.get(reverse("buying")).context for _ in range(2)]
    for tab in tabs:
        fields = {"key": tab["key"], "shown": tab["shown"]}
        page = signed_in.post(reverse("buying_draft"), fields, follow=True)
    assert Order.objects.count() == 1
    assert "drafted already: order 1 to Quay Supplies. Nothing was drafted again" in text(page)
    assert page.redirect_chain[-1][0] == reverse("order", args=[1])
    fields = {"key": tabs[0]["key"], "shown": tabs[0]["shown"]}  # the first tab, sent once more
    assert "Since this was shown" not in text(signed_in.post(reverse("buying_draft"), fields, follow=True))
    assert Order.objects.count() == 1


def test_what_is_drafted_is_not_proposed_again_and_comes_back_with_the_draft_cancelled(signed_in, job):
    order = draft(signed_in)
    today = timezone.localdate()
    (waiting,) = [need for need in needs_of_all(today=today).needs if need.drafts_missing]
    assert (waiting.missing, waiting.net.on_order) == (0, 0)
    assert waiting.send_by is not None
    page = signed_in.get(reverse("buying"))
    assert f"Order {order.number}" in text(page)
    assert "Draft this order" not in text(page)
    act(signed_in, order, "cancel")
    assert needs_of_all(today=today).to_buy[0].missing > 0


def test_a_list_that_has_changed_drafts_nothing(signed_in, job):
    page = signed_in.post(reverse("buying_draft"), {"key": "k", "shown": "1.00"}, follow=True)
    assert "Since this was shown, the workshop has changed: what is bought" in text(page)
    assert Order.objects.count() == 0


@pytest.mark.parametrize(
    ("ending", "begins"), [("pdf", b"%PDF"), ("csv", b"\xef\xbb\xbforder,"), ("txt", b"Order 1")]
)
def test_an_order_is_sent_as_a_file(signed_in, job, ending: str, begins: bytes):
    draft(signed_in)
    answer = signed_in.get(reverse("order_file", args=[1, ending]))
    assert answer.content.startswith(begins)
    assert signed_in.get(reverse("order_file", args=[1, "doc"])).status_code == 404


def test_all_of_an_order_comes_in_one_act_and_sent_twice_it_comes_once(signed_in, job):
    order = draft(signed_in)
    act(signed_in, order, "place")
    shelf = a_place("north wall")
    sent = {"key": "all", "all_came": "yes", "place": shelf.pk}
    first, again = (signed_in.post(reverse("order", args=[1]), sent, follow=True) for _ in range(2))
    came = Spool.objects.filter(place=shelf)
    line = order.lines.with_received().get()
    assert came.count() == line.things
    assert line.to_come == 0
    assert "On the shelf now" in text(first)
    assert "On the shelf now" in text(again)
    nothing = signed_in.post(reverse("order", args=[1]), sent | {"key": "again"})
    assert nothing.status_code == 422
    assert not ledger_problems()
    assert not order_problems()


def test_looking_back_tells_what_was_spent_and_what_lies_there(signed_in, job, red):
    order = draft(signed_in)
    act(signed_in, order, "place")
    signed_in.post(reverse("order", args=[1]), {"key": "p", "l1-count": 1, "l1-price": "4.20"})
    old = timezone.now() - timedelta(days=900)
    forgotten = a_spool(a_shade("O", hex="#7a5a2e", name="old gold"), at=old)
    page = text(signed_in.get(reverse("looking_back")))
    assert "4.20" in page
    assert forgotten.label in page
    assert red.spools.first().label not in page.partition("Lies there unused")[2]
    assert signed_in.get(reverse("looking_back"), {"months": "0"}).status_code == 422


def test_queries_do_not_grow_with_what_is_needed(signed_in, job, red):
    def count(name: str) -> int:
        with CaptureQueriesContext(connection) as asked:
            assert signed_in.get(reverse(name)).status_code == 200
        return len(asked)

    names = ("buying", "orders", "looking_back")
    draft(signed_in)
    before = [count(name) for name in names]
    for number in range(6):
        shade = a_shade(f"N{number}", hex=f"#0{number}a0{number}0", name=f"green {number}")
        a_spool(shade, price_each=4)
        Staple.objects.create(shade=shade, minimum=3_000_000)
        page = signed_in.get(reverse("buying")).context
        signed_in.post(reverse("buying_draft"), {"key": f"k{number}", "shown": page["shown"]})
    after = [count(name) for name in names]
    assert all(now <= then for now, then in zip(after, before, strict=True)), (before, after)


def test_a_season_leaves_the_books_right(signed_in, red, stitch_file):
    """Jobs, part deliveries, a wrong and a short one, cancellations, use and a dropped job."""
    jobs = []
    for number in range(4):
        jobs.append(a_job(stitch_file, pieces=30 + 25 * number))
        page = signed_in.get(reverse("buying")).context
        if page["plan"].parts:
            signed_in.post(reverse("buying_draft"), {"key": f"s{number}", "shown": page["shown"]})
        for order in Order.objects.filter(state="draft"):
            act(signed_in, order, "place")
            lines = list(order.lines.with_received())
            if number == 1:
                act(signed_in, order, "cancel")
                continue
            part = {f"l{line.number}-count": max(1, line.to_come - 1) for line in lines}
            signed_in.post(reverse("order", args=[order.number]), {"key": f"part{number}"} | part)
            if number == 2:
                act(signed_in, order, "take_back", receipt=f"part{number}")
                act(signed_in, order, "cancel")
            else:
                for line in order.lines.with_received().filter(received_count__gt=0):
                    if line.to_come:
                        act(signed_in, order, "give-up", line=line.number)
        spool = Spool.objects.on_the_shelf().filter(on_hand__gt=50_000).first()
        assert spool is not None
        use_up(spool, 40_000)
        assert (ledger_problems(), order_problems()) == ([], []), number
    delete_job(jobs[0])
    for order in [order for order in Order.objects.with_lines() if order.is_open]:
        counts = {f"l{line.number}-count": line.to_come for line in order.lines.all()}
        signed_in.post(reverse("order", args=[order.number]), {"key": f"rest{order.number}"} | counts)
    a_job(stitch_file, pieces=500)
    page = signed_in.get(reverse("buying")).context
    signed_in.post(reverse("buying_draft"), {"key": "last", "shown": page["shown"]})
    last = Order.objects.filter(state="draft").first()
    assert last is not None
    act(signed_in, last, "place")
    counts = {f"l{line.number}-count": line.to_come for line in last.lines.with_received()}
    signed_in.post(reverse("order", args=[last.number]), {"key": "last parcel"} | counts)
    assert needs_of_all(today=timezone.localdate()).to_buy == ()
    assert (ledger_problems(), order_problems()) == ([], [])


def test_the_page_says_what_one_dye_lot_costs_and_drafts_the_split(signed_in, red):
    an_offer(a_put_up(red.range, metres=5000), price="10.00", supplier="Pier Threads")
    Staple.objects.create(shade=red, minimum=6_000_000)
    page = signed_in.get(reverse("buying"))
    plan = page.context["plan"]
    assert plan.split.matters
    assert "so that it can be of one dye lot, costs" in text(page)
    assert "No other basket costs less" in text(page)
    split = signed_in.get(reverse("buying"), {"may_split": "on"})
    assert split.context["plan"].basket.total == plan.split.total
    signed_in.post(
        reverse("buying_draft"),
        {"may_split": "on", "shown": split.context["shown"], "key": "split-lots"},
    )
    assert {order.supplier.name for order in Order.objects.all()} == {"Pier Threads", "Quay Supplies"}

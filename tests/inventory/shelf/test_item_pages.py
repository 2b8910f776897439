"""The page of one thing: what is known of it, what is done with it, and its history."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.ledger import ledger_problems, set_aside
from inventory.models import (
    BobbinBatch,
    Change,
    Entry,
    Offcut,
    PartBobbin,
    StockItem,
)
from inventory.shelf.receipts import receive_offcut
from tests.factories import (
    NOW,
    a_bobbin_style,
    a_delivery,
    a_key,
    a_place,
    a_put_up,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    some_bobbins,
)
from tests.inventory.shelf.pages import do, held
from tests.pages import page_text
from workshop.models import Preference

pytestmark = pytest.mark.django_db


def test_a_thing_shows_what_it_is_how_much_and_how_sure(signed_in):
    spool = a_spool(a_shade("R1", name="harbour red"), left_m=300, place=a_place("wall"), lot="L7")
    page = page_text(signed_in.get(reverse("item", args=[spool.label])))
    for words in (
        "harbour red",
        "Skerry Forty · R1",
        "300.0 m",
        "good to 5.0 m, weighed",
        "wall",
        "L7",
        "12.0 g",
    ):
        assert words in page


@pytest.mark.parametrize(
    ("known", "sigma", "words"),
    [
        ("sealed", 20_000, "good to 20.0 m, sealed, as sold"),
        ("weighed", 5_000, "good to 5.0 m, weighed"),
        ("judged", 120_000, "good to 120.0 m, judged by eye"),
        ("counted", 0, "counted"),
        ("unknown", None, "nobody has measured it; the books have 1,000.0 m left over"),
    ],
)
def test_how_sure_is_said_in_words(signed_in, known, sigma, words):
    spool = a_spool()
    StockItem.objects.filter(pk=spool.pk).update(known=known, sigma=sigma)
    assert words in signed_in.get(reverse("item", args=[spool.label])).content.decode()


def test_what_is_set_aside_is_told_with_its_holder(signed_in):
    spool = a_spool()
    set_aside(spool, quantity=400_000, holder="job 12", key=a_key(), at=NOW, by=None)
    page = page_text(signed_in.get(reverse("item", args=[spool.label])))
    assert "600.0 m free" in page
    assert "400.0 m set aside for job 12" in page


def test_taking_and_putting_back(signed_in):
    spool = a_spool()
    page = do(signed_in, spool, "take", quantity="100", reference="pennants").content.decode()
    assert f"Took 100.0 m off {spool.label}; 900.0 m left." in page
    assert "pennants" in page
    do(signed_in, spool, "put-back", quantity="40 m")
    assert held(spool) == 940_000
    assert ledger_problems() == []


def test_weighing_counting_judging_and_forgetting(signed_in):
    spool = a_spool()
    do(signed_in, spool, "weigh", gross="25.5")
    assert held(spool) == 500_000
    do(signed_in, spool, "count", quantity="420")
    assert held(spool) == 420_000
    do(signed_in, spool, "judge", level="quarter")
    assert held(spool) == 250_000
    page = do(signed_in, spool, "not-known").content.decode()
    assert "not known" in page
    assert StockItem.objects.get(pk=spool.pk).known == "unknown"
    assert ledger_problems() == []


def test_the_first_empty_spool_weighed_tells_the_weight_of_all_of_its_put_up(signed_in):
    shade = a_shade()
    put_up = a_put_up(shade.range, tare_mg=None)
    spool = a_spool(shade)
    page = do(signed_in, spool, "weigh-empty", empty="11.25").content.decode()
    assert "Noted." in page
    put_up.refresh_from_db()
    assert put_up.tare_mg == 11_250


def test_moving_and_changing_lot_and_note_are_noted(signed_in, person):
    spool, drawer = a_spool(), a_place("drawer")
    do(signed_in, spool, "move", place=drawer.pk)
    page = page_text(do(signed_in, spool, "note", lot="L9", note="slubby"))
    assert StockItem.objects.get(pk=spool.pk).place == drawer
    assert "slubby" in page
    assert "place from nothing to drawer" in page
    assert Change.objects.filter(table="stockitem", record=spool.pk, by=person).count() == 2


def test_winding_makes_a_batch_and_undoing_takes_it_back(signed_in):
    style, spool = a_bobbin_style(), a_spool()
    page = do(signed_in, spool, "wind", count="4", style=style.pk, length="50")
    batch = BobbinBatch.objects.get()
    assert (batch.on_hand, batch.length_mm, held(spool)) == (4, 50_000, 800_000)
    assert reverse("item", args=[batch.label]) in page.content.decode()
    entry = Entry.objects.filter(item=spool, reason="wind").get()
    question = signed_in.get(reverse("take_back", args=[entry.pk])).content.decode()
    assert batch.label in question
    signed_in.post(reverse("take_back", args=[entry.pk]))
    batch.refresh_from_db()
    assert held(spool) == 1_000_000
    assert batch.retired_at is not None
    assert ledger_problems() == []


def test_a_bobbin_is_opened_and_put_back(signed_in):
    batch = some_bobbins(count=5, metres=100)
    do(signed_in, batch, "open")
    part = PartBobbin.objects.get()
    assert held(batch) == 4
    page = do(signed_in, part, "put-back", quantity="30")
    assert held(part) == 30_000
    assert f"Took 70.0 m off {part.label}; 30.0 m left." in page.content.decode()


def test_a_piece_is_cut_from_a_roll_and_the_rest_kept(signed_in):
    roll = a_roll(width_mm=500, metres=10)
    do(signed_in, roll, "cut", width="24", height="30", keep_width="25", keep_height="30")
    offcut = Offcut.objects.get()
    assert held(roll) == 9_700
    assert (offcut.width_mm, offcut.height_mm) == (250, 300)


def test_half_a_rest_is_asked_about(signed_in):
    response = do(signed_in, a_roll(), "cut", width="24", height="30", keep_width="25")
    assert response.status_code == 422
    assert "A rest has a width and a height" in response.content.decode()


def test_an_offcut_is_taken_whole_without_asking_how_much(signed_in):
    offcut = receive_offcut(a_stabilizer(), width_mm=150, height_mm=180, delivery=a_delivery())
    page = do(signed_in, offcut, "take", quantity="1").content.decode()
    assert held(offcut) == 0
    assert f"Took 1 offcut off {offcut.label}" in page


def test_a_pack_is_split(signed_in):
    batch, tin = some_bobbins(count=20), a_place("tin")
    do(signed_in, batch, "split", count="8", place=tin.pk)
    assert sorted(BobbinBatch.objects.values_list("on_hand", flat=True)) == [8, 12]


def test_what_is_off_the_shelf_shows_its_history_and_can_come_back(signed_in):
    spool = a_spool()
    page = do(signed_in, spool, "retire", reference="moths").content.decode()
    assert "is off the shelf" in page
    assert "Off the shelf since" in page
    entry = Entry.objects.filter(item=spool, reason="retire").get()
    signed_in.post(reverse("take_back", args=[entry.pk]))
    assert StockItem.objects.get(pk=spool.pk).retired_at is None
    assert held(spool) == 1_000_000


@pytest.mark.parametrize(
    ("slug", "fields", "says"),
    [
        ("take", {"quantity": ""}, "required"),
        ("take", {"quantity": "lots"}, "no number"),
        ("take", {"quantity": "0"}, "0 moves nothing"),
        ("take", {"quantity": "1,500"}, "could be 1500 or 1.5"),
        ("take", {"quantity": "2000 m"}, "cannot be taken"),
        ("weigh", {"gross": "3 g"}, "less than"),
        ("judge", {"level": "plenty"}, "plenty"),
        ("wind", {"count": "0", "style": ""}, "required"),
        ("move", {"place": "999"}, "valid choice"),
    ],
)
def test_a_mistake_is_told_in_words_and_keeps_what_was_typed(signed_in, slug, fields, says):
    spool = a_spool()
    a_bobbin_style()
    response = do(signed_in, spool, slug, **fields)
    page = response.content.decode()
    assert response.status_code == 422
    assert says in page
    if typed := fields.get("quantity") or fields.get("gross"):
        assert f'value="{typed}"' in page
    assert held(spool) == 1_000_000


def test_the_same_act_sent_twice_moves_stock_once(signed_in):
    spool = a_spool()
    for _ in range(2):
        do(signed_in, spool, "take", quantity="10", key="one-and-the-same")
    assert held(spool) == 990_000


def test_every_form_of_a_page_has_a_key_of_its_own_and_a_new_one_each_time(signed_in):
    spool = a_spool()
    keys = [
        form["key"].value()
        for _ in range(2)
        for form, _ in signed_in.get(reverse("item", args=[spool.label])).context["forms"]
    ]
    assert len(set(keys)) == len(keys) > 10


def test_an_act_that_does_not_suit_the_thing_is_not_there(signed_in):
    roll = a_roll()
    assert signed_in.post(reverse("act", args=[roll.label, "wind"]), {}).status_code == 404
    assert signed_in.post(reverse("act", args=["S9999", "take"]), {}).status_code == 404


def test_the_history_tells_who_when_why_how_much_and_what_was_left(signed_in):
    spool = a_spool()
    do(signed_in, spool, "take", quantity="100", reference="caps")
    do(signed_in, spool, "waste", quantity="10", reference="tangled")
    history = signed_in.get(reverse("item", args=[spool.label])).context["history"]
    assert [(row["quantity"], row["balance"]) for row in history] == [
        ("−10.0", "890.0"), ("−100.0", "900.0"), ("+1,000.0", "1,000.0")
    ]  # fmt: skip
    assert [str(row["entry"].by) for row in history] == ["morgan", "morgan", "None"]
    assert history[0]["entry"].reference == "tangled"


def test_an_undone_movement_stays_with_the_one_that_undid_it_and_offers_no_second_undo(signed_in):
    spool = a_spool()
    do(signed_in, spool, "take", quantity="100")
    entry = Entry.objects.get(item=spool, reason="use")
    for _ in range(2):
        signed_in.post(reverse("take_back", args=[entry.pk]))
    history = signed_in.get(reverse("item", args=[spool.label])).context["history"]
    assert [(row["entry"].reason, row["reversible"]) for row in history] == [
        ("reverse", False), ("use", False), ("receive", True)
    ]  # fmt: skip
    assert held(spool) == 1_000_000


def test_an_undo_that_stock_no_longer_allows_says_why(signed_in):
    spool = a_spool()
    do(signed_in, spool, "take", quantity="100")
    received = Entry.objects.get(item=spool, reason="receive")
    response = signed_in.post(reverse("take_back", args=[received.pk]))
    assert response.status_code == 422
    assert "has been used or set aside since" in response.content.decode()


def test_the_line_over_time_is_drawn_and_said(signed_in):
    spool = a_spool()
    do(signed_in, spool, "take", quantity="100")
    page = signed_in.get(reverse("item", args=[spool.label])).content.decode()
    assert '<figure class="stock-line">' in page
    assert "From 1,000.0 m on 2 Mar 2026 to 900.0 m" in page
    assert "in 2 movements" in page


def test_a_thing_asks_the_database_no_more_for_a_longer_history(signed_in):
    spool = a_spool()
    do(signed_in, spool, "take", quantity="1")
    address = reverse("item", args=[spool.label])
    with CaptureQueriesContext(connection) as before:
        signed_in.get(address)
    for _ in range(40):
        do(signed_in, spool, "take", quantity="1")
    with CaptureQueriesContext(connection) as after:
        signed_in.get(address)
    assert len(after) == len(before)


def test_quantities_are_read_and_written_in_the_persons_units(signed_in, person):
    Preference.objects.create(user=person, length_unit="yd", weight_unit="oz", size_unit="in")
    spool, roll = a_spool(), a_roll(metres=10)
    page = do(signed_in, spool, "take", quantity="100").content.decode()
    assert held(spool) == 1_000_000 - 91_440
    assert "993.6 yd" in page
    do(signed_in, roll, "take", quantity="10")
    assert held(roll) == 10_000 - 254

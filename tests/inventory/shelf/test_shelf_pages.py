"""The pages of the shelf: lists, things, what comes, the catalogue, and whether something is owned."""

import csv
import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.catalogue.pages import BOOKS
from inventory.compute.units import Units
from inventory.ledger import ledger_problems, set_aside
from inventory.models import (
    BobbinBatch,
    Change,
    EarlierCode,
    Entry,
    NeedlePack,
    Offcut,
    Offer,
    PartBobbin,
    Place,
    PutUp,
    Shade,
    SheetPack,
    Spool,
    StabilizerRoll,
    StockItem,
    Supplier,
    ThreadRange,
)
from inventory.shelf.arrival_forms import ARRIVALS
from inventory.shelf.forms import MeasureField, shades_like
from inventory.shelf.receipts import receive_needles, receive_offcut, receive_sheets
from tests.factories import (
    NOW,
    a_bobbin_style,
    a_delivery,
    a_key,
    a_place,
    a_put_up,
    a_range,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    an_offer,
    some_bobbins,
)
from workshop.models import Preference

pytestmark = pytest.mark.django_db
RED, BLUE, NAVY = "#b01c2e", "#1c2b8d", "#10163f"


@pytest.fixture
def signed_in(client, person):
    client.force_login(person)
    return client


def labels(response):
    return [row.thing.item.label for row in response.context["rows"]]


def held(item):
    return StockItem.objects.get(pk=item.pk).on_hand


def do(client, item, slug, **fields):
    """Carry out an act as the item's page offers it; return the page that it leads to."""
    page = client.get(reverse("item", args=[item.label]))
    form = next(form for form, _ in page.context["forms"] if form.slug == slug)
    fields = {"key": form["key"].value()} | fields
    return client.post(reverse("act", args=[item.label, slug]), fields, follow=True)


def the_list(client, slug="thread", **asked):
    return client.get(reverse("shelf_list", args=[slug]), asked)


# --- the lists


def test_an_empty_shelf_says_what_it_is_for_and_offers_the_first_step(signed_in):
    page = signed_in.get(reverse("shelf")).content.decode()
    assert "Nothing is on the shelf yet" in page
    assert reverse("receive_first") in page


def test_the_list_tells_each_spool_its_quantity_and_how_sure_that_is(signed_in):
    a_spool(a_shade("R1", name="harbour red"), left_m=300, place=a_place("wall"), lot="L7")
    page = signed_in.get(reverse("shelf")).content.decode()
    for words in ("harbour red", "Skerry Forty · R1", "300.0", "± 5.0 m, weighed", "wall", "L7"):
        assert words in page


@pytest.mark.parametrize("text", ["S0001", "s0001", "R1", "harbour", "Skerry", "LOT-9", "OLD77", "red forty"])
def test_a_search_finds_by_label_code_name_maker_lot_and_earlier_code(signed_in, text):
    shade = a_shade("R1", name="harbour red")
    EarlierCode.objects.create(shade=shade, code="OLD77")
    wanted = a_spool(shade, lot="LOT-9")
    StockItem.objects.filter(pk=wanted.pk).update(label="S0001")
    a_spool(a_shade("B2", name="deep blue", range=a_range("Holm", "Fifty")), lot="other")
    assert labels(the_list(signed_in, q=text)) == ["S0001"]


def test_a_search_that_finds_nothing_says_so_and_keeps_the_words(signed_in):
    a_spool()
    page = the_list(signed_in, q="turquoise").content.decode()
    assert "Nothing answers to all of that" in page
    assert 'value="turquoise"' in page


def test_filters_narrow_the_list_and_stand_as_chips_that_can_be_taken_away(signed_in):
    rayon = a_range("Holm", "Gloss", fibre="rayon", weight_label="30")
    wanted = a_spool(a_shade("G", range=rayon), place=a_place("drawer"))
    a_spool(a_shade("R"))
    for asked in ({"maker": "Holm"}, {"fibre": "rayon"}, {"weight": "30"}, {"place": wanted.place_id}):
        assert labels(the_list(signed_in, **asked)) == [wanted.label]
    page = the_list(signed_in, maker="Holm", place=wanted.place_id)
    assert page.context["chips"] == [
        ("Holm", f"?place={wanted.place_id}"), ("drawer", "?maker=Holm")
    ]  # fmt: skip


def test_low_lists_what_holds_under_a_fifth_and_leaves_the_unknown_out(signed_in):
    low = a_spool(left_m=150)
    a_spool(left_m=250)
    unknown = a_spool(left_m=100)
    StockItem.objects.filter(pk=unknown.pk).update(known="unknown")
    assert labels(the_list(signed_in, low="on")) == [low.label]


def test_low_counts_what_is_free_and_not_what_is_set_aside(signed_in):
    spool = a_spool(left_m=500)
    set_aside(spool, quantity=400_000, holder="job 1", key=a_key(), at=NOW, by=None)
    assert labels(the_list(signed_in, low="on")) == [spool.label]


def test_opened_lists_what_was_begun(signed_in):
    begun = a_spool()
    a_spool()
    do(signed_in, begun, "take", quantity="10")
    assert labels(the_list(signed_in, opened="on")) == [begun.label]


def test_a_colour_sorts_the_list_by_its_distance(signed_in):
    red, blue, navy = (a_spool(a_shade(hex=hex)) for hex in (RED, BLUE, NAVY))
    colourless = Shade.objects.create(range=a_range(), code="?")
    a_spool(colourless)
    response = the_list(signed_in, near=NAVY)
    assert labels(response) == [navy.label, blue.label, red.label]
    distances = [row.delta_e_00 for row in response.context["rows"]]
    assert distances == sorted(distances)
    assert distances[0] == pytest.approx(0, abs=1e-6)


def test_a_shade_code_stands_for_its_colour(signed_in):
    a_spool(a_shade("R", hex=RED))
    blue = a_spool(a_shade("B", hex=BLUE))
    assert labels(the_list(signed_in, near="B"))[0] == blue.label


def test_a_colour_that_is_none_is_refused_in_words_and_kept(signed_in):
    a_spool()
    page = the_list(signed_in, near="#12").content.decode()
    assert "neither a colour nor a known shade code" in page
    assert 'value="#12"' in page


def test_the_nearest_first_goes_on_over_pages_without_losing_or_repeating_any(signed_in):
    shades = [a_shade(hex=f"#{number * 12:02x}4080") for number in range(20)]
    for shade in shades:
        for _ in range(3 + shades.index(shade) % 2):
            a_spool(shade)
    pages = [the_list(signed_in, near=BLUE, page=number) for number in (1, 2)]
    listed = [label for page in pages for label in labels(page)]
    assert len(listed) == len(set(listed)) == StockItem.objects.count()
    distances = [row.delta_e_00 for page in pages for row in page.context["rows"]]
    assert distances == sorted(distances)


def test_a_column_sorts_up_then_down_then_not(signed_in):
    much, little = a_spool(), a_spool(left_m=10)
    assert labels(the_list(signed_in, sort="left")) == [little.label, much.label]
    response = the_list(signed_in, sort="-left")
    assert labels(response) == [much.label, little.label]
    assert response.context["sorts"]["left"].sorted == "descending"
    assert response.context["sorts"]["left"].address == "?"
    assert 'aria-sort="descending"' in response.content.decode()


def test_a_sort_that_there_is_none_of_is_ignored(signed_in):
    first, second = a_spool(), a_spool()
    assert labels(the_list(signed_in, sort="on_hand; drop")) == [first.label, second.label]


def test_fifty_rows_make_a_page(signed_in):
    shade = a_shade()
    for _ in range(51):
        a_spool(shade)
    assert len(labels(the_list(signed_in))) == 50
    assert len(labels(the_list(signed_in, page=2))) == 1


def test_what_left_the_shelf_is_not_listed(signed_in):
    gone, there = a_spool(), a_spool()
    do(signed_in, gone, "retire")
    assert labels(the_list(signed_in)) == [there.label]


def test_every_kind_of_thing_has_its_list(signed_in):
    batch, roll = some_bobbins(), a_roll()
    product = a_stabilizer()
    sheets = receive_sheets(product, width_mm=200, height_mm=250, count=9, delivery=a_delivery())
    offcut = receive_offcut(product, width_mm=150, height_mm=180, delivery=a_delivery())
    needles = receive_needles(system="HX5", size=75, count=10, delivery=a_delivery())
    assert labels(the_list(signed_in, "bobbins")) == [batch.label]
    assert labels(the_list(signed_in, "stabilizer")) == sorted([roll.label, sheets.label, offcut.label])
    assert labels(the_list(signed_in, "stabilizer", kind="sheets")) == [sheets.label]
    assert labels(the_list(signed_in, "needles", q="75")) == [needles.label]
    assert the_list(signed_in, "scissors").status_code == 404


def test_a_list_asks_the_database_no_more_for_more_rows(signed_in):
    for _ in range(2):
        a_spool(a_shade(hex=RED), place=a_place())
        some_bobbins()
        a_roll()
    asked = [("thread", {}), ("thread", {"near": BLUE, "q": "sker"}), ("bobbins", {}), ("stabilizer", {})]

    def counted():
        counts = []
        for slug, fields in asked:
            with CaptureQueriesContext(connection) as queries:
                the_list(signed_in, slug, **fields)
            counts.append(len(queries))
        return counts

    counted()
    before = counted()
    for number in range(20):
        a_spool(a_shade(hex=f"#{number * 9:02x}4060"), place=a_place(f"place {number}"))
        some_bobbins()
        a_roll()
    assert counted() == before


def test_the_list_as_a_file_has_si_units_and_runs_no_formula(signed_in):
    spool = a_spool(a_shade("=1+1", name="@red"), left_m=300, lot="-7")
    a_spool(a_shade("B"))
    response = signed_in.get(reverse("shelf_csv", args=["thread"]), {"q": "@red"})
    assert response.streaming
    text = b"".join(response.streaming_content).decode("utf-8-sig")
    [row] = csv.DictReader(io.StringIO(text))
    assert row["label"] == spool.label
    assert (row["length_mm"], row["length_sigma_mm"]) == ("300000", "5000")
    assert (row["code"], row["name"], row["lot"]) == ("'=1+1", "'@red", "'-7")


def test_the_list_as_a_file_holds_all_pages_in_the_order_of_the_list(signed_in):
    for number in range(60):
        a_spool(a_shade(hex=f"#{number * 4:02x}4080"))
    response = signed_in.get(reverse("shelf_csv", args=["thread"]), {"near": BLUE})
    rows = list(csv.DictReader(io.StringIO(b"".join(response.streaming_content).decode("utf-8-sig"))))
    assert len(rows) == 60
    distances = [float(row["delta_e_00"]) for row in rows]
    assert distances == sorted(distances)


# --- many at once


def test_ticked_things_are_moved_together(signed_in):
    spools, drawer = [a_spool(), a_spool()], a_place("drawer")
    sent = {"item": [each.pk for each in spools], "do": "move", "place": drawer.pk, "query": "q=sker"}
    response = signed_in.post(reverse("together", args=["thread"]), sent)
    assert response.url == f"{reverse('shelf_list', args=['thread'])}?q=sker"
    assert Spool.objects.filter(place=drawer).count() == 2


def test_taking_many_off_the_shelf_asks_once_more(signed_in):
    spools = [a_spool(), a_spool()]
    sent = {"item": [each.pk for each in spools], "do": "retire"}
    page = signed_in.post(reverse("together", args=["thread"]), sent)
    assert "Take 2 things off the shelf?" in page.content.decode()
    assert StockItem.objects.on_the_shelf().count() == 2
    asked = sent | {"asked": "yes", "key": page.context["key"], "reference": "moths"}
    for _ in range(2):
        signed_in.post(reverse("together", args=["thread"]), asked)
    assert StockItem.objects.on_the_shelf().count() == 0
    assert Entry.objects.filter(reason="retire", reference="moths").count() == 2
    assert ledger_problems() == []


def test_what_cannot_be_done_with_one_is_told_and_the_others_are_done(signed_in):
    wanted, free = a_spool(), a_spool()
    set_aside(wanted, quantity=1_000, holder="job 7", key=a_key(), at=NOW, by=None)
    sent = {"item": [wanted.pk, free.pk], "do": "retire", "asked": "yes", "key": a_key()}
    response = signed_in.post(reverse("together", args=["thread"]), sent)
    assert response.status_code == 422
    assert "set aside for job 7" in response.content.decode()
    assert list(StockItem.objects.on_the_shelf()) == [StockItem.objects.get(pk=wanted.pk)]


@pytest.mark.parametrize("sent", [{"do": "move"}, {"do": "move", "item": ["x", "-1", "9" * 40]}])
def test_nothing_ticked_says_what_to_do(signed_in, sent):
    response = signed_in.post(reverse("together", args=["thread"]), sent)
    assert response.status_code == 422
    assert "Nothing was ticked" in response.content.decode()


# --- one thing


def test_a_thing_shows_what_it_is_how_much_and_how_sure(signed_in):
    spool = a_spool(a_shade("R1", name="harbour red"), left_m=300, place=a_place("wall"), lot="L7")
    page = signed_in.get(reverse("item", args=[spool.label])).content.decode()
    for words in ("harbour red", "Skerry Forty · R1", "300.0 m", "± 5.0 m, weighed", "wall", "L7", "12.0 g"):
        assert words in page


@pytest.mark.parametrize(
    ("known", "sigma", "words"),
    [
        ("sealed", 20_000, "± 20.0 m, sealed, as sold"),
        ("weighed", 5_000, "± 5.0 m, weighed"),
        ("judged", 120_000, "± 120.0 m, judged by eye"),
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
    page = signed_in.get(reverse("item", args=[spool.label])).content.decode()
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
    page = do(signed_in, spool, "note", lot="L9", note="slubby").content.decode()
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
    question = signed_in.get(reverse("undo", args=[entry.pk])).content.decode()
    assert batch.label in question
    signed_in.post(reverse("undo", args=[entry.pk]))
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
    signed_in.post(reverse("undo", args=[entry.pk]))
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
        signed_in.post(reverse("undo", args=[entry.pk]))
    history = signed_in.get(reverse("item", args=[spool.label])).context["history"]
    assert [(row["entry"].reason, row["undoable"]) for row in history] == [
        ("reverse", False), ("use", False), ("receive", True)
    ]  # fmt: skip
    assert held(spool) == 1_000_000


def test_an_undo_that_stock_no_longer_allows_says_why(signed_in):
    spool = a_spool()
    do(signed_in, spool, "take", quantity="100")
    received = Entry.objects.get(item=spool, reason="receive")
    response = signed_in.post(reverse("undo", args=[received.pk]))
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


# --- what comes


def come(client, slug, **fields):
    page = client.get(reverse("receive", args=[slug]))
    fields = {"key": page.context["form"]["key"].value()} | fields
    return client.post(reverse("receive", args=[slug]), fields, follow=True)


def test_new_spools_come_by_the_code_of_their_shade(signed_in):
    shade, wall = a_shade("R1", name="harbour red"), a_place("wall")
    a_put_up(shade.range)
    page = come(
        signed_in, "spools", shade="R1", count="3", lot="L7", place=wall.pk, price="4,20"
    ).content.decode()
    spools = list(Spool.objects.all())
    assert [(each.shade, each.lot, each.place, str(each.price_paid)) for each in spools] == [
        (shade, "L7", wall, "4.20")
    ] * 3
    assert all(each.label in page for each in spools)
    assert ledger_problems() == []


def test_a_delivery_sent_twice_comes_once_and_can_be_undone(signed_in):
    shade = a_shade("R1")
    a_put_up(shade.range)
    for _ in range(2):
        page = come(signed_in, "spools", shade="R1", count="2", key="one-and-the-same")
    assert Spool.objects.count() == 2
    signed_in.post(reverse("undo", args=[page.context["undoable"].pk]))
    assert StockItem.objects.on_the_shelf().count() == 0


@pytest.mark.parametrize(
    "typed", ["R1", "r1", "OLD1", "harbour red", "Skerry Forty R1 harbour red", "skerry harbour"]
)
def test_a_shade_is_known_by_code_earlier_code_name_or_words(typed):
    shade = a_shade("R1", name="harbour red")
    EarlierCode.objects.create(shade=shade, code="OLD1")
    a_shade("R11", name="harbour red deep", range=a_range("Holm", "Fifty"))
    assert shades_like(typed)[0] == shade
    assert len(shades_like(typed)) == 1


def test_a_code_that_several_makers_use_is_asked_about(signed_in):
    a_shade("1147")
    a_shade("1147", range=a_range("Holm", "Fifty"))
    response = come(signed_in, "spools", shade="1147", count="2")
    page = response.content.decode()
    assert response.status_code == 422
    assert "could be Holm Fifty 1147; Skerry Forty 1147" in page
    assert 'value="1147"' in page
    assert 'value="2"' in page


def test_a_put_up_is_the_last_one_or_the_only_one_or_asked_for(signed_in):
    shade = a_shade("R1")
    a_put_up(shade.range, metres=1000)
    cone = a_put_up(shade.range, metres=5000)
    response = come(signed_in, "spools", shade="R1", count="1")
    assert response.status_code == 422
    assert "Choose how it is sold: 1000 m spool, 5000 m spool" in response.content.decode()
    come(signed_in, "spools", shade="R1", count="1", put_up=cone.pk)
    come(signed_in, "spools", shade="R1", count="1")
    assert list(Spool.objects.values_list("put_up", flat=True)) == [cone.pk, cone.pk]


def test_a_part_used_spool_comes_judged_measured_or_unknown(signed_in):
    shade = a_shade("R1")
    put_up = a_put_up(shade.range)
    come(signed_in, "part-used-spool", shade="R1", put_up=put_up.pk, looks="half")
    come(signed_in, "part-used-spool", shade="R1", length="120")
    come(signed_in, "part-used-spool", shade="R1")
    assert list(Spool.objects.order_by("pk").values_list("on_hand", "known")) == [
        (500_000, "judged"), (120_000, "judged"), (0, "unknown")
    ]  # fmt: skip


def test_bobbins_rolls_sheets_offcuts_and_needles_come(signed_in):
    style, product = a_bobbin_style(), a_stabilizer()
    a_shade("W", range=a_range("Skerry", "Under", purpose="bobbin"))
    come(signed_in, "bobbins", style=style.pk, shade="W", length="100", count="12", price="0.5")
    come(signed_in, "rolls", product=product.pk, width="50", length="10", count="2")
    come(signed_in, "sheets", product=product.pk, width="20", height="25", count="50")
    come(signed_in, "offcut", product=product.pk, width="15", height="18")
    come(signed_in, "needles", system="HX5", size="75", point="ball", count="10")
    assert BobbinBatch.objects.get().on_hand == 12
    assert [(roll.width_mm, roll.on_hand) for roll in StabilizerRoll.objects.all()] == [(500, 10_000)] * 2
    assert SheetPack.objects.get().on_hand == 50
    assert (Offcut.objects.get().width_mm, Offcut.objects.get().height_mm) == (150, 180)
    assert NeedlePack.objects.get().point == "ball"
    assert ledger_problems() == []


@pytest.mark.parametrize(
    ("field", "typed", "says"),
    [
        ("shade", "nothing like it", "No shade is called"),
        ("shade", "", "required"),
        ("count", "0", "cannot be received at once"),
        ("count", "2.5", "not a whole number"),
        ("price", "4.205", "could be"),
        ("price", "four", "not a number"),
        ("place", "999", "valid choice"),
    ],
)
def test_a_delivery_that_makes_no_sense_is_refused_and_kept(signed_in, field, typed, says):
    a_put_up(a_shade("R1").range)
    response = come(signed_in, "spools", **({"shade": "R1", "count": "1", "lot": "KEEP"} | {field: typed}))
    assert response.status_code == 422
    assert says in response.content.decode()
    assert 'value="KEEP"' in response.content.decode()
    assert not Spool.objects.exists()


def test_the_next_delivery_keeps_place_and_price(signed_in):
    a_put_up(a_shade("R1").range)
    wall = a_place()
    page = come(signed_in, "spools", shade="R1", count="1", place=wall.pk, price="4.20")
    form = page.context["form"]
    assert str(form["place"].value()) == str(wall.pk)
    assert form["price"].value() == "4.20"
    assert not form["shade"].value()


@pytest.mark.parametrize("slug", ARRIVALS)
def test_each_form_says_what_the_catalogue_lacks(signed_in, slug):
    response = signed_in.get(reverse("receive", args=[slug]))
    assert response.status_code == 200
    assert "The catalogue lacks" in response.content.decode()


def test_shades_are_offered_while_typing(signed_in):
    a_shade("R1", name="harbour red")
    page = signed_in.get(reverse("shade_choices"), {"shade": "harb"}).content.decode()
    assert '<option value="Skerry Forty R1 harbour red">' in page


# --- the catalogue


def add(client, slug, **fields):
    page = client.get(reverse("catalogue_add", args=[slug]))
    fields = {"key": page.context["form"]["key"].value()} | fields
    return client.post(reverse("catalogue_add", args=[slug]), fields, follow=True)


def edit(client, slug, record, **fields):
    address = reverse("catalogue_record", args=[slug, record.pk])
    form = client.get(address).context["form"]
    now = {name: form[name].value() for name in form.fields}
    sent = {name: value for name, value in (now | fields).items() if value not in (None, False)}
    return client.post(address, sent, follow=True)


def test_a_catalogue_is_built_from_nothing(signed_in):
    add(signed_in, "places", name="wall")
    add(
        signed_in,
        "ranges",
        maker="Holm",
        name="Fifty",
        purpose="needle",
        fibre="rayon",
        tex="24,5",
        weight_label="50",
    )
    thread = ThreadRange.objects.get()
    page = add(
        signed_in, "shades", range=thread.pk, code="77", name="sea green", colour="#2e8b57", colour_source="screen",
        earlier="A7; B7",
    )  # fmt: skip
    assert "sea green" in page.content.decode()
    add(signed_in, "put-ups", range=thread.pk, name="cone", length_mm="5000", tare_mg="31.5")
    add(signed_in, "bobbin-styles", name="L", outer_diameter_mm="20.3", width_mm="8,9", core_diameter_mm="6")
    add(signed_in, "stabilizers", maker="Holm", name="Tear", kind="tear-away", weight_g_m2="50")
    add(signed_in, "suppliers", name="Quay", lead_time_days="5", shipping="4.90")
    shade, put_up = Shade.objects.get(), PutUp.objects.get()
    add(
        signed_in,
        "thread-offers",
        supplier=Supplier.objects.get().pk,
        put_up=put_up.pk,
        pack="6",
        price="30.00",
    )
    assert thread.tex == 24.5
    assert shade.hex == "#2e8b57"
    assert {code.code for code in shade.earlier_codes.all()} == {"A7", "B7"}
    assert (put_up.length_mm, put_up.tare_mg) == (5_000_000, 31_500)
    assert Offer.objects.get().pack == 6
    assert set(Change.objects.values_list("table", flat=True)) >= {
        "place",
        "threadrange",
        "shade",
        "putup",
        "offer",
    }


def test_an_edit_is_noted_with_who_and_what_and_shown(signed_in, person):
    shade = a_shade("R1", name="harbour red")
    page = edit(signed_in, "shades", shade, name="signal red", earlier="OLD1").content.decode()
    assert "name from harbour red to signal red" in page
    assert "earlier codes from nothing to OLD1" in page
    assert {change.by for change in Change.objects.all()} == {person}
    assert shades_like("OLD1") == [shade]


def test_saving_without_a_change_notes_nothing_and_loses_nothing(signed_in):
    shade = a_shade("R1", hex=NAVY)
    put_up = a_put_up(shade.range, tare_mg=12_345)
    lab = (shade.lab_l, shade.lab_a, shade.lab_b)
    for slug, record in (("shades", shade), ("put-ups", put_up)):
        assert "nothing was changed" in edit(signed_in, slug, record).content.decode()
    shade.refresh_from_db()
    put_up.refresh_from_db()
    assert (shade.lab_l, shade.lab_a, shade.lab_b) == lab
    assert put_up.tare_mg == 12_345
    assert not Change.objects.exists()


def test_the_same_addition_sent_twice_adds_one(signed_in):
    for _ in range(2):
        response = add(signed_in, "places", name="wall", key="one-and-the-same")
    assert response.status_code in (200, 422)
    assert Place.objects.count() == 1


@pytest.mark.parametrize(
    ("slug", "fields", "says"),
    [
        (
            "ranges",
            {"maker": "Holm", "name": "Fifty", "purpose": "needle", "fibre": "rayon", "tex": "0"},
            "positive",
        ),
        (
            "ranges",
            {"maker": "Holm", "name": "Fifty", "purpose": "needle", "fibre": "rayon", "tex": "fine"},
            "number",
        ),
        ("places", {"name": "wall"}, "already exists"),
        (
            "bobbin-styles",
            {"name": "L", "outer_diameter_mm": "5", "width_mm": "9", "core_diameter_mm": "6"},
            "room",
        ),
        ("suppliers", {"name": "Q", "lead_time_days": "-1", "shipping": "1"}, "greater than or equal to 0"),
    ],
)
def test_a_record_that_cannot_be_is_refused_in_words(signed_in, slug, fields, says):
    a_place("wall")
    response = add(signed_in, slug, **fields)
    assert response.status_code == 422
    assert says in response.content.decode()


def test_a_colour_that_is_none_is_refused_in_the_catalogue_too(signed_in):
    response = edit(signed_in, "shades", a_shade("R1"), colour="reddish")
    assert response.status_code == 422
    assert "reddish" in response.content.decode()
    assert "is not a colour" in response.content.decode()


@pytest.mark.parametrize("slug", BOOKS)
def test_an_empty_book_says_what_it_is_for(signed_in, slug):
    page = signed_in.get(reverse("catalogue_list", args=[slug])).content.decode()
    assert "None yet" in page
    assert BOOKS[slug].what_for.split(",")[0].split("'")[0][:20] in page


def test_the_shades_of_a_range_are_listed_with_their_colours(signed_in):
    shade = a_shade("R1", name="harbour red")
    EarlierCode.objects.create(shade=shade, code="OLD1")
    a_shade("X", range=a_range("Holm", "Fifty"))
    page = signed_in.get(
        reverse("catalogue_list", args=["shades"]), {"range": shade.range_id}
    ).content.decode()
    assert "harbour red" in page
    assert "OLD1" in page
    assert "Holm" not in page


def test_a_book_asks_the_database_no_more_for_more_records(signed_in):
    an_offer(a_put_up())
    a_shade()

    def counted():
        counts = []
        for slug in BOOKS:
            with CaptureQueriesContext(connection) as queries:
                signed_in.get(reverse("catalogue_list", args=[slug]))
            counts.append(len(queries))
        return counts

    counted()
    before = counted()
    for number in range(10):
        thread = a_range("Holm", f"No {number}")
        EarlierCode.objects.create(shade=a_shade(range=thread), code="OLD")
        an_offer(a_put_up(thread), supplier=f"Quay {number}")
    assert counted() == before


@pytest.mark.parametrize("unit", ["m", "yd"])
@pytest.mark.parametrize("mm", [0, 1, 500, 914, 1_000, 1_234, 123_456, 5_000_000])
def test_a_stored_length_shown_in_a_field_is_read_back_the_same(unit, mm):
    field = MeasureField(measure="length", label="Length")
    field.read_in(Units(length=unit))
    assert field.clean(field.prepare_value(mm)) == mm


# --- do I own this?


def own(client, text):
    return client.get(reverse("own"), {"q": text})


def test_a_shade_that_is_owned_is_found_by_its_code_with_metres_and_places(signed_in):
    shade = a_shade("R1", name="harbour red")
    a_spool(shade, left_m=300, place=a_place("wall"))
    a_spool(shade, place=a_place("drawer"))
    page = own(signed_in, "r1").content.decode()
    assert "Yes, this very shade" in page
    assert "1,300.0" in page
    assert "drawer, wall" in page


def test_a_shade_that_is_known_but_not_owned_leads_to_the_nearest_that_is(signed_in):
    a_shade("N", hex=NAVY, name="night")
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    response = own(signed_in, "night")
    page = response.content.decode()
    assert "No, not this shade" in page
    assert "none of it is on the shelf" in page
    [near] = response.context["answer"].near
    assert near.near.shade.code == "B"
    assert near.near.in_words in page


def test_a_colour_is_answered_with_its_distance_and_grade_in_words(signed_in):
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    a_spool(a_shade("R", hex=RED))
    response = own(signed_in, "#1d2c8e")
    answer = response.context["answer"]
    assert [each.near.shade.code for each in answer.near] == ["B", "R"]
    assert answer.closeness == "enough"
    assert answer.near[0].near.in_words in response.content.decode()


def test_an_earlier_code_finds_the_shade_and_says_that_it_is_earlier(signed_in):
    shade = a_shade("R1")
    EarlierCode.objects.create(shade=shade, code="OLD77")
    a_spool(shade)
    assert "OLD77 is an earlier code of it" in own(signed_in, "OLD77").content.decode()


def test_what_nobody_knows_says_how_to_ask(signed_in):
    response = own(signed_in, "octarine")
    assert response.status_code == 200
    assert "Nobody here knows it" in response.content.decode()


def test_a_colour_asked_of_an_empty_shelf_says_so(signed_in):
    assert "No thread of a known colour is owned" in own(signed_in, "#123456").content.decode()


def test_a_colour_that_is_written_wrong_is_refused_and_kept(signed_in):
    response = own(signed_in, "lab:1,2")
    assert response.status_code == 422
    assert 'value="lab:1,2"' in response.content.decode()


def test_one_code_of_two_colours_shows_both(signed_in):
    a_shade("7", hex=RED)
    a_spool(a_shade("7", hex=BLUE, range=a_range("Holm", "Fifty")))
    answer = own(signed_in, "7").context["answer"]
    assert len(answer.very) == 2
    assert answer.several_colours


# --- every page


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
        reverse("undo", args=[Entry.objects.get(item=spool).pk]),
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


def test_the_scan_box_stands_on_every_page(signed_in):
    for address in addresses():
        assert 'id="scan-box"' in signed_in.get(address, follow=True).content.decode(), address


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

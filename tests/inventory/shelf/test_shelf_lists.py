"""The lists of the shelf: search, filters, order, pages, and acts on many things at once."""

import csv
import io

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.ledger import ledger_problems, set_aside
from inventory.lists.found import TABS, ShelfSearch, shelf
from inventory.lists.wall import wall
from inventory.models import (
    ActOnMany,
    EarlierCode,
    Entry,
    Shade,
    Spool,
    StockItem,
)
from inventory.shelf.receipts import receive_needles, receive_offcut, receive_sheets
from inventory.views.lists import PER_PAGE
from tests.factories import (
    NOW,
    a_delivery,
    a_key,
    a_place,
    a_range,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    some_bobbins,
)
from tests.inventory.shelf.pages import do, labels, the_list

pytestmark = pytest.mark.django_db
RED, BLUE, NAVY = "#b01c2e", "#1c2b8d", "#10163f"


# --- the lists


def test_an_empty_shelf_says_what_it_is_for_and_offers_the_first_step(signed_in):
    page = signed_in.get(reverse("shelf")).content.decode()
    assert "Nothing is on the shelf yet" in page
    assert reverse("receive_first") in page


def test_the_list_tells_each_spool_its_quantity_and_how_sure_that_is(signed_in):
    a_spool(a_shade("R1", name="harbour red"), left_m=300, place=a_place("wall"), lot="L7")
    page = signed_in.get(reverse("shelf")).content.decode()
    for words in ("harbour red", "Skerry Forty · R1", "300.0", "good to 5.0 m, weighed", "wall", "L7"):
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
    pages = [the_list(signed_in, near=BLUE, page=number) for number in range(1, 8)]
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


def test_a_page_is_read_and_many_are_shown_at_once_where_that_is_asked_for(signed_in):
    shade = a_shade()
    for _ in range(51):
        a_spool(shade)
    assert len(labels(the_list(signed_in))) == PER_PAGE
    assert len(labels(the_list(signed_in, page=6))) == 51 - 5 * PER_PAGE
    assert len(labels(the_list(signed_in, shown="many"))) == 51


def test_the_wall_leads_to_a_family_and_stands_as_a_filter(signed_in):
    red = a_spool(a_shade(hex=RED))
    a_spool(a_shade(hex=BLUE)), a_spool(a_shade(hex=NAVY))
    a_spool(Shade.objects.create(range=a_range(), code="?"))
    page = the_list(signed_in)
    assert [(each.slug, len(each.shades)) for each in page.context["wall"]] == [
        ("reds", 1), ("blues", 2), ("not-said", 1)
    ]  # fmt: skip
    reds = the_list(signed_in, family="reds")
    assert labels(reds) == [red.label]
    assert reds.context["chips"] == [("Reds", "?")]


def test_the_wall_is_as_full_as_its_spools_and_says_what_nobody_measured(signed_in):
    shade = a_shade(hex=RED)
    a_spool(shade, left_m=1000), a_spool(shade, left_m=500)
    unknown = a_spool(a_shade(hex=BLUE), left_m=100)
    StockItem.objects.filter(pk=unknown.pk).update(known="unknown")
    reds, blues = wall()
    assert (reds.spools, reds.shades[0].full) == (2, pytest.approx(0.75))
    assert blues.shades[0].full is None


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


def test_every_list_is_told_one_by_one_as_it_is_by_the_page_in_one_question():
    for _ in range(2):
        a_spool(place=a_place("wall"))
        some_bobbins()
        a_roll()
        receive_sheets(a_stabilizer(), width_mm=200, height_mm=250, count=9, delivery=a_delivery())
        receive_offcut(a_stabilizer(), width_mm=150, height_mm=180, delivery=a_delivery())
    for tab in TABS.values():
        found = shelf(tab, ShelfSearch(sort="-label"))
        with CaptureQueriesContext(connection) as asked:
            rows = list(found.one_by_one())
            told = [(each, each.thing.item.place) for each in rows]
        assert len(asked) == 1
        assert rows == found[: len(found)]
        assert [type(each.thing.item) for each, _ in told] == [type(each.thing.item) for each in found[:50]]


# --- many at once


def test_ticked_things_are_moved_together(signed_in):
    spools, drawer = [a_spool(), a_spool()], a_place("drawer")
    sent = {"item": [each.pk for each in spools], "do": "move", "place": drawer.pk, "query": "q=sker"}
    response = signed_in.post(reverse("together", args=["thread"]), sent)
    act = ActOnMany.objects.get()
    assert response.url == reverse("act_on_many", args=[act.pk])
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

"""The commands that move stock: what a person types, what is answered, and how a mistake is told."""

import json
from io import StringIO

import pytest
from django.core.management import call_command

from inventory.ledger import ledger_problems
from inventory.models import BobbinBatch, NeedlePack, SheetPack, Spool, StabilizerRoll, StockItem
from tests.factories import (
    a_bobbin_style,
    a_place,
    a_put_up,
    a_range,
    a_shade,
    a_spool,
    a_stabilizer,
    some_bobbins,
)

pytestmark = pytest.mark.django_db


def said(*words, **options):
    out = StringIO()
    call_command(*words, stdout=out, **options)
    return out.getvalue()


def told(*words):
    return json.loads(said(*words, "--format", "json"))


def refused(*words):
    problem = StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command(*words, stdout=StringIO(), stderr=problem)
    assert ended.value.code == 1
    return problem.getvalue()


def held(item):
    return StockItem.objects.get(pk=item.pk)


def test_use_takes_a_length_as_people_write_it():
    spool = a_spool()
    assert f"Took 120.0 m off {spool.label}; 880.0 m left." in said("use", spool.label.lower(), "120 m")
    assert held(spool).on_hand == 880_000


def test_use_answers_with_units_in_the_names():
    batch = some_bobbins(count=20)
    (entry,) = told("use", batch.label, "3", "--for", "job 12")["entries"]
    assert (entry["moved_pieces"], entry["on_hand_pieces"], entry["reason"]) == (-3, 17, "use")
    assert batch.entries.get(reason="use").reference == "job 12"


def test_a_key_given_twice_moves_once():
    spool = a_spool()
    first = told("use", spool.label, "10 m", "--key", "note-7")
    assert told("use", spool.label, "10 m", "--key", "note-7") == first
    assert held(spool).on_hand == 990_000


def test_without_a_key_every_command_is_an_act_of_its_own():
    spool = a_spool()
    said("use", spool.label, "10 m")
    said("use", spool.label, "10 m")
    assert held(spool).on_hand == 980_000


@pytest.mark.parametrize(
    ("quantity", "why"),
    [
        ("2 km", "cannot be taken"),
        ("1.500", "could be 1500 or 1.5"),
        ("12 g", "not a unit"),
        ("ten", "no number in it"),
    ],
)
def test_what_cannot_be_used_is_said_in_words(quantity, why):
    spool = a_spool()
    assert why in refused("use", spool.label, quantity)
    assert held(spool).on_hand == 1_000_000


def test_an_unknown_label_is_said_in_words():
    assert 'No item carries the label "S9"' in refused("use", "S9", "1 m")


def test_weigh_sets_the_length():
    spool = a_spool()
    assert f"{spool.label} holds 500.0 m" in said("weigh", spool.label, "25.5 g", "--scale", "0.1 g")
    assert held(spool).known == "weighed"


def test_weigh_asks_before_it_believes_too_much():
    spool = a_spool()
    assert "Is it the right spool" in refused("weigh", spool.label, "99 g")
    (entry,) = told("weigh", spool.label, "99 g", "--sure")["entries"]
    assert entry["on_hand_mm"] == 3_222_222


def test_weigh_learns_an_empty_weight():
    put_up = a_put_up(metres=500, tare_mg=None)
    spool = a_spool(metres=500)
    assert "empty weight" in refused("weigh", spool.label, "20")
    assert "9.5 g when empty" in said("weigh", spool.label, "9.5", "--empty")
    put_up.refresh_from_db()
    assert put_up.tare_mg == 9_500


@pytest.mark.parametrize(
    ("found", "on_hand", "known"),
    [
        (["350 m"], 350_000, "counted"),
        (["350", "m"], 350_000, "counted"),
        (["25.5 g"], 500_000, "weighed"),
        (["half"], 500_000, "judged"),
        (["three", "quarters"], 750_000, "judged"),
        (["?"], 1_000_000, "unknown"),
    ],
)
def test_count_stock_takes_what_is_known_as_it_is_known(found, on_hand, known):
    spool = a_spool()
    (entry,) = told("count_stock", spool.label, *found)["entries"]
    assert (entry["on_hand_mm"], entry["known"]) == (on_hand, known)


def test_count_stock_counts_pieces():
    batch = some_bobbins(count=20)
    assert f"{batch.label} holds 18 bobbins" in said("count_stock", batch.label, "18")


def test_receive_puts_spools_on_the_shelf():
    a_shade("1147")
    a_put_up()
    a_place("wall")
    answer = told("receive", "1147", "--count", "3", "--price", "4,20", "--place", "Wall", "--lot", "A1")
    assert [entry["moved_mm"] for entry in answer["entries"]] == [1_000_000] * 3
    assert {(str(spool.price_paid), spool.place.name, spool.lot) for spool in Spool.objects.all()} == {
        ("4.20", "wall", "A1")
    }


def test_receive_puts_everything_else_on_the_shelf():
    a_bobbin_style("L")
    a_shade("W", range=a_range("Skerry", "Under", purpose="bobbin", tex=16.67))
    a_stabilizer("tear-away", weight_g_m2=50)
    said("receive", "W", "--bobbins", "l", "--length", "120 m", "--count", "144")
    said("receive", "tear-away 50", "--width", "50 cm", "--length", "10 m", "--label", "ROLL-1")
    said("receive", "Skerry tear-away 50", "--width", "20", "--height", "30", "--count", "25")
    said("receive", "130/705", "--needles", "75", "--point", "ball", "--count", "10")
    assert (BobbinBatch.objects.get().on_hand, BobbinBatch.objects.get().length_mm) == (144, 120_000)
    assert (StabilizerRoll.objects.get().label, StabilizerRoll.objects.get().on_hand) == ("ROLL-1", 10_000)
    assert (SheetPack.objects.get().width_mm, SheetPack.objects.get().height_mm) == (200, 300)
    assert (NeedlePack.objects.get().on_hand, NeedlePack.objects.get().point) == (10, "ball")
    assert ledger_problems() == []


def test_receive_several_rolls():
    a_stabilizer("tear-away", weight_g_m2=50)
    answer = told("receive", "tear-away 50", "--width", "50", "--length", "10 m", "--count", "2")
    assert len(answer["entries"]) == 2


def test_receive_asks_where_a_code_means_several_shades():
    a_shade("1147")
    sixty = a_range("Skerry", "Sixty", tex=16.67)
    a_shade("1147", range=sixty)
    a_put_up(sixty)
    assert "Say which with --range" in refused("receive", "1147")
    said("receive", "1147", "--range", "skerry sixty")
    assert Spool.objects.get().shade.range == sixty


def test_receive_asks_where_a_range_has_several_put_ups():
    a_shade("1147")
    a_put_up(metres=1000)
    a_put_up(metres=5000)
    assert "is sold as 1000 m spool, 5000 m spool. Say which with --put-up" in refused("receive", "1147")
    said("receive", "1147", "--put-up", "5000 m spool")
    assert Spool.objects.get().on_hand == 5_000_000


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["9999"], 'no shade "9999"'),
        (["1147", "--place", "attic"], 'no place called "attic"'),
        (["1147", "--bobbins", "L"], "Say the length too"),
        (["1147", "--bobbins", "Z", "--length", "9"], 'no bobbin style "Z"'),
        (["felt", "--width", "50"], 'no stabilizer "felt"'),
        (["1147", "--count", "0"], "give a count from 1 to 1,000"),
    ],
)
def test_what_cannot_be_received_is_said_in_words(words, why):
    a_shade("1147")
    a_put_up()
    assert why in refused("receive", *words)
    assert not StockItem.objects.exists()

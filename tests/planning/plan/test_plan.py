"""A batch is planned from files and the shelf, every part by a real computation."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import ledger
from inventory.compute.errors import WorkshopError
from inventory.compute.units import METRIC
from inventory.models import Place
from planning.library.designs import asked_from_file, asked_from_record, keep_design
from planning.models import Block, Fabric, Hoop, Layer, Machine, Rules
from planning.plan.ask import NoSuchName, Question, plan, question_named
from planning.plan.data import plan_as_data
from planning.plan.shelf import needle_shades
from planning.plan.spools_read import _read_again, _read_spools
from planning.plan.words import answer_in_words
from planning.stitch_files.reading import read_design_file
from tests.factories import (
    NOW,
    a_key,
    a_put_up,
    a_range,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    an_offer,
    some_bobbins,
)

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#1c2b8d"


def asked(path):
    return [asked_from_file(read_design_file(path))]


@pytest.fixture
def badge(stitch_file):
    return asked(stitch_file(RED, BLUE))


@pytest.fixture
def full_shelf(workshop):
    a_spool(a_shade("R", hex=RED, name="red"))
    a_spool(a_shade("B", hex=BLUE, name="blue"))
    some_bobbins(count=20)
    a_roll()
    return workshop


def test_a_full_shelf_is_enough(badge, full_shelf):
    answer = plan(badge, question_named(Question(pieces=10), fabric="twill"))
    assert answer.verdict == "enough"
    assert answer.pieces.total == 12  # ten ordered, one test, one that may spoil
    assert [thread.choice.shade.code for thread in answer.threads] == ["R", "B"]


def test_a_colour_that_runs_out_makes_the_batch_short(badge, workshop):
    a_spool(a_shade("R", hex=RED), left_m=15)
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins()
    a_roll()
    answer = plan(badge, question_named(Question(pieces=10), fabric="twill"))
    red, blue = answer.threads
    assert (answer.verdict, red.verdict, blue.verdict) == ("short", "short", "enough")
    assert red.missing_mm > 0
    assert 0 < red.pieces_possible < 12


def test_what_is_set_aside_for_another_is_not_free(workshop):
    spool = a_spool(a_shade("R", hex=RED))
    ledger.set_aside(spool, quantity=999_000, holder="job 1", key=a_key(), at=NOW, by=None)
    (shade,) = needle_shades()
    assert shade.free[0] == 1000
    (its_own,) = needle_shades(own={spool.pk: 999_000})
    assert its_own.free[0] == 1_000_000


def test_shelves_of_one_reading_have_the_same_spools_but_where_something_is_set_aside(workshop):
    spool, other = a_spool(a_shade("R", hex=RED)), a_spool(a_shade("B", hex=BLUE))
    read = _read_spools()
    whole, his = (dict(read.for_holder(own)) for own in ({}, {spool.pk: 5}))
    assert his[other.shade_id] is whole[other.shade_id]
    assert his[spool.shade_id] == replace(whole[spool.shade_id], free_mm=whole[spool.shade_id].free_mm + 5)


def test_a_spool_that_is_as_it_was_is_not_kept_twice(workshop):
    spool, other = a_spool(a_shade("R", hex=RED)), a_spool(a_shade("B", hex=BLUE))
    then = {each.id: each for each in _read_again().spools}
    ledger.set_aside(spool, quantity=999_000, holder="job 1", key=a_key(), at=NOW, by=None)
    now = {each.id: each for each in _read_again().spools}
    assert now[other.pk] is then[other.pk]
    assert (then[spool.pk].free_mm, now[spool.pk].free_mm) == (1_000_000, 1_000)


def test_the_plan_of_a_kept_design_is_that_of_its_file(stitch_file, full_shelf):
    path = stitch_file(RED, BLUE)
    read = read_design_file(path)
    kept = keep_design(read, content=path, trim_at_jumps=3, at=NOW)
    from_file = plan_as_data(
        plan([asked_from_file(read)], question_named(Question(pieces=10), fabric="twill"))
    )
    from_record = plan_as_data(
        plan([asked_from_record(kept)], question_named(Question(pieces=10), fabric="twill"))
    )
    assert from_file == from_record


def test_a_content_is_kept_once_whatever_it_is_called(stitch_file, full_shelf):
    first = stitch_file(RED, BLUE, name="badge.pes")
    kept = keep_design(read_design_file(first), content=first, trim_at_jumps=3, at=NOW)
    second = first.rename(first.with_name("other.pes"))
    again = keep_design(read_design_file(second), content=second, trim_at_jumps=3, at=NOW)
    assert again == kept
    assert Block.objects.count() == 2


def test_a_file_without_colours_leaves_its_threads_unknown(stitch_file, full_shelf):
    answer = plan(
        asked(stitch_file(RED, BLUE, name="badge.dst")), question_named(Question(pieces=2), fabric="twill")
    )
    assert answer.verdict == "unknown"
    assert all(thread.choice.shade is None and thread.needed_mm > 0 for thread in answer.threads)


def test_a_shade_of_unknown_length_is_unknown_not_empty(badge, workshop):
    spool = a_spool(a_shade("R", hex=RED))
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins()
    ledger.find(
        spool,
        quantity=0,
        finding=ledger.Finding(None, "unknown"),
        key=a_key(),
        at=NOW,
        by=None,
        reason="count",
    )
    red = plan(badge, Question(pieces=2)).threads[0]
    assert (red.verdict, red.reason) == ("unknown", "Nobody knows how much is on these spools; weigh them.")


def test_only_thread_of_the_wanted_weight_is_chosen(badge, workshop):
    a_spool(a_shade("T", hex=RED, range=a_range("Skerry", "Thick", tex=75.0, weight_label="12")))
    a_spool(a_shade("R", hex="#b11e30"))
    assert plan(badge, Question(pieces=1)).threads[0].choice.shade.code == "R"
    Rules.objects.create(pk=1, weight_label="12")
    assert plan(badge, Question(pieces=1)).threads[0].choice.shade.code == "T"


def test_a_colour_far_from_all_owned_is_short_and_says_so(badge, workshop):
    a_spool(a_shade("G", hex="#20a040"))
    red = plan(badge, Question(pieces=1)).threads[0]
    assert red.verdict == "short"
    assert red.reason.startswith("No thread of that colour (strong red) is on the shelf")
    assert red.colour_verdict == "off colour"
    demand = [
        replace(design, blocks=tuple(replace(block, source="person") for block in design.blocks))
        for design in badge
    ]
    assert "Nothing on the shelf is near" in plan(demand, Question(pieces=1)).threads[0].reason
    assert red.free_mm == 0


def test_one_needle_loses_the_threaded_path_at_every_change_and_six_do_not(badge, full_shelf):
    one = plan(badge, Question(pieces=10))
    Machine.objects.update(needles=6)
    six = plan(badge, Question(pieces=10))
    lost = full_shelf.threaded_path_mm
    for with_path, without in zip(one.blocks, six.blocks, strict=True):
        assert with_path.needle_mm - without.needle_mm == pytest.approx(lost)


def test_equal_neighbours_are_threaded_once(stitch_file, full_shelf):
    answer = plan(asked(stitch_file(RED, RED, BLUE)), Question(pieces=1, tests=0))
    assert answer.thread_changes == 3  # two pieces: red to blue, blue to red, red to blue


def test_what_is_short_is_bought_in_whole_packs_in_time(badge, workshop):
    red = a_shade("R", hex=RED)
    a_spool(red, left_m=3)
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins()
    an_offer(a_put_up(red.range), price="4.20", lead_time_days=5)
    answer = plan_as_data(plan(badge, Question(pieces=10, needed_on=date(2026, 3, 20))))
    (row,) = [row for row in answer["shopping"] if "R" in row["what"].split()]
    assert (row["packs"], row["total"], row["order_by"]) == (1, "4.20", "2026-03-14")


def test_for_a_colour_that_is_not_owned_the_nearest_on_offer_is_bought(badge, workshop):
    a_spool(a_shade("G", hex="#20a040"))
    sold = a_shade("R9", hex="#b11d30", name="rust", range=a_range("Cormorant", "Fine"))
    an_offer(a_put_up(sold.range), price="3.90")
    rows = plan_as_data(plan(badge, Question(pieces=10)))["shopping"]
    assert any(row["what"] == "Cormorant Fine R9 rust" and row["total"] == "3.90" for row in rows)


def test_a_purchase_that_the_list_asks_for_makes_it_enough(badge, workshop):
    red = a_shade("R", hex=RED)
    a_spool(red, left_m=3)
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins()
    a_roll()
    assert plan(badge, question_named(Question(pieces=10), fabric="twill")).verdict == "short"
    a_spool(red)
    assert plan(badge, question_named(Question(pieces=10), fabric="twill")).verdict == "enough"


def test_stabilizer_is_planned_by_hooping_and_can_run_short(badge, full_shelf):
    answer = plan(badge, question_named(Question(pieces=10), fabric="twill"))
    (layer,) = answer.stabilizer
    assert (layer.pieces, layer.piece_mm, layer.verdict) == (12, (190, 240), "enough")
    assert layer.cut.roll_mm == 6 * 190  # turned: two of 240 across 500, strips of 190
    (layer,) = plan(badge, question_named(Question(pieces=200), fabric="twill")).stabilizer
    assert layer.verdict == "short"


def test_a_recipe_for_which_nothing_is_owned_is_unknown(badge, full_shelf):
    jersey = Fabric.objects.create(name="jersey")
    Layer.objects.create(fabric=jersey, kind="cut-away", weight_from_g_m2=60)
    a_stabilizer("cut-away", weight_g_m2=40)
    assert plan(badge, question_named(Question(pieces=1), fabric="jersey")).stabilizer[0].verdict == "unknown"


def test_a_design_beyond_every_hoop_has_a_verdict_of_its_own_and_its_stabilizer_is_unknown(badge, full_shelf):
    full_shelf.hoops.update(field_width_mm=20, field_height_mm=20)
    answer = plan(badge, question_named(Question(pieces=1), fabric="twill"))
    assert answer.too_big.startswith("No hoop of one needle holds badge (")
    assert "It must be split into" in answer.too_big
    assert answer.verdict == "unknown"
    assert answer_in_words(answer, units=METRIC).headline.startswith("Too big for every hoop of this machine")
    larger = Hoop.objects.create(
        name="large", field_width_mm=300, field_height_mm=300, ring_width_mm=320, ring_height_mm=320
    )
    Machine.objects.create(name="wide one").hoops.add(larger)
    assert plan(badge, Question(pieces=1)).too_big.endswith(": large does, on wide one.")
    assert answer.stabilizer[0].verdict == "unknown"


def test_bobbins_run_short_too(badge, workshop):
    a_spool(a_shade("R", hex=RED))
    a_spool(a_shade("B", hex=BLUE))
    some_bobbins(count=1, metres=3)
    bobbins = plan(badge, Question(pieces=10)).bobbins
    assert bobbins.verdict == "short"
    assert bobbins.count > 1


def test_the_cost_is_what_the_spools_cost(badge, workshop):
    put_price = {"price_each": Decimal("5.00")}
    a_spool(a_shade("R", hex=RED), **put_price)
    a_spool(a_shade("B", hex=BLUE), **put_price)
    answer = plan(badge, Question(pieces=10))
    metres = sum(thread.needed_mm for thread in answer.threads) / 1000
    assert float(answer.cost.thread) == pytest.approx(metres * 0.005, abs=0.01)


def test_an_unknown_name_is_answered_with_the_names_there_are(badge, full_shelf):
    with pytest.raises(NoSuchName, match=r"no fabric called denim. Known: twill"):
        plan(badge, question_named(Question(pieces=1), fabric="denim"))


def test_spools_come_with_the_place_where_they_hang(badge, workshop):
    wall = Place.objects.create(name="north wall")
    a_spool(a_shade("R", hex=RED), place=wall)
    (use,) = plan(badge, Question(pieces=1)).threads[0].spools
    assert use.place == "north wall"


def test_a_plan_asks_the_database_no_more_for_a_fuller_shelf(badge, full_shelf):
    with CaptureQueriesContext(connection) as before:
        plan(badge, question_named(Question(pieces=10), fabric="twill"))
    for number in range(40):
        a_spool(a_shade(hex=f"#{number * 5:02x}4060", name="more"))
        a_roll()
    with CaptureQueriesContext(connection) as after:
        plan(badge, question_named(Question(pieces=10), fabric="twill"))
    assert len(after) == len(before)


def test_copies_hooped_together_take_fewer_hoopings_and_less_stabilizer(badge, full_shelf):
    alone = plan(badge, question_named(Question(pieces=10), fabric="twill"))
    together = plan(badge, question_named(Question(pieces=10, copies="most"), fabric="twill"))
    # 38 × 47 mm at most, in a field of 130 × 180 mm
    assert together.copies_per_hooping > 1
    assert together.hoopings == -(-12 // together.copies_per_hooping)
    assert together.hands_on_min < alone.hands_on_min
    assert together.stabilizer[0].pieces == together.hoopings
    assert together.thread_changes < alone.thread_changes
    assert [option.is_planned for option in alone.copies] == [True, False]
    assert [option.is_planned for option in together.copies] == [False, True]
    assert together.machine_min == pytest.approx(together.copies[-1].machine_min)
    assert together.hands_on_min == pytest.approx(together.copies[-1].hands_on_min)
    assert plan_as_data(together)["copies_per_hooping"] == together.copies_per_hooping


def test_more_copies_than_a_hoop_holds_are_refused_in_words(badge, full_shelf):
    with pytest.raises(WorkshopError, match="No hoop of this machine holds more than"):
        plan(badge, Question(pieces=200, copies=100))
    with pytest.raises(WorkshopError, match="The hoop medium holds"):
        plan(badge, question_named(Question(pieces=200, copies=100), hoop="medium"))
    with pytest.raises(WorkshopError, match="stitch nothing"):
        plan(badge, Question(pieces=200, copies=0))


def test_the_spools_of_copies_are_told_in_pieces(badge, workshop):
    for label in ("R", "B"):
        shade = a_shade(label, hex=RED if label == "R" else BLUE)
        a_spool(shade), a_spool(shade)
    answer = plan(badge, Question(pieces=10, copies=4))
    for thread in answer.threads:
        assert thread.spools[0].from_piece == 1
        assert thread.spools[-1].to_piece == answer.pieces.total


def test_bobbins_that_lack_are_wound_from_a_spool_of_the_same_thread(badge, workshop):
    batch = some_bobbins(count=1, metres=8)
    spool = a_spool(batch.shade, metres=1000)
    bobbins = plan(badge, Question(pieces=10)).bobbins
    assert [each.label for each in bobbins.wind] == [spool.label]
    assert bobbins.to_wind >= bobbins.count - 1
    assert bobbins.verdict == "enough"


def test_a_machine_of_several_needles_is_threaded_once_a_thread(badge, full_shelf):
    full_shelf.needles = 6
    full_shelf.save()
    answer = plan(badge, Question(pieces=10))
    assert dict(answer.needles.start) == {1: 0, 2: 1}
    assert answer.needles.rethreads == ()
    assert plan_as_data(answer)["needles"]["threadings"] == 2


def test_colours_that_share_a_spool_are_one_threading(stitch_file, workshop):
    """Two reds that nobody tells apart on one shade: one needle does for both."""
    a_spool(a_shade("R", hex=RED))
    answer = plan(asked(stitch_file(RED, "#b01d2e")), Question(pieces=10))
    assert len(answer.threads) == 1
    assert (answer.thread_changes, answer.needles.threadings) == (0, 1)


def test_a_batch_costs_at_its_own_and_at_other_quantities(badge, full_shelf):
    Rules.objects.create(pk=1, machine_rate=Decimal("4.00"), hands_on_rate=Decimal("18.00"))
    answer = plan(badge, question_named(Question(pieces=10), fabric="twill"))
    table = {each.pieces: each for each in answer.quantities}
    assert sorted(table) == [1, 6, 10, 12, 24, 48]
    assert table[10].is_planned
    assert table[10].total == answer.cost.total
    # A small order bears its test and spoiled pieces alone.
    per_piece = [table[pieces].total_per_piece for pieces in (1, 6, 12, 24, 48)]
    assert per_piece == sorted(per_piece, reverse=True)
    for pieces in (1, 24):
        alone = plan(badge, question_named(Question(pieces=pieces), fabric="twill"))
        assert alone.cost.total == pytest.approx(table[pieces].total, abs=Decimal("0.05"))
        assert alone.hands_on_min == pytest.approx(table[pieces].hands_on_min)


def test_a_batch_tells_by_which_day_it_must_start(badge, full_shelf):
    Rules.objects.create(pk=1, working_hours_a_day=1.0)
    answer = plan(badge, Question(pieces=10, needed_on=date(2026, 3, 20)))
    days = -(-(answer.machine_min + answer.hands_on_min) // 60)
    assert days == 2
    assert answer.start_by == date(2026, 3, 19)
    assert plan_as_data(answer)["time"]["start_by"] == "2026-03-19"
    assert plan(badge, Question(pieces=10)).start_by is None

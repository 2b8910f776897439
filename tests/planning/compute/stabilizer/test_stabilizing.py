"""The layers of one job or several, each from the product that suits it, all of a product cut together."""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.compute.knowing import sigma_after_cut, strips_of
from planning.compute.stabilizer.cutting import Flat, Roll, cut_problems
from planning.compute.stabilizer.layers import CutBefore, JobLayers, LayerNeed
from planning.compute.stabilizer.leftover import compare_apart
from planning.compute.stabilizer.ring import strips_in_ring
from planning.compute.stabilizer.supply import Losses, StabilizerStock, plan_layers_together

TEAR = LayerNeed("tear-away", 30, 60, "hooped with the cloth", 1)


def stock_of(*rolls, flats=(), has_grain=False, product="Tear 50"):
    return StabilizerStock(product, "tear-away", 50.0, has_grain, rolls, tuple(flats))


def planned(jobs, stock, losses=Losses()):  # noqa: B008 - a frozen value
    """Return the layers of each job, having checked the cut of every product."""
    plans = plan_layers_together(jobs, [stock], losses=losses)
    for layer in [each for own in plans for each in own if each.cut]:
        assert cut_problems(layer.cut.product_cut, layer.cut.order, stock.stock) == []
        assert (layer.cut.order.kerf_mm, layer.cut.order.edge_mm) == (losses.kerf_mm, losses.edge_mm)
    return plans


def test_crossed_layers_of_a_stabilizer_with_grain_lie_across_each_other():
    crossed = LayerNeed("tear-away", 30, 60, "hooped", 2, crossed=True)
    ((layer,),) = planned(
        [JobLayers((crossed,), (180, 240), 6)], stock_of(Roll("R", 500, 9_000), has_grain=True)
    )
    pieces = [p for source in layer.cut.product_cut.sources for p in source.pieces]
    assert sorted((piece.width_mm, piece.height_mm) for piece in pieces) == 6 * [(180, 240)] + 6 * [
        (240, 180)
    ]
    assert not any(piece.turned for piece in pieces)
    assert layer.pieces == layer.cut.pieces == 12


def test_where_there_is_no_grain_nothing_has_to_cross():
    crossed = LayerNeed("tear-away", 30, 60, "hooped", 2, crossed=True)
    ((layer,),) = planned([JobLayers((crossed,), (180, 240), 6)], stock_of(Roll("R", 500, 9_000)))
    assert layer.cut.roll_mm == 6 * 180


def test_a_single_crossed_layer_is_turned():
    crossed = LayerNeed("tear-away", 30, 60, "floated", 1, crossed=True)
    ((layer,),) = planned(
        [JobLayers((crossed,), (180, 240), 4)], stock_of(Roll("R", 500, 9_000), has_grain=True)
    )
    assert layer.cut.roll_mm == 2 * 180


def test_a_topping_is_as_large_as_what_is_stitched():
    topping = LayerNeed("tear-away", 30, 60, "laid on top", 1, by_extent=True)
    job = JobLayers((TEAR, topping), (190, 240), 12, extents=(((90, 70), 10), ((120, 80), 2)))
    ((backing, small, large),) = planned([job], stock_of(Roll("R", 500, 9_000)))
    assert [(each.piece_mm, each.pieces) for each in (backing, small, large)] == [
        ((190, 240), 12), ((90, 70), 10), ((120, 80), 2)
    ]  # fmt: skip
    assert sum(each.cut.roll_mm for each in (backing, small, large)) == backing.cut.product_cut.roll_mm


def test_kerf_and_trimmed_edges_are_allowed_for():
    job = JobLayers((TEAR,), (240, 180), 4)
    ((exact,),) = planned([job], stock_of(Roll("R", 480, 9_000)))
    ((lossy,),) = planned([job], stock_of(Roll("R", 480, 9_000)), Losses(kerf_mm=2))
    ((trimmed,),) = planned([job], stock_of(Roll("R", 482, 9_000)), Losses(edge_mm=1))
    ((too_narrow,),) = planned([job], stock_of(Roll("R", 481, 9_000)), Losses(edge_mm=1))
    assert (exact.cut.roll_mm, trimmed.cut.roll_mm) == (360, 360)
    assert lossy.cut.roll_mm == 2 * (240 + 2)  # turned, two to a strip of 240
    assert too_narrow.cut.roll_mm == 480


def test_pieces_that_are_cut_already_are_left_out_size_by_size():
    before = (
        CutBefore(TEAR.kind, TEAR.method, (190, 240), 5),
        CutBefore(TEAR.kind, TEAR.method, (100, 100), 3),
    )
    ((layer,),) = planned(
        [JobLayers((TEAR,), (190, 240), 12, cut_before=before)], stock_of(Roll("R", 500, 9_000))
    )
    assert (layer.pieces, layer.cut_before, layer.cut.pieces) == (7, 5, 7)


def test_jobs_together_fill_the_strips_that_one_alone_leaves_half_empty():
    jobs = [
        JobLayers((TEAR,), (410, 200), 3, job="sails"),
        JobLayers((TEAR,), (80, 200), 3, job="tags"),
    ]
    stock = stock_of(Roll("R", 500, 9_000))
    together = planned(jobs, stock)
    compared = compare_apart(jobs, [stock], together)
    # The rest of 90 beside a sail is too narrow to keep, but wide enough for a tag.
    assert (compared.together_mm2, compared.apart_mm2) == (600 * 500, (600 + 2 * 80) * 500)
    assert compared.pays
    assert compared.saved_mm2 == 160 * 500


sizes = st.tuples(st.integers(60, 350), st.integers(60, 350))
some_jobs = st.lists(st.builds(JobLayers, st.just((TEAR,)), sizes, st.integers(1, 6)), min_size=2, max_size=3)


@settings(max_examples=25, deadline=None)
@given(some_jobs, st.lists(sizes, max_size=3), st.integers(350, 900))
def test_what_is_said_to_be_saved_is_the_difference_and_never_less_than_nothing(jobs, offcuts, width_mm):
    flats = [Flat(f"C{at}", *size) for at, size in enumerate(offcuts)]
    stock = stock_of(Roll("R", width_mm, 50_000), flats=flats)
    together = planned(jobs, stock)
    compared = compare_apart(jobs, [stock], together)
    roll_mm2 = together[0][0].cut.product_cut.roll_mm2
    assert compared.together_mm2 == roll_mm2
    assert compared.saved_mm2 == max(0, compared.apart_mm2 - roll_mm2)
    assert (
        sum(layer.cut.roll_mm for own in together for layer in own) == together[0][0].cut.product_cut.roll_mm
    )


@given(
    sizes,
    st.tuples(st.integers(0, 400), st.integers(0, 400)),
    st.tuples(st.integers(20, 90), st.integers(20, 300)),
)
def test_the_strips_of_a_ring_cover_no_more_than_the_ring(piece, stitched, strip):
    count = strips_in_ring(piece, stitched, strip)
    ring = piece[0] * piece[1] - min(stitched[0], piece[0]) * min(stitched[1], piece[1])
    assert 0 <= count * strip[0] * strip[1] <= ring


def test_a_doubtful_roll_is_judged_with_all_that_can_serve_in_its_place():
    doubtful = Roll("R1", 500, 4_000, sigma_mm=1_000.0)
    sure = Roll("R2", 500, 20_000)
    job = JobLayers((TEAR,), (180, 240), 30)
    ((alone,),) = planned([job], stock_of(doubtful))
    ((both,),) = planned([job], stock_of(doubtful, sure))
    assert alone.verdict == "tight"
    assert [source.label for source in both.cut.product_cut.sources] == ["R1"]
    assert (both.verdict, both.p_enough) == ("enough", 1.0)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(500, 6_000), st.integers(0, 800)), min_size=1, max_size=4),
    st.integers(1, 30),
)
def test_the_chance_of_enough_stabilizer_is_never_too_hopeful(lengths, pieces):
    """Against drawing the true lengths: strips are cut off one roll after another for as long as each has one."""
    rolls = [Roll(f"R{number}", 500, *each) for number, each in enumerate(lengths)]
    ((layer,),) = planned([JobLayers((TEAR,), (180, 240), pieces)], stock_of(*rolls))
    if layer.cut.missing:
        return
    strips = [strip.height_mm for source in layer.cut.product_cut.sources for strip in source.strips]
    rng = np.random.default_rng(7)
    drawn = rng.normal(
        [each.free_mm for each in rolls], [each.sigma_mm for each in rolls], (3000, len(rolls))
    )
    longest = max(strips)
    could = (np.maximum(drawn, 0) // longest).sum(axis=1) >= len(strips)
    own = {source.label: source.roll_mm for source in layer.cut.product_cut.sources}
    as_laid = (drawn >= [own.get(each.label, 0) for each in rolls])[:, [each.label in own for each in rolls]]
    true = (could | as_laid.all(axis=1)).mean()
    assert layer.p_enough <= true + 4 * np.sqrt(0.25 / 3000)


def test_one_hand_cut_all_rolls_so_that_its_share_adds_up_straight_over_them():
    cut = strips_of(20_000, strips=100)
    rolls = [Roll(f"R{at}", 500, 5_000, cut.sigma_mm, cut_so_far=cut) for at in range(3)]
    ((one,),) = planned([JobLayers((TEAR,), (180, 240), 2)], stock_of(rolls[0]))
    ((all_three,),) = planned([JobLayers((TEAR,), (180, 240), 2)], stock_of(*rolls))
    assert one.free_sigma_mm == cut.sigma_mm
    assert math.isclose(all_three.free_sigma_mm, math.hypot(3 * cut.in_common_mm, math.sqrt(3) * cut.own_mm))
    # Rolls that were measured since are off each for itself.
    measured = [Roll(f"R{at}", 500, 5_000, cut.sigma_mm) for at in range(3)]
    ((apart,),) = planned([JobLayers((TEAR,), (180, 240), 2)], stock_of(*measured))
    assert math.isclose(apart.free_sigma_mm, math.sqrt(3) * cut.sigma_mm)
    assert apart.free_sigma_mm < all_three.free_sigma_mm


def test_the_verdict_weighs_how_the_job_itself_will_be_cut():
    job = JobLayers((TEAR,), (400, 200), 45)  # a strip of 200 mm each
    ((exact,),) = planned([job], stock_of(Roll("R", 500, 9_050)))
    assert exact.cut.roll_mm == 9_000
    assert exact.verdict == "tight"  # 50 mm are less than a hand cuts 45 strips long by
    ((plenty,),) = planned([job], stock_of(Roll("R", 500, 12_000)))
    assert plenty.verdict == "enough"


def test_the_same_length_cut_before_and_now_is_known_as_if_cut_at_once():
    half, whole = strips_of(4_000, strips=20), strips_of(8_000, strips=40)
    job = JobLayers((TEAR,), (400, 200), 20)
    fresh = Roll("R", 500, 4_100, 50.0)
    worn = Roll("R", 500, 4_100, math.hypot(50.0, half.sigma_mm), cut_so_far=half)
    ((of_fresh,),) = planned([job], stock_of(fresh))
    ((of_worn,),) = planned([job], stock_of(worn))
    sigma_mm = sigma_after_cut(worn.sigma_mm, before=half, after=whole)
    assert math.isclose(sigma_mm, math.hypot(50.0, whole.sigma_mm))
    assert of_worn.p_enough < of_fresh.p_enough
    assert math.isclose(of_worn.p_enough, 0.5 * (1 + math.erf(100 / sigma_mm / math.sqrt(2))), rel_tol=1e-9)

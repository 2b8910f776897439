"""Spools go on in shelf order, each for as many whole pieces as it holds."""

from hypothesis import given
from hypothesis import strategies as st

from planning.compute.certainty import NEEDLE_PRIOR, Factor, p_enough
from planning.compute.choosing import OwnedSpool
from planning.compute.spools import spools_for_pieces

EXACT = Factor(mean_log=0.0, sigma=0.0, scatter=0.0)


def pieces_of(per_piece_mm, pieces):
    return [number * per_piece_mm for number in range(pieces + 1)]


def wall(*metres):
    return [OwnedSpool(n, f"S{n:04}", round(m * 1000), 0.0) for n, m in enumerate(metres, 1)]


def test_a_spool_too_short_for_a_piece_is_passed_over():
    uses = spools_for_pieces(wall(5, 100), geometry_mm=pieces_of(10_000, 4), factor=EXACT, certainty=0.95)
    assert [(use.label, use.from_piece, use.to_piece) for use in uses] == [("S0002", 1, 4)]


def test_a_spool_of_unknown_length_is_not_counted_on():
    unknown, known = OwnedSpool(1, "S0001", 500_000, None), OwnedSpool(2, "S0002", 50_000, 0.0)
    uses = spools_for_pieces([unknown, known], geometry_mm=pieces_of(10_000, 2), factor=EXACT, certainty=0.95)
    assert [use.label for use in uses] == ["S0002"]


def test_pieces_that_no_spool_holds_are_left_out():
    (use,) = spools_for_pieces(wall(25), geometry_mm=pieces_of(10_000, 5), factor=EXACT, certainty=0.95)
    assert (use.to_piece, use.left_mm) == (2, 5_000)


def uses_of(spools, per_piece_mm, pieces):
    return spools_for_pieces(
        spools, geometry_mm=pieces_of(per_piece_mm, pieces), factor=EXACT, certainty=0.95
    )


def test_a_spool_is_changed_before_the_piece_it_might_not_finish():
    spool = OwnedSpool(1, "S0001", 100_000, 4_000.0)
    (use,) = spools_for_pieces(
        [spool], geometry_mm=pieces_of(10_000, 20), factor=NEEDLE_PRIOR, certainty=0.95
    )
    stock = {"free_mm": 100_000, "free_sigma_mm": 4_000.0}
    assert p_enough(use.to_piece * 10_000, NEEDLE_PRIOR, **stock) >= 0.95
    assert p_enough((use.to_piece + 1) * 10_000, NEEDLE_PRIOR, **stock) < 0.95


@given(st.lists(st.integers(0, 400), max_size=8), st.integers(1_000, 60_000), st.integers(1, 40))
def test_turns_follow_one_another_and_no_spool_gives_more_than_it_has(metres, per_piece_mm, pieces):
    spools = wall(*metres)
    held = {spool.label: spool.free_mm for spool in spools}
    next_piece = 1
    for use in uses_of(spools, per_piece_mm, pieces):
        assert use.from_piece == next_piece
        assert use.needed_mm == (use.to_piece - use.from_piece + 1) * per_piece_mm
        assert use.needed_mm + use.left_mm == held[use.label]
        assert use.left_mm >= 0
        next_piece = use.to_piece + 1
    assert next_piece - 1 == min(pieces, sum(mm // per_piece_mm for mm in held.values()))

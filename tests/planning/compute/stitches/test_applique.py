"""Parts between stops, closed lines among them, and the size and number of fabric pieces."""

import math
from collections import Counter

import numpy as np
import pytest

from planning.compute.batch.asked import AskedBlock, AskedDesign, Terms
from planning.compute.batch.carrying import carry
from planning.compute.hooping.pieces import PiecesToStitch
from planning.compute.hooping.timing import MachineTimes
from planning.compute.stabilizer.layers import FabricPieces
from planning.compute.stitches.applique import AskedApplique, design_parts, proposals
from planning.compute.stitches.placing import Placement
from planning.compute.stitches.thread_length import ThreadSettings, block_sums

NONE = np.array([], dtype=np.intp)
START = np.array([0], dtype=np.intp)


def ring(radius=20.0, *, rounds=1.0, steps=60):
    angles = np.linspace(0, 2 * math.pi * rounds, round(steps * rounds) + 1)
    return np.stack((radius * np.cos(angles), radius * np.sin(angles)), axis=1)


def satin(radius=20.0):
    """A cover: to and fro across the line."""
    angles = np.linspace(0, 2 * math.pi, 300)
    across = np.where(np.arange(300) % 2, radius - 2, radius + 2)
    return np.stack((across * np.cos(angles), across * np.sin(angles)), axis=1)


def block(*parts):
    """One block of these parts with a stop between them."""
    stops = np.cumsum([len(part) for part in parts])[:-1].astype(np.intp)
    return np.concatenate(parts), START, stops


def test_line_tack_down_and_cover_are_proposed_as_blocks_and_as_parts_of_one():
    apart = design_parts([block(ring()), block(ring()), block(satin()), block(satin(5))])
    (found,) = proposals(apart)
    assert [each.key for each in (found.placement, found.tack_down, found.cover)] == ["1.1", "2.1", "3.1"]
    together = design_parts([block(ring(), ring(rounds=2.0), satin())])
    (found,) = proposals(together)
    assert [each.key for each in (found.placement, found.tack_down, found.cover)] == ["1.1", "1.2", "1.3"]
    assert found.placement.size_mm == pytest.approx((40.0, 40.0), abs=0.2)


@pytest.mark.parametrize(
    "part",
    [ring(4.0), ring()[:50], satin(), ring(rounds=4.0), np.array([(0, 0), (30, 30), (0, 0)], float)],
    ids=["too small", "open", "a cover", "walked round too often", "to and fro"],
)
def test_what_is_no_closed_line_is_not_proposed(part):
    assert proposals(design_parts([block(part), block(satin())])) == ()


def test_a_line_at_the_end_with_no_stop_after_it_is_not_proposed():
    assert proposals(design_parts([block(satin()), block(ring())])) == ()


def test_a_stop_before_the_first_stitch_and_after_the_last_make_no_empty_part():
    points = ring()
    stops = np.array([0, 20, 20, len(points)], dtype=np.intp)
    assert [each.stitches for each in design_parts([(points, START, stops)])] == [20, len(points) - 20]


def test_fabric_with_a_grain_holds_the_turned_applique_and_other_fabric_is_turned_with_it():
    turned = Placement(turned_deg=45, scale=1.1)
    grain = AskedApplique(1, "star", 1, "", True, 40.0, 40.0, 10, 1)
    plain = AskedApplique(1, "star", 1, "", False, 40.0, 40.0, 10, 1)
    assert grain.piece_mm(turned) == (math.ceil(44 * math.sqrt(2)) + 20,) * 2
    assert plain.piece_mm(turned) == (64, 64)


def carried(designs, *, pieces, copies, lettering=()):
    terms = Terms(ThreadSettings(), MachineTimes(), (), (200, 200), copies_per_hooping=copies)
    return carry(
        designs, lettering=lettering, to_stitch=PiecesToStitch(pieces, 1, 1, pieces + 2), terms=terms
    )


def a_design(name, *, hooping=0, applique=True):
    of = (AskedApplique(ord(name), name, 1, "", False, 40.0, 20.0, 10, 2),) if applique else ()
    blocks = (AskedBlock(1, "", None, "", block_sums(ring(), START)),)
    return AskedDesign(name, name, "DST", 10.0, 10.0, 10, 0, 0, (), blocks, hooping=hooping, appliques=of)


@pytest.mark.parametrize("copies", [1, 2, 4])
@pytest.mark.parametrize("hoopings", [(1, 1), (1, 2), (2, 1)])
def test_fabric_is_counted_for_every_piece_hooping_by_hooping(copies, hoopings):
    common = [a_design(name, hooping=number) for name, number in zip("ab", hoopings, strict=True)]
    names = [a_design(name, hooping=hoopings[0], applique=name == "x") for name in "xyxyy"]
    batch = carried(common, pieces=5, copies=copies, lettering=names)
    # Piece by piece, test and spare included, straight from what each carries.
    wanted = Counter(design for piece in batch.pieces for design in piece)
    fabric = batch.fabric()
    assert [each.count for each in fabric] == [
        wanted[number] for number, design in enumerate(batch.designs) if design.appliques
    ]
    assert batch.fabric_pieces() == 2 * sum(each.count for each in fabric)
    assert all(sum(times for _, times in each.by_hooping) == batch.hoopings() for each in fabric)
    # After so many loads, what they have stitched has taken its fabric.
    per_load = batch.hoopings() // len(batch.loads)
    for loads in range(len(batch.loads) + 1):
        done = Counter(
            design for load in batch.loads[:loads] for piece in load for design in batch.pieces[piece]
        )
        first = [each.first(loads * per_load).count for each in fabric]
        assert first == [done[number] for number, design in enumerate(batch.designs) if design.appliques]


def test_of_more_hoopings_than_there_are_all_the_fabric_is_taken():
    star = FabricPieces(
        carried([a_design("a")], pieces=3, copies=2).fabric()[0].layer, (60, 40), ((2, 2), (1, 1))
    )
    assert (star.first(99), star.first(0).count) == (star, 0)

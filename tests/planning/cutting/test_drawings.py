"""Drawings of a cut, and what their letters stand for."""

import pytest
from django.utils import translation

from planning.plan.words import piece_said
from planning.views.cutting.cuts import Box, DrawnLine, DrawnStrip, _without_alike


def a_line(first: int, last: int, *, mark: str = "A") -> DrawnLine:
    count = last - first + 1
    strips = tuple(DrawnStrip(first + at, 100 * at, 100) for at in range(count))
    boxes = tuple(Box("piece", 100 * at, 0, 100, 240, mark) for at in range(count))
    return DrawnLine(100 * first, strips, boxes, 100 * count)


def test_lines_that_are_cut_alike_are_drawn_once():
    drawn = _without_alike([a_line(1, 16), a_line(17, 32), a_line(33, 36)])
    assert [(line.last, line.alike_to) for line in drawn] == [(16, 36)]


def test_a_line_that_shows_something_new_is_drawn():
    rest = Box("rest", 400, 0, 1000, 500, "keep")
    last = a_line(33, 36)
    ended = DrawnLine(last.from_mm, last.strips, (*last.boxes, rest), 1400)
    drawn = _without_alike([a_line(1, 16), a_line(17, 32, mark="B"), ended])
    assert [(line.last, line.alike_to) for line in drawn] == [(16, 0), (32, 0), (36, 0)]


@pytest.mark.parametrize(
    ("kept", "said"),
    [
        ("tear-away, hooped with the cloth", "Reißvlies, mit dem Stoff eingespannt"),
        ("job 4: tear-away, hooped with the cloth", "Auftrag 4: Reißvlies, mit dem Stoff eingespannt"),
        (
            "job 4: tear-away, hooped with the cloth, across the grain",
            "Auftrag 4: Reißvlies, mit dem Stoff eingespannt, quer zur Laufrichtung",
        ),
    ],
)
def test_what_a_piece_is_cut_for_is_said_in_the_reader_s_language(kept, said):
    assert piece_said(kept) == kept
    with translation.override("de"):
        assert piece_said(kept) == said

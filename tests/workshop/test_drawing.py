"""Drawings stand beside words and carry their colour as an attribute of the drawing."""

import re

import pytest
from django.template import Context, Template

from tests.own_database import HOUSE
from workshop.templatetags.drawing import SATIN, WINDING


def drawn(template: str, **values: object) -> str:
    return Template("{% load drawing %}" + template).render(Context(values))


@pytest.mark.parametrize("colour", ["#c41e3a", "#FFFFFF", "#000000"])
def test_a_swatch_is_thread_of_its_colour_named_in_words(colour: str) -> None:
    detail = "Tern & Cleat 40 · 1037"
    swatch = drawn("{% swatch colour 'Signal red' detail=detail %}", colour=colour, detail=detail)
    assert f'fill="{colour}"' in swatch
    assert "Signal red" in swatch
    assert "Tern &amp; Cleat 40 · 1037" in swatch
    assert 'aria-hidden="true"' in swatch


def test_a_colour_that_is_asked_for_is_flat_satin_and_no_spool() -> None:
    wound = drawn("{% swatch '#c41e3a' 'Signal red' %}")
    asked = drawn("{% swatch '#c41e3a' 'Signal red' asked=True %}")
    assert ("#winding" in wound, "#satin" in wound) == (True, False)
    assert ("#winding" in asked, "#satin" in asked) == (False, True)
    assert wound.count("<path") > asked.count("<path"), "a spool has flanges"
    assert "Signal red" in asked


@pytest.mark.parametrize("colour", [None, ""])
def test_a_swatch_without_a_colour_is_hatched_and_still_named(colour: str | None) -> None:
    swatch = drawn("{% swatch colour 'No colour in the file' %}", colour=colour)
    assert "stroke-dasharray" in swatch
    assert "No colour in the file" in swatch


@pytest.mark.parametrize("colour", ["red", "#fff", '#000000" onload="x', "#00000g"])
def test_a_colour_that_is_none_is_refused(colour: str) -> None:
    with pytest.raises(ValueError, match="is not a colour of the form #rrggbb"):
        drawn("{% swatch colour 'x' %}", colour=colour)


def test_a_name_cannot_break_out_of_its_swatch() -> None:
    assert "<b>" not in drawn("{% swatch None name detail=name %}", name="<b>bold</b>")


def test_strands_of_a_winding_stay_between_the_flanges() -> None:
    paths = re.findall(r'd="((?:M[\d.]+ [\d.]+L[\d.]+ [\d.]+)+)"', WINDING)
    assert len(paths) == 2
    for path in paths:
        points = [(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", path)]
        assert len(points) > 20
        assert all(6 <= x <= 42 and 5 <= y <= 31 for x, y in points)


def test_the_sheet_of_icons_has_what_every_swatch_and_patch_refers_to() -> None:
    sheet = (HOUSE / "workshop" / "static" / "workshop" / "icons.svg").read_text()
    assert f'<symbol id="winding" viewBox="0 0 48 36">{WINDING}</symbol>' in sheet
    assert f'<symbol id="satin" viewBox="0 0 48 36">{SATIN}</symbol>' in sheet
    assert 'icons.svg#winding" width="48" height="36"/>' in drawn("{% swatch '#336699' 'Harbour' %}")


def test_every_verdict_has_a_shape_of_its_own() -> None:
    words = ["enough", "tight", "short", "unknown"]
    shapes = {re.sub(r"verdict-\w+|<span.*", "", drawn("{% verdict word 'x' %}", word=w)[30:]) for w in words}
    assert len(shapes) == len(words)


def test_a_verdict_says_its_word_or_the_text_given() -> None:
    assert ">Tight</span>" in drawn("{% verdict 'tight' %}")
    assert ">Short: 2 of 5 colours</span>" in drawn("{% verdict 'short' 'Short: 2 of 5 colours' %}")
    with pytest.raises(ValueError, match="not 'plenty'"):
        drawn("{% verdict 'plenty' %}")

"""Ink on paper can be read: contrast of the named colours, in the light and in the dark."""

import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

TOKENS = Path(str(finders.find("workshop/tokens.css"))).read_text()
BLOCK = re.compile(r":root(\[[^\]]+\])? \{(.*?)\}", re.DOTALL)
COLOUR = re.compile(r"--([\w-]+): (#[0-9a-f]{6});")


def colours(theme: str) -> dict[str, str]:
    wanted = "" if theme == "light" else f'[data-theme="{theme}"]'
    bodies = [body for selector, body in BLOCK.findall(TOKENS) if selector == wanted]
    return dict(COLOUR.findall("".join(bodies)))


def luminance(colour: str) -> float:
    """Return relative luminance as WCAG 2.2 defines it."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(weight * c for weight, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_black_on_white_has_the_greatest_contrast() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # WCAG 2.2, definition of contrast ratio


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
@pytest.mark.parametrize(
    "text", ["ink", "ink-soft", "accent", "accent-deep", "enough", "tight", "short", "unknown"]
)
def test_text_stands_out_from_paper(theme: str, ground: str, text: str) -> None:
    named = colours(theme)
    assert contrast(named[text], named[ground]) >= 4.5  # WCAG 2.2, 1.4.3


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(
    ("text", "ground"),
    [
        ("on-accent", "accent"), ("on-accent", "accent-deep"), ("ink", "accent-wash"), ("ink", "tight-wash"),
        ("ink", "short-wash"), ("short", "short-wash"), ("accent", "short-wash"), ("accent", "tight-wash"),
    ],
)  # fmt: skip
def test_text_stands_out_from_tinted_ground(theme: str, text: str, ground: str) -> None:
    named = colours(theme)
    assert contrast(named[text], named[ground]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_the_edge_of_a_field_stands_out(theme: str, ground: str) -> None:
    named = colours(theme)
    assert contrast(named["rule-strong"], named[ground]) >= 3  # WCAG 2.2, 1.4.11


def test_dark_by_choice_is_dark_by_the_device() -> None:
    assert colours("dark") == colours("auto")
    assert set(colours("dark")) == set(colours("light"))

"""A weight is one weight, however its label is written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.names.weight_labels import same_weight, weight_of_label

WAYS = (
    *("{}", "{} wt", "{}wt", "{} WT", "{}wt.", "{}-wt", "{} weight", "{}  wt"),
    *(
        "No. {}",
        "No.{}",
        "no {}",
        "NO {}",
        "Nr. {}",
        "№ {}",
        "#{}",
        "# {}",
        "WT {}",
        "wt. {}",
        "Weight {}",
        " {} ",
    ),
)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("number", ["12", "40", "60", "100"])
def test_every_way_of_writing_a_number_is_that_number(way: str, number: str) -> None:
    assert weight_of_label(way.format(number)) == number


@pytest.mark.parametrize("label", ["", "   ", "-", "–", "?", "\t"])
def test_what_is_not_written_down_is_unknown(label: str) -> None:
    assert weight_of_label(label) is None
    assert same_weight(label, "40") is None


@pytest.mark.parametrize(
    ("label", "weight"),
    [
        ("Ne 50/2", "ne 50/2"),
        ("40/3", "40/3"),
        ("tex 27", "tex 27"),
        ("Fine", "fine"),
        ("040", "40"),
        ("12,50", "12.5"),
        ("40 wt and 60 wt", "40 wt and 60 wt"),
        ("40 tex", "40 tex"),
        ("No wt", "no wt"),
    ],
)
def test_other_words_are_kept(label: str, weight: str) -> None:
    assert weight_of_label(label) == weight


def test_another_number_is_another_weight() -> None:
    assert same_weight("40 wt", "#40") is True
    assert same_weight("40", "60") is False


@given(st.text(max_size=12))
def test_a_weight_is_its_own_label(label: str) -> None:
    weight = weight_of_label(label)
    assert weight is None or weight_of_label(weight) == weight

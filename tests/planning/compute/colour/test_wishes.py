"""A colour in a file is a wish: what a careful person says of the thread that stands for it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.colour.lab import Lab, delta_e_00, lab_from_hex
from inventory.compute.names.plain import share_a_hue
from planning.compute.colour.wishes import (
    FEW_KNOWN,
    GIVES_UP_NOTHING,
    GivenUp,
    KnownThread,
    nearest_thread,
    what_is_given_up,
    wished_thread_colour,
)

LIMIT = 5.0
# What threads measure, about; from memory. No polyester reaches a screen's colours.
BLACK = KnownThread(199, Lab(18.5, 0.3, -0.8), "Dory 199")
WHITE = KnownThread(100, Lab(94.0, 0.5, -1.5), "Dory 100")
RED = KnownThread(147, Lab(42.0, 60.0, 33.0), "Dory 147")
SCARLET = KnownThread(148, Lab(48.0, 66.0, 52.0), "Dory 148", seller="Quay Supplies")
BLUE = KnownThread(133, Lab(33.0, 15.0, -52.0), "Dory 133")
YELLOW = KnownThread(124, Lab(84.0, 2.0, 84.0), "Dory 124")
GREEN = KnownThread(151, Lab(50.0, -48.0, 30.0), "Dory 151")
GREY = KnownThread(118, Lab(55.0, 0.0, -2.0), "Dory 118")
WINE = KnownThread(182, Lab(26.0, 34.0, 8.0), "Dory 182")
SHELF = (BLACK, WHITE, RED, BLUE, YELLOW, GREEN, GREY, WINE)


def judged(
    hex: str,
    *,
    shelf: tuple[KnownThread, ...] = SHELF,
    beside: tuple[KnownThread, ...] = (),
    known: int = 237,
    limit: float = LIMIT,
) -> GivenUp:
    wish = lab_from_hex(hex)
    wished = wished_thread_colour(wish)
    return what_is_given_up(
        wish,
        owned=nearest_thread(wished, shelf),
        nearest=nearest_thread(wished, (*shelf, *beside)),
        known=known,
        colour_limit=limit,
    )


@pytest.mark.parametrize(
    ("hex", "expected"),
    [
        ("#000000", BLACK),
        ("#ffffff", WHITE),
        ("#ff0000", RED),
        ("#0000ff", BLUE),
        ("#ffff00", YELLOW),
        ("#00ff00", GREEN),
        ("#808080", GREY),
    ],
)
def test_a_pure_screen_colour_is_answered_with_the_thread_a_person_would_take(
    hex: str, expected: KnownThread
) -> None:
    found = judged(hex)
    assert found.owned == expected
    assert found.word in ("near", "as near as thread comes")
    assert found.buy is None


def test_black_is_as_near_as_thread_comes() -> None:
    greyish = KnownThread(1, Lab(24.0, 0.5, -1.0), "Dory 99")
    found = judged("#000000", shelf=(greyish, WINE, BLUE))
    assert found.word == "as near as thread comes"
    assert found.text == "As near as thread comes."


def test_purple_on_a_shelf_without_purple_says_so() -> None:
    found = judged("#800080")
    assert found.word == "no thread of that colour"
    assert "wishes for deep reddish purple" in found.text
    assert found.owned is not None
    assert found.owned.called in found.text
    assert found.buy is None


def test_purple_that_can_be_bought_is_named_with_how_much_nearer_it_is() -> None:
    purple = KnownThread(180, Lab(32.0, 45.0, -30.0), "Dory 180", seller="Quay Supplies")
    found = judged("#800080", beside=(purple,))
    assert (found.word, found.buy) == ("no thread of that colour", purple)
    assert found.given_up is not None
    assert found.text.endswith(f"Dory 180 from Quay Supplies is ΔE00 {found.given_up:.1f} nearer.")


def test_something_nearer_of_the_same_hue_can_be_bought() -> None:
    found = judged("#ff0000", beside=(SCARLET,))
    assert (found.word, found.owned, found.buy) == ("something nearer can be bought", RED, SCARLET)
    assert found.given_up is not None
    assert found.given_up > GIVES_UP_NOTHING
    assert found.text.startswith("Something nearer can be bought. Dory 148 from Quay Supplies is ΔE00 ")


def test_who_knows_few_shades_is_told_how_many() -> None:
    found = judged("#ff0000", shelf=(RED, BLUE), known=20)
    assert (found.word, found.text) == (
        "nearest of the shades you know",
        "Nearest of the 20 shades you know.",
    )
    assert judged("#ff0000", shelf=(RED,), known=1).text == "The only shade you know."


def test_among_few_shades_another_hue_is_still_another_hue() -> None:
    assert judged("#00ff00", shelf=(RED, BLUE), known=2).word == "no thread of that colour"


def test_nothing_owned_is_told_with_what_can_be_bought() -> None:
    found = judged("#ff0000", shelf=(), beside=(SCARLET,))
    assert (found.word, found.buy) == ("something nearer can be bought", SCARLET)
    assert found.text == (
        "Nothing like it is on the shelf with enough thread. Dory 148 from Quay Supplies would do."
    )
    nothing = judged("#ff0000", shelf=())
    assert (nothing.word, nothing.buy, nothing.nearest) == ("no thread of that colour", None, None)
    assert nothing.text == "No thread of that colour (vivid reddish orange) with enough thread."


labs = st.builds(Lab, st.floats(0, 100), st.floats(-110, 110), st.floats(-110, 110))
threads = st.lists(
    st.builds(KnownThread, st.integers(1, 10**6), labs, st.just("Dory 1")),
    max_size=6,
    unique_by=lambda each: each.id,
)


@given(labs, threads, threads, st.integers(0, 400), st.floats(0, 30))
def test_every_judgement_keeps_its_word(
    wish: Lab, shelf: list[KnownThread], beside: list[KnownThread], more: int, limit: float
) -> None:
    wished = wished_thread_colour(wish)
    known = len(shelf) + len(beside) + more
    found = what_is_given_up(
        wish,
        owned=nearest_thread(wished, shelf),
        nearest=nearest_thread(wished, [*shelf, *beside]),
        known=known,
        colour_limit=limit,
    )
    assert found.text.endswith(".")
    if found.owned is None:
        assert not shelf
        assert found.word in ("something nearer can be bought", "no thread of that colour")
        return
    assert found.delta_e_00 is not None
    assert found.given_up is not None
    as_it_stands = float(delta_e_00(tuple(wish), [tuple(found.owned.lab)])[0])
    assert (found.word == "near") == (as_it_stands <= limit)
    assert 0 <= found.given_up <= found.delta_e_00
    if found.buy is not None:
        assert found.word in ("something nearer can be bought", "no thread of that colour")
        assert found.given_up > GIVES_UP_NOTHING
        assert share_a_hue(found.wished, found.buy.lab) or found.word == "something nearer can be bought"
        assert found.buy in beside
    if found.word == "something nearer can be bought":
        assert found.buy is not None
    if found.word == "no thread of that colour":
        assert not share_a_hue(found.wished, found.owned.lab)
    if found.word == "as near as thread comes":
        assert known >= FEW_KNOWN or found.delta_e_00 <= limit
    if found.word == "nearest of the shades you know":
        assert known < FEW_KNOWN


@given(labs, threads)
def test_what_has_no_better_gives_up_nothing(wish: Lab, shelf: list[KnownThread]) -> None:
    nearest = nearest_thread(wished_thread_colour(wish), shelf)
    found = what_is_given_up(wish, owned=nearest, nearest=nearest, known=500, colour_limit=LIMIT)
    assert found.buy is None
    assert found.given_up in (0.0, None)
    assert found.word != "something nearer can be bought"

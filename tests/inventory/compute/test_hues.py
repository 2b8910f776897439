"""Hues of many colours at once are those that one colour after the other has."""

from random import Random

import numpy as np
from colormath.color_diff_matrix import delta_e_cie2000

from inventory.compute.colour.lab import Lab, delta_e_00_matrix, hex_from_lab, lab_from_hex
from inventory.compute.names.hues import hues_of, labs_of_screen, screen_colours, share_hues
from inventory.compute.names.plain import share_a_hue


def some_labs(count: int, *, seed: int = 3) -> list[Lab]:
    rng = Random(seed)
    return [Lab(rng.uniform(0, 100), rng.uniform(-90, 90), rng.uniform(-90, 90)) for _ in range(count)]


def test_channels_are_those_of_the_hex_colour() -> None:
    labs = some_labs(60)
    channels = screen_colours(np.array([tuple(each) for each in labs]))
    written = [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in channels.tolist()]
    assert written == [hex_from_lab(each) for each in labs]
    back = [tuple(lab_from_hex(hex)) for hex in written]
    assert np.abs(labs_of_screen(channels) - np.array(back)).max() < 1e-9


def test_many_share_a_hue_where_two_do() -> None:
    labs = some_labs(25)
    hues = hues_of([tuple(each) for each in labs])
    for at, one in enumerate(labs):
        assert share_hues(hues.of(at), hues).tolist() == [share_a_hue(one, other) for other in labs]


def test_many_pairs_at_once_differ_as_one_colour_after_the_other_to_the_last_bit() -> None:
    some, others = (np.array([tuple(each) for each in some_labs(20, seed=seed)]) for seed in (4, 5))
    some[:3, 1:] = 0.0
    each = [delta_e_cie2000(colour, np.asfortranarray(others)) for colour in some]
    assert (delta_e_00_matrix(some, others) == np.array(each)).all()

"""What a colour is called in plain words: names of the ISCC-NBS system, by the nearest centroid."""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from inventory.compute.colour.lab import (
    Lab,
    delta_e_00,
    hex_from_lab,
    lab_from_hex,
    labs_from_hexes,
    nearest_00,
)
from inventory.compute.names.german import in_plain_words
from inventory.compute.names.iscc_nbs import CENTROIDS
from inventory.compute.spoken import N_, language
from inventory.compute.surfaces.gamut import from_c_to_d65, onto_surface_gamut

Floats = npt.NDArray[np.float64]

# The greys of the system are neutral by definition; their printed numbers are rounded.
_NEUTRAL = ("white", "light grey", "medium grey", "dark grey", "black")
# A colour this much nearer to one centroid than to another may be called by either. Common practice, no source.
EITHER_WAY = 3.0
# So far apart in hue, a name such as "reddish orange" still joins its two hues. Common practice, no source.
NEXT_TO_DEG = 25.0
_NAMED_IN = {
    "reddish": "red",
    "yellowish": "yellow",
    "greenish": "green",
    "bluish": "blue",
    "purplish": "purple",
    "pinkish": "pink",
    "brownish": "brown",
}


def plain_name(lab: Lab) -> str:
    """Return what a colour under D65 is called, such as "strong red"; it is that of its swatch on a screen.

    >>> plain_name(Lab(42.0, 55.0, 22.0)), plain_name(Lab(100.0, 0.0, 0.0)), plain_name(Lab(0.0, 0.0, 0.0))
    ('strong red', 'white', 'black')
    """
    return _name(round(lab.L, 3), round(lab.a, 3), round(lab.b, 3))


def plain_names(labs: npt.ArrayLike) -> list[str]:
    """Return what each of ``labs``, (n, 3), is called.

    >>> plain_names([(42.0, 55.0, 22.0), (50.0, 0.0, 0.0)])
    ['strong red', 'medium grey']
    """
    shown = onto_surface_gamut(_as_shown(np.asarray(labs, dtype=np.float64).reshape(-1, 3)))
    return [CENTROIDS[at][0] for at in nearest_00(shown, centroids())[0]] if len(shown) else []


def plain_name_of_hex(hex: str) -> str:
    """Return what a screen colour is called.

    >>> plain_name_of_hex("#bf344b")
    'strong red'
    """
    return plain_name(lab_from_hex(hex))


def is_colour_word(word: str) -> bool:
    """Tell whether a word, in small letters, stands in plain names; gray is grey.

    >>> is_colour_word("purplish"), is_colour_word("gray"), is_colour_word("dory")
    (True, True, False)
    """
    words = _meant(word)
    return bool(words) and words <= _words()


def has_colour_word(name: str, word: str) -> bool:
    """Tell whether a plain name has a word in it.

    >>> has_colour_word("dark greyish blue", "grayish"), has_colour_word("dark reddish brown", "red")
    (True, False)
    """
    words = _meant(word)
    return bool(words) and words <= set(name.split())


def colour_of_name(text: str) -> Lab | None:
    """Return the colour under D65 that a plain name stands for, None where it is none.

    A basic colour alone stands for its strong one.

    >>> colour_of_name("Strong  Red") == colour_of_name("red"), colour_of_name("Dory 147") is None
    (True, True)
    """
    words = " ".join(_in_plain_words(text, language()))
    for name in (words, f"strong {words}", f"medium {words}", f"moderate {words}"):
        at = _places().get(name)
        if at is not None:
            return Lab(*centroids()[at].tolist())
    return None


def basic_hue(name: str) -> str:
    """Return the basic colour of a plain name: one of the thirteen of the system's first level.

    >>> basic_hue("vivid reddish orange"), basic_hue("deep violet"), basic_hue("light yellow green")
    ('orange', 'purple', 'yellow green')
    """
    if name.endswith("yellow green"):
        return "yellow green"
    if name.endswith("olive green"):
        return "olive"
    last = name.split()[-1]
    return "purple" if last == "violet" else last


def basic_colours() -> list[str]:
    """Return the basic colours of the system in the order of the alphabet.

    >>> len(basic_colours()), basic_colours()[:3]
    (13, ['black', 'blue', 'brown'])
    """
    return sorted({basic_hue(name) for name, *_ in CENTROIDS})


def hue_word(lab: Lab) -> str:
    """Return the basic colour of a colour under D65.

    >>> hue_word(Lab(42.0, 55.0, 22.0))
    'red'
    """
    return basic_hue(plain_name(lab))


def share_a_hue(one: Lab, other: Lab) -> bool:
    """Tell whether two colours may go by one basic colour, as people name them.

    That is so where their names end in the same basic colour; where one lies between two and the other has the
    second; and where one's name joins both ("reddish orange") and they lie side by side.

    >>> share_a_hue(Lab(53.0, 71.0, 60.0), Lab(45.0, 62.0, 40.0)), share_a_hue(Lab(30, 59, -36), Lab(40, 60, 35))
    (True, False)
    """
    mine, its = plain_name(one), plain_name(other)
    if basic_hue(mine) == basic_hue(its):
        return True
    if basic_hue(its) in _may_be(one) or basic_hue(mine) in _may_be(other):
        return True
    joined = basic_hue(its) in joined_hues(mine) or basic_hue(mine) in joined_hues(its)
    return joined and _turn_deg(one, other) <= NEXT_TO_DEG


@lru_cache(maxsize=16_384)
def _may_be(lab: Lab) -> frozenset[str]:
    """Return the basic colours whose nearest centroid is hardly farther than the nearest of all."""
    apart = _from_centroids(lab.L, lab.a, lab.b)
    near = np.flatnonzero(apart <= apart.min() + EITHER_WAY)
    return frozenset(basic_hue(CENTROIDS[at][0]) for at in near)


def joined_hues(name: str) -> frozenset[str]:
    """Return the basic colours that a name has in it."""
    return frozenset((basic_hue(name), *(_NAMED_IN[word] for word in name.split() if word in _NAMED_IN)))


def _turn_deg(one: Lab, other: Lab) -> float:
    turn = math.degrees(math.atan2(one.b, one.a) - math.atan2(other.b, other.a))
    return abs((turn + 180) % 360 - 180)


def _spelled(word: str) -> str:
    return word.casefold().replace("gray", "grey")


def _meant(word: str) -> frozenset[str]:
    """Return the words of plain names that a person means by one; it may be one of their own language."""
    return frozenset(_in_plain_words(word, language()))


@lru_cache(maxsize=4096)
def _in_plain_words(text: str, speaks: str) -> tuple[str, ...]:
    return tuple(
        each
        for word in text.casefold().split()
        for each in (speaks == "de" and in_plain_words(word)) or (_spelled(word),)
    )


@lru_cache(maxsize=16_384)
def _name(L: float, a: float, b: float) -> str:
    return CENTROIDS[int(_from_centroids(L, a, b).argmin())][0]


def _from_centroids(L: float, a: float, b: float) -> Floats:
    # A screen's colours reach beyond all that the names were made for: they go by the surface nearest to them.
    shown = _as_shown(np.array([(L, a, b)]))
    return delta_e_00(onto_surface_gamut(shown)[0], centroids())


def _as_shown(labs: Floats) -> Floats:
    """Return colours as a screen shows them: so a shade and its swatch have one name."""
    return labs_from_hexes([hex_from_lab(Lab(*lab)) for lab in labs.tolist()])


# The basic colours, as they are read.
BASIC = (
    *(N_("black"), N_("blue"), N_("brown"), N_("green"), N_("grey"), N_("olive"), N_("orange"), N_("pink")),
    *(N_("purple"), N_("red"), N_("white"), N_("yellow"), N_("yellow green")),
)


@lru_cache(maxsize=1)
def _words() -> frozenset[str]:
    return frozenset(word for name, _ in CENTROIDS for word in name.split())


@lru_cache(maxsize=1)
def _places() -> dict[str, int]:
    return {name: at for at, (name, _) in enumerate(CENTROIDS)}


@lru_cache(maxsize=1)
def centroids() -> Floats:
    """Return the centroids under D65, (n, 3); a few lie beyond Pointer's gamut, and are brought in as well."""
    labs = onto_surface_gamut(from_c_to_d65(labs_from_hexes([hex for _, hex in CENTROIDS])))
    for at, (name, _) in enumerate(CENTROIDS):
        if name in _NEUTRAL:
            labs[at, 1:] = 0.0
    return labs

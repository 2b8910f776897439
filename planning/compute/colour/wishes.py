"""What is given up where a thread stands for a colour that a file wishes for.

A colour in a file is a screen's or a palette's: no thread need have it. It is brought onto what dyed thread can be,
and then the owned thread is held against the nearest of all known threads. A colour that a person asks for is a
demand, and is judged by its limit alone (``planning.compute.colour.rules``).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from inventory.compute.colour.lab import Lab, delta_e_00, lower_bound_00
from inventory.compute.names.plain import plain_name, share_a_hue
from inventory.compute.spoken import said_again
from inventory.compute.surfaces.even_hue import onto_surface_gamut_by_even_hue
from planning.compute.colour import sentences as say
from planning.compute.colour.rules import Floats, lab_array

Word = Literal[
    "near",
    "as near as thread comes",
    "nearest of the shades you know",
    "something nearer can be bought",
    "no thread of that colour",
]

# A thread this little farther from a wish than the best known one gives nothing up. Common practice, no source: it
# is about what two dye lots of one shade differ by at the most.
GIVES_UP_NOTHING = 2.0
# Fewer known shades than a small maker's card has say little of what can be bought. Common practice, no source.
FEW_KNOWN = 100


@dataclass(frozen=True)
class KnownThread:
    """A thread that may stand for a wish; ``called`` is maker, range and code, ``seller`` who has it, if known."""

    id: int
    lab: Lab
    called: str
    seller: str = ""


@dataclass(frozen=True)
class GivenUp:
    """How a thread stands for a wish: a word, and what it rests on.

    ``wished`` is the wish on the gamut of real surfaces. ``delta_e_00`` is from there to ``owned``, None where
    nothing owned has enough metres. ``given_up`` is how much nearer ``nearest`` of all known threads is. ``buy`` is
    that thread where it is worth buying.
    """

    word: Word
    wished: Lab
    owned: KnownThread | None
    nearest: KnownThread | None
    delta_e_00: float | None
    given_up: float | None
    known: int
    buy: KnownThread | None = None

    @property
    def text(self) -> str:
        """What a person reads beside the colour, in their language."""
        sentences = [_IN_WORDS[self.word](self), *([_what_to_buy(self)] if self.buy else [])]
        return " ".join(said_again(each, say.SENTENCES, parts=say.PARTS) for each in sentences)


def wished_thread_colour(wish: Lab) -> Lab:
    """Return the colour of dyed thread that a wish comes to: on the gamut of real surfaces, of the hue people see.

    >>> [round(value) for value in wished_thread_colour(Lab(0.0, 0.0, 0.0))]
    [15, 0, 0]
    """
    return onto_surface_gamut_by_even_hue(wish)


def nearest_thread(
    wished: Lab, threads: Sequence[KnownThread], *, labs: Floats | None = None
) -> KnownThread | None:
    """Return the thread nearest to a wish on the gamut by CIEDE2000, the first of equals; None of none.

    ``labs`` (n, 3) are the colours of the threads, where many wishes are asked for.

    >>> black, navy = KnownThread(1, Lab(18.0, 0.0, 0.0), "Dory 199"), KnownThread(2, Lab(20.0, 4.0, -18.0), "Dory 150")
    >>> nearest_thread(wished_thread_colour(Lab(0.0, 0.0, 0.0)), [navy, black]).called
    'Dory 199'
    """
    if not threads:
        return None
    labs = lab_array([thread.lab for thread in threads]) if labs is None else labs
    # No difference is less than that of lightness: of all that lie farther by it than one does, it is not worked out.
    least = lower_bound_00(tuple(wished), labs)
    first = int(least.argmin())
    enough = float(delta_e_00(tuple(wished), labs[first : first + 1])[0])
    near = np.flatnonzero(least <= enough + 1e-6)
    apart = np.full(len(labs), np.inf)
    apart[near] = delta_e_00(tuple(wished), labs[near])
    return threads[int(apart.argmin())]


def what_is_given_up(
    wish: Lab,
    *,
    owned: KnownThread | None,
    nearest: KnownThread | None,
    known: int,
    colour_limit: float,
    few: int = FEW_KNOWN,
) -> GivenUp:
    """Return how well ``owned`` stands for the colour that a file wishes for.

    ``owned`` is the nearest owned thread with enough metres, ``nearest`` the nearest of all ``known`` threads of the
    wanted fibre and weight that can be bought or are owned. In this order: within the limit of the wish as it stands
    in the file it is *near*; of another basic hue it is *no thread of that colour*; where more than
    ``GIVES_UP_NOTHING`` is given up, *something nearer can be bought*; else it is *as near as thread comes*, which,
    unless it is within the limit of what thread can be at all, only a catalogue of ``few`` shades or more can tell.

    >>> black = KnownThread(1, Lab(24.0, 0.5, -1.0), "Dory 199")
    >>> found = what_is_given_up(Lab(0.0, 0.0, 0.0), owned=black, nearest=black, known=237, colour_limit=5.0)
    >>> found.word, round(found.delta_e_00, 1), found.given_up
    ('as near as thread comes', 6.3, 0.0)
    >>> what_is_given_up(Lab(0.0, 0.0, 0.0), owned=black, nearest=black, known=20, colour_limit=5.0).text
    'Nearest of the 20 shades you know.'
    """
    wished = wished_thread_colour(wish)
    best = _apart(wished, nearest)
    if owned is None:
        word: Word = "no thread of that colour"
        if nearest is not None and share_a_hue(wished, nearest.lab):
            word = "something nearer can be bought"
        return GivenUp(word, wished, None, nearest, None, None, known, buy=_worth(word, nearest, wished))
    apart = _apart(wished, owned)
    assert apart is not None
    given_up = max(0.0, apart - best) if best is not None else 0.0
    gives_up = given_up > GIVES_UP_NOTHING
    as_it_stands = _apart(wish, owned)
    assert as_it_stands is not None
    if as_it_stands <= colour_limit:
        word = "near"
    elif apart > colour_limit and not share_a_hue(wished, owned.lab):
        word = "no thread of that colour"
    elif gives_up:
        word = "something nearer can be bought"
    elif known < few and apart > colour_limit:
        word = "nearest of the shades you know"
    else:
        word = "as near as thread comes"
    buy = _worth(word, nearest, wished) if gives_up else None
    return GivenUp(word, wished, owned, nearest, apart, given_up, known, buy=buy)


def _apart(wished: Lab, thread: KnownThread | None) -> float | None:
    return None if thread is None else float(delta_e_00(tuple(wished), [tuple(thread.lab)])[0])


def _worth(word: Word, nearest: KnownThread | None, wished: Lab) -> KnownThread | None:
    """Return the thread to buy: none where what is owned is near, none that is of another hue as well."""
    if word == "something nearer can be bought":
        return nearest
    if word == "no thread of that colour" and nearest is not None and share_a_hue(wished, nearest.lab):
        return nearest
    return None


def _no_thread(found: GivenUp) -> str:
    wished = plain_name(found.wished)
    if found.owned is None:
        return say.NO_SUCH_THREAD.format(wished=wished)
    return say.ANOTHER_COLOUR.format(
        wished=wished, nearest=found.owned.called, colour=plain_name(found.owned.lab)
    )


_IN_WORDS = {
    "near": lambda found: say.NEAR,
    "as near as thread comes": lambda found: say.AS_NEAR_AS_COMES,
    "nearest of the shades you know": lambda found: (
        say.NEAREST_KNOWN.format(count=f"{found.known:,}") if found.known != 1 else say.ONLY_KNOWN
    ),
    "something nearer can be bought": lambda found: (
        say.NEARER_TO_BUY if found.owned is not None else say.NOTHING_LIKE_IT
    ),
    "no thread of that colour": _no_thread,
}


def _what_to_buy(found: GivenUp) -> str:
    assert found.buy is not None
    if found.given_up is None:
        sentence = say.BUY_FROM if found.buy.seller else say.BUY
    else:
        sentence = say.BUY_NEARER_FROM if found.buy.seller else say.BUY_NEARER
    nearer = "" if found.given_up is None else f"{found.given_up:.1f}"
    return sentence.format(thread=found.buy.called, seller=found.buy.seller, difference=nearer)

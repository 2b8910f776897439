"""The weight label of a range as one word, however it was typed.

A label such as "40 wt" is a name and no number to reckon with: threads sold under it have 24 to 44 tex.
"""

import re
from functools import lru_cache

# "40", "40 wt", "40wt.", "40 weight", "No. 40", "Nr 40", "№ 40", "#40", "wt 40", "weight 40": common practice.
_WRITTEN = re.compile(
    r"(?:(?:no|nr|num|number|size|wt|weight)\b[.:]?|[#№])?\s*(?P<number>\d+(?:[.,]\d+)?)\s*(?:-?\s*(?:wt|weight)\b\.?)?"
)


@lru_cache(maxsize=1_024)
def weight_of_label(label: str) -> str | None:
    """Return the weight that a label names, alike for all ways of writing it; None where nothing is written.

    What is not a plain number keeps its words, in small letters with single spaces.

    >>> [weight_of_label(label) for label in ("40", "40 wt", "No. 40", "#40", "40wt", "WT 40")]
    ['40', '40', '40', '40', '40', '40']
    >>> weight_of_label("  "), weight_of_label("Extra  Fine"), weight_of_label("Ne 50/2")
    (None, 'extra fine', 'ne 50/2')
    """
    words = " ".join(label.casefold().split())
    if not words.strip(" -–?."):
        return None
    written = _WRITTEN.fullmatch(words)
    if written is None:
        return words
    whole, _, part = written["number"].replace(",", ".").partition(".")
    part = part.rstrip("0")
    return f"{int(whole)}.{part}" if part else str(int(whole))


def thickness_words(label: str) -> str:
    """Return how thick a label says that a thread is, as people write it; nothing where nothing is written.

    >>> thickness_words("No. 40"), thickness_words("Ne 50/2"), thickness_words("")
    ('40 wt', 'ne 50/2', '')
    """
    weight = weight_of_label(label) or ""
    return f"{weight} wt" if weight.replace(".", "").isdecimal() else weight


def same_weight(one: str, other: str) -> bool | None:
    """Tell whether two labels name one weight; None where either is not written down.

    >>> same_weight("40", "No. 40"), same_weight("40", "60 wt"), same_weight("40", "")
    (True, False, None)
    """
    mine, its = weight_of_label(one), weight_of_label(other)
    return None if mine is None or its is None else mine == its

"""Words for colours as people write them in German, in the words of the plain names.

*Dunkelblau*, *hellgrün*, *rötliches Braun*: of what is written in one word, the part before shades or tints the last
one. Common practice, no source.
"""

import re
from functools import lru_cache

_HUES = {
    "rot": "red", "orange": "orange", "gelb": "yellow", "grün": "green", "blau": "blue", "violett": "violet",
    "lila": "purple", "purpur": "purple", "rosa": "pink", "pink": "pink", "braun": "brown", "oliv": "olive",
    "olive": "olive", "grau": "grey", "weiss": "white", "schwarz": "black", "türkis": "bluish green",
    "marine": "dark blue", "gelbgrün": "yellow green", "orangegelb": "orange yellow", "olivgrün": "olive green",
    "olivbraun": "olive brown",
}  # fmt: skip
_TINTS = {
    "rot": "reddish", "gelb": "yellowish", "grün": "greenish", "blau": "bluish", "violett": "purplish",
    "lila": "purplish", "purpur": "purplish", "rosa": "pinkish", "braun": "brownish", "grau": "greyish",
    "schwarz": "blackish", "orange": "orange", "oliv": "olive",
}  # fmt: skip
_WAYS = {
    "hell": "light", "dunkel": "dark", "blass": "pale", "zart": "pale", "tief": "deep", "satt": "deep",
    "kräftig": "strong", "stark": "strong", "leuchtend": "vivid", "grell": "vivid", "lebhaft": "vivid",
    "strahlend": "brilliant", "mittel": "medium", "mässig": "moderate", "sehr": "very", "rötlich": "reddish",
    "gelblich": "yellowish", "grünlich": "greenish", "bläulich": "bluish", "violettlich": "purplish",
    "purpurn": "purplish", "rosig": "pinkish", "bräunlich": "brownish", "gräulich": "greyish",
    "schwärzlich": "blackish",
}  # fmt: skip
_ENDINGS = re.compile(r"e[rsmn]?$")
_SPELLED_OUT = (("ae", "ä"), ("oe", "ö"), ("ue", "ü"))


@lru_cache(maxsize=4096)
def in_plain_words(word: str) -> tuple[str, ...]:
    """Return the words of plain names that a German word for a colour stands for; none where it is no such word.

    >>> in_plain_words("dunkelblau"), in_plain_words("rötlichbraun"), in_plain_words("hellgrünes")
    (('dark', 'blue'), ('reddish', 'brown'), ('light', 'green'))
    >>> in_plain_words("graublau"), in_plain_words("weiss"), in_plain_words("hafen")
    (('greyish', 'blue'), ('white',), ())
    """
    written = word.casefold()  # ß is ss from here on
    for each in (written, _ENDINGS.sub("", written), _with_umlauts(written)):
        if found := _parted(each):
            return tuple(found.split())
    return ()


def _parted(word: str) -> str:
    if word in _HUES:
        return _HUES[word]
    if word in _WAYS:
        return _WAYS[word]
    for before, said in (*_WAYS.items(), *_TINTS.items()):
        rest = word.removeprefix(before)
        if rest != word and rest and (found := _parted(rest)):
            return f"{said} {found}"
    return ""


def _with_umlauts(word: str) -> str:
    for written, umlaut in _SPELLED_OUT:
        word = word.replace(written, umlaut)
    return word

"""How full a spool is, in the words and fractions that people write into their lists."""

import re
from dataclasses import dataclass
from fractions import Fraction

from inventory.compute.spoken import _, language
from inventory.compute.weighing import FILL_LEVELS, FillLevel

# Words beside those of FILL_LEVELS, and the level that each means: how people write, no source.
_ALSO: dict[str, FillLevel] = {
    "almost full": FillLevel(0.9, 0.08),
    "nearly full": FillLevel(0.9, 0.08),
    "most": FillLevel(0.75, 0.15),
    "two thirds": FillLevel(2 / 3, 0.12),
    "third": FillLevel(1 / 3, 0.10),
    "half full": FILL_LEVELS["half"],
    "half empty": FILL_LEVELS["half"],
    "three quarter": FILL_LEVELS["three quarters"],
    "some": FillLevel(0.4, 0.25),
    "low": FillLevel(0.12, 0.08),
    "little": FillLevel(0.12, 0.08),
    "almost empty": FILL_LEVELS["nearly empty"],
    "almost gone": FILL_LEVELS["nearly empty"],
    "nearly gone": FILL_LEVELS["nearly empty"],
    "scraps": FILL_LEVELS["nearly empty"],
    "empty": FillLevel(0.0, 0.0),
    "none": FillLevel(0.0, 0.0),
    "gone": FillLevel(0.0, 0.0),
    "used up": FillLevel(0.0, 0.0),
    # The same in German.
    "voll": FILL_LEVELS["full"],
    "ganz voll": FILL_LEVELS["full"],
    "fast voll": FillLevel(0.9, 0.08),
    "beinahe voll": FillLevel(0.9, 0.08),
    "dreiviertel": FILL_LEVELS["three quarters"],
    "drei viertel": FILL_LEVELS["three quarters"],
    "dreiviertelvoll": FILL_LEVELS["three quarters"],
    "zwei drittel": FillLevel(2 / 3, 0.12),
    "zweidrittel": FillLevel(2 / 3, 0.12),
    "halb": FILL_LEVELS["half"],
    "hälfte": FILL_LEVELS["half"],
    "halbvoll": FILL_LEVELS["half"],
    "halb voll": FILL_LEVELS["half"],
    "halbleer": FILL_LEVELS["half"],
    "halb leer": FILL_LEVELS["half"],
    "drittel": FillLevel(1 / 3, 0.10),
    "viertel": FILL_LEVELS["quarter"],
    "viertelvoll": FILL_LEVELS["quarter"],
    "wenig": FillLevel(0.12, 0.08),
    "fast leer": FILL_LEVELS["nearly empty"],
    "beinahe leer": FILL_LEVELS["nearly empty"],
    "fast alle": FILL_LEVELS["nearly empty"],
    "leer": FillLevel(0.0, 0.0),
    "alle": FillLevel(0.0, 0.0),
    "aufgebraucht": FillLevel(0.0, 0.0),
}
_GERMAN_LEVELS = {
    "voll": "full",
    "dreiviertel": "three quarters",
    "drei viertel": "three quarters",
    "halb": "half",
    "halbvoll": "half",
    "halb voll": "half",
    "viertel": "quarter",
    "ein viertel": "quarter",
    "fast leer": "nearly empty",
}
_SEALED = {
    "new", "unopened", "sealed", "unused", "brand new", "not opened", "wrapped",
    "neu", "ungeöffnet", "unbenutzt", "nagelneu", "originalverpackt", "ovp",
}  # fmt: skip
_FILLERS = re.compile(
    r"\b(?:a|an|the|is|it|left|about|approx|approximately|roughly|around|ca|spool|cone|of|very"
    r"|ein|eine|einer|die|etwa|ungefähr|rund|noch|circa|rolle|garnrolle|spule|kone)\b"
)
_SHARE = re.compile(r"(?P<top>\d+)\s*/\s*(?P<under>\d+)(?:ths?|rds?)?")
_PERCENT = re.compile(r"(?P<number>\d+(?:[.,]\d+)?)\s*(?:%|percent|per cent|prozent)")
_DECIMAL = re.compile(r"0?[.,]\d{1,2}|[01](?:[.,]0{1,2})?")
_SIGNS = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅓": "1/3",
    "⅔": "2/3",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}


@dataclass(frozen=True)
class Fullness:
    """The share of a full spool that is left, as it looks, or a spool that nobody has opened."""

    level: FillLevel
    is_sealed: bool = False


def fullness_of(text: str) -> Fullness | None:
    """Return how full a spool is said to be; None where the text says something else.

    A share that is written as a number was judged by eye as a word was: its sigma is that of the nearest word.

    >>> fullness_of("about half").level.fraction, fullness_of("3/4").level.fraction, fullness_of("40 %").level.fraction
    (0.5, 0.75, 0.4)
    >>> fullness_of("unopened").is_sealed, fullness_of("harbour red") is None, fullness_of("640 m") is None
    (True, True, True)
    """
    words = text.casefold()
    for sign, written in _SIGNS.items():
        words = words.replace(sign, written)
    words = " ".join(_FILLERS.sub(" ", words.replace("~", " ").replace("-", " ").strip(" .!")).split())
    if words in _SEALED:
        return Fullness(FILL_LEVELS["full"], is_sealed=True)
    level = FILL_LEVELS.get(words) or _ALSO.get(words)
    if level is not None:
        return Fullness(level)
    share = _share_in(words.removesuffix("full").removesuffix("voll").strip())
    return None if share is None else Fullness(FillLevel(share, _judged_sigma(share)))


def level_called(text: str) -> str | None:
    """Return which of ``FILL_LEVELS`` a person names by its word, in English or in their own language.

    >>> level_called(" Three  quarters "), level_called("52.4 g") is None
    ('three quarters', True)
    """
    word = " ".join(text.casefold().split())
    if word in FILL_LEVELS:
        return word
    said = {_(level).casefold(): level for level in FILL_LEVELS}
    return said.get(word) or (_GERMAN_LEVELS.get(word) if language() == "de" else None)


def _share_in(words: str) -> float | None:
    if written := _SHARE.fullmatch(words):
        top, under = int(written["top"]), int(written["under"])
        return float(Fraction(top, under)) if 0 < under <= 16 and top <= under else None
    if written := _PERCENT.fullmatch(words):
        percent = float(written["number"].replace(",", "."))
        return percent / 100 if percent <= 100 else None
    if _DECIMAL.fullmatch(words):
        return float(words.replace(",", "."))
    return None


def _judged_sigma(share: float) -> float:
    if share == 0:
        return 0.0
    nearest = min(FILL_LEVELS.values(), key=lambda level: abs(level.fraction - share))
    return nearest.sigma_fraction

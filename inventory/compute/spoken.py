"""Sentences and figures in the reader's language: the sums know no framework, so they ask whoever was set up.

Where nobody was set up, a sentence stays as it is written and a number has a decimal point. A sentence is marked where
it is written, whole, with names in braces for what changes: ``_("{sure} of {total} pieces").format(...)``. What stands
at the top of a module is only marked there, with ``N_``, and said with ``_`` where somebody reads it.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

# A figure and its unit, and the parts of a day, stand in one line wherever a page writes them.
NO_BREAK = "\xa0"


def _as_written(one: str, many: str, number: int) -> str:
    return one if number == 1 else many


@dataclass(frozen=True)
class Speaker:
    """``text`` and ``counted`` are those of gettext; ``signs`` returns the decimal sign and that between
    thousands, ``language`` the reader's, in two letters."""

    text: Callable[[str], str] = str
    counted: Callable[[str, str, int], str] = _as_written
    signs: Callable[[], tuple[str, str]] = lambda: (".", ",")
    language: Callable[[], str] = lambda: "en"


_speaker = Speaker()


def let_speak(speaker: Speaker) -> None:
    """Have ``speaker`` say everything from now on; called once, when the application begins."""
    global _speaker
    _speaker = speaker


def _(text: str) -> str:
    """Return ``text`` in the reader's language."""
    return _speaker.text(text)


def language() -> str:
    """Return the reader's language in two letters, where what is typed has to be understood in it."""
    return _speaker.language()


def N_(text: str) -> str:
    """Return ``text`` as it is: it is marked here and said elsewhere."""
    return text


def ngettext(one: str, many: str, number: int) -> str:
    """Return that of the two texts in the reader's language that fits the number."""
    return _speaker.counted(one, many, number)


def figure(number: float | Decimal, places: int = 0, *, grouped: bool = True) -> str:
    """Return a number as the reader writes it, with so many ``places``, thousands ``grouped`` or not.

    >>> figure(1234.56, 1), figure(1234.56, 1, grouped=False), figure(-3)
    ('1,234.6', '1234.6', '-3')
    """
    return as_written_here(f"{number:{',' if grouped else ''}.{places}f}")


def plainly(number: float) -> str:
    """Return a number in no more figures than it needs, six at most, as the reader writes it.

    >>> plainly(2.50), plainly(40.0)
    ('2.5', '40')
    """
    return as_written_here(f"{number:g}")


def as_written_here(plain: str) -> str:
    """Return a number that is written with a decimal point and commas between thousands as the reader writes it.

    >>> as_written_here("1,234.5")
    '1,234.5'
    """
    decimal, thousands = _speaker.signs()
    if (decimal, thousands) == (".", ","):
        return plain
    return plain.translate({ord(","): thousands, ord("."): decimal})


# A sentence that is marked, or its two forms where it counts.
Marked = str | tuple[str, str]
_NUMBER = re.compile(r"-?[0-9][0-9,]*(?:\.[0-9]+)?")


def said_again(text: str, marked: Iterable[Marked], *, parts: Sequence[Marked] = ()) -> str:
    """Return in the reader's language a text that was kept, or made elsewhere, from one of the ``marked`` sentences.

    Its values are read out of it and said again too where they are of ``parts``; what is of none stays as it is.

    >>> said_again("2 of 1,200 stitches", ["{some} of {all} stitches"])
    '2 of 1,200 stitches'
    """
    if language() == "en":
        return text
    for each in marked:
        for form in (each,) if isinstance(each, str) else each:
            found = _pattern(form).fullmatch(text)
            if found is None:
                continue
            values = found.groupdict()
            return _(form).format(**{name: _value_again(value, parts) for name, value in values.items()})
    return text


def _value_again(value: str, parts: Sequence[Marked]) -> str:
    return as_written_here(value) if _NUMBER.fullmatch(value) else said_again(value, parts, parts=parts)


@lru_cache(maxsize=1024)
def _pattern(sentence: str) -> re.Pattern[str]:
    """Return what finds a sentence with anything in its fields."""
    known: set[str] = set()
    written = ""
    for at, part in enumerate(re.split(r"\{(\w+)\}", sentence)):
        if at % 2 == 0:
            written += re.escape(part)
        else:
            written += f"(?P={part})" if part in known else f"(?P<{part}>.+?)"
            known.add(part)
    return re.compile(written, re.DOTALL)


def listed(names: Sequence[str]) -> str:
    """Return names as a sentence lists them; empty where there are none.

    >>> listed(["navy"]), listed(["navy", "gold"]), listed(["navy", "gold", "white"])
    ('navy', 'navy and gold', 'navy, gold and white')
    """
    if len(names) < 2:
        return "".join(names)
    return _("{names} and {last}").format(names=", ".join(names[:-1]), last=names[-1])


def whole(text: str) -> str:
    """Return a figure with its unit, or a day, so that a page breaks no line within it.

    >>> whole("12.0 m")
    '12.0\\xa0m'
    """
    return text.replace(" ", NO_BREAK)

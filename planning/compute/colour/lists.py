"""A colour list as people keep it, one line a stop, read against the shades that are known.

A line may carry a number, a code, a name, a maker or range, and a colour as #rrggbb, in any order, parted by
tabs, commas, semicolons or blanks. What is not understood comes back as a problem with the number of its line.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from inventory.compute.spoken import _

LONGEST_LIST = 20_000  # characters; 200 stops of 100
HEAD_WORDS = frozenset(
    ("no", "nr", "number", "stop", "block", "needle", "code", "shade", "name", "colour", "color", "maker", "range",
     "thread", "hex", "rgb", "description", "chart", "catalogue")
)  # fmt: skip
_NUMBERED = re.compile(
    r"\s*(?:(?:stop|block|needle|colour|color|no|nr|thread)\b[ .:#]*)?(\d{1,3})(\s*[.):,;\t]|\s+[-–—]\s|\s)(?=.*\S)",
    re.IGNORECASE,
)
_CELLS = re.compile(r"[\t,;|]|\s+[-–—]\s+|\s{2,}")
_HEX = re.compile(r"#[0-9a-fA-F]{6}\b")
_QUOTES = "\"'“”„ "


@dataclass(frozen=True)
class CatalogueShade:
    """A shade of the catalogue; ``hex`` is empty where nobody has said what its colour is."""

    id: int
    maker: str
    range: str
    code: str
    name: str
    hex: str
    earlier_codes: tuple[str, ...] = ()

    @property
    def full_code(self) -> str:
        return f"{self.maker} {self.range} {self.code}"

    def __str__(self) -> str:
        return f"{self.full_code} {self.name}".strip()


@dataclass(frozen=True)
class ShadeBook:
    """Known shades by code, earlier code and name, each in lower case."""

    by_code: dict[str, list[CatalogueShade]]
    by_name: dict[str, list[CatalogueShade]]
    by_full_code: dict[str, list[CatalogueShade]]


def shade_book(shades: Iterable[CatalogueShade]) -> ShadeBook:
    """Return ``shades`` ready to be looked up. A code that is in use goes before an earlier code."""
    by_code: dict[str, list[CatalogueShade]] = defaultdict(list)
    by_name: dict[str, list[CatalogueShade]] = defaultdict(list)
    by_full_code: dict[str, list[CatalogueShade]] = defaultdict(list)
    earlier: dict[str, list[CatalogueShade]] = defaultdict(list)
    for shade in shades:
        by_code[_plain(shade.code)].append(shade)
        by_full_code[_plain(shade.full_code)].append(shade)
        for code in shade.earlier_codes:
            earlier[_plain(code)].append(shade)
        if shade.name:
            by_name[_plain(shade.name)].append(shade)
    for code, known in earlier.items():
        taken = {shade.maker for shade in by_code.get(code, ())}
        by_code[code].extend(shade for shade in known if shade.maker not in taken)
    return ShadeBook(dict(by_code), dict(by_name), dict(by_full_code))


@dataclass(frozen=True)
class ListedColour:
    """One line understood: the stop it colours, and a shade or else a colour of its own."""

    line: int
    text: str
    stop: int
    shade: CatalogueShade | None
    hex: str
    name: str
    note: str = ""


@dataclass(frozen=True)
class ListProblem:
    """One line that is not understood, and why."""

    line: int
    text: str
    message: str


@dataclass(frozen=True)
class ReadList:
    colours: tuple[ListedColour, ...] = ()
    problems: tuple[ListProblem, ...] = ()
    # Stops of the design that no line speaks of.
    left_out: tuple[int, ...] = field(default=())


def read_colour_list(text: str, *, book: ShadeBook, stops: int, maker: str = "") -> ReadList:
    """Return what a colour list says of a design with ``stops`` stops; ``maker`` says whose codes they are.

    >>> red = CatalogueShade(1, "Skerry", "Forty", "1147", "harbour red", "#b01c2e")
    >>> read = read_colour_list("1. 1147 Harbour Red\\n2. 9999", book=shade_book([red]), stops=2)
    >>> [(each.stop, each.shade.code) for each in read.colours], [each.line for each in read.problems]
    ([(1, '1147')], [2])
    """
    colours: list[ListedColour] = []
    problems: list[ListProblem] = []
    spoken_of: dict[int, int] = {}
    expected = 1
    for line, raw in enumerate(text[:LONGEST_LIST].splitlines(), start=1):
        written = raw.replace('"', "").strip("\ufeff \t")
        if not written or (not spoken_of and _is_head(written)):
            continue
        stop, rest = _numbered(written, expected=expected, book=book, maker=maker)
        if stop in spoken_of:
            problems.append(
                ListProblem(
                    line,
                    written,
                    _("Stop {stop} has a colour from line {line} already.").format(
                        stop=stop, line=spoken_of[stop]
                    ),
                )
            )
            continue
        expected = stop + 1
        if not 1 <= stop <= stops:
            told = (
                _("There is no stop {stop}: the design has only one stop.")
                if stops == 1
                else _("There is no stop {stop}: the design has {stops} stops.")
            )
            problems.append(ListProblem(line, written, told.format(stop=stop, stops=stops)))
            continue
        spoken_of[stop] = line
        found = _colour_in(rest, line=line, text=written, stop=stop, book=book, maker=maker)
        if isinstance(found, ListedColour):
            colours.append(found)
        else:
            problems.append(found)
    return ReadList(
        tuple(sorted(colours, key=lambda each: each.stop)),
        tuple(problems),
        tuple(stop for stop in range(1, stops + 1) if stop not in spoken_of),
    )


def _numbered(written: str, *, expected: int, book: ShadeBook, maker: str) -> tuple[int, str]:
    """Return the stop that a line is for and the rest of it.

    A number in front counts the stops if a full stop, bracket, comma, tab or the word *stop* says so. With only
    a blank behind it, it may as well be a code: it counts where it is the number expected and is no known code.
    """
    match = _NUMBERED.match(written)
    if match is None:
        return expected, written
    number, mark = int(match[1]), match[2]
    rest = written[match.end() :].strip()
    is_code = bool(_of_maker(book.by_code.get(_plain(match[1]), ()), maker))
    told_so = not written[:1].isdigit() or mark.strip()[:1] in (".", ")", ":")
    if told_so or (number == expected and not is_code):
        return number, rest
    if number == expected and _shades_in(rest, book=book, maker=maker):
        return number, rest
    return expected, written


def _colour_in(
    rest: str, *, line: int, text: str, stop: int, book: ShadeBook, maker: str
) -> ListedColour | ListProblem:
    shades = _shades_in(rest, book=book, maker=maker)
    screen = _HEX.search(rest)
    if len(shades) > 1:
        several = ", ".join(shade.full_code for shade in shades[:4])
        told = (
            _("It could be {shades} and {more} more. Say the maker.")
            if len(shades) > 4
            else _("It could be {shades}. Say the maker.")
        )
        return ListProblem(line, text, told.format(shades=several, more=len(shades) - 4))
    if shades and shades[0].hex:
        return ListedColour(
            line, text, stop, shades[0], shades[0].hex, shades[0].name, _renumbered(rest, shades[0])
        )
    if screen:
        name = " ".join(_cells(rest.replace(screen[0], " ")))
        return ListedColour(line, text, stop, None, screen[0].lower(), name[:120])
    if shades:
        return ListProblem(
            line,
            text,
            _("{shade} is known, but not its colour. Give it one on the shelf.").format(shade=shades[0]),
        )
    told = (
        _("No shade of {maker} is known by {code}. Check the code, or write #rrggbb.")
        if maker
        else _("No shade is known by {code}. Check the code, or write #rrggbb.")
    )
    return ListProblem(line, text, told.format(maker=maker, code=repr(rest.strip(_QUOTES))))


def _shades_in(rest: str, *, book: ShadeBook, maker: str) -> list[CatalogueShade]:
    """Return the shades that a line may mean: by code first, by name where no code fits."""
    plain = _plain(_HEX.sub(" ", rest))
    words = plain.split()
    cells = [_plain(cell) for cell in _cells(rest)]
    runs = [" ".join(words[a:b]) for a in range(len(words)) for b in range(len(words), a, -1) if b - a <= 6]
    for run in runs:
        if run in book.by_full_code:
            return book.by_full_code[run]
    for tables in (book.by_code, book.by_name):
        for piece in dict.fromkeys([*cells, *(words if tables is book.by_code else runs)]):
            found = _of_maker(tables.get(piece, ()), maker)
            if found:
                return _narrowed(found, plain)
    return []


def _narrowed(found: Sequence[CatalogueShade], plain: str) -> list[CatalogueShade]:
    """Return those of several shades whose maker, range or name the line speaks of as well."""
    for tell in (
        lambda shade: _plain(shade.maker) in plain and _plain(shade.range) in plain,
        lambda shade: _plain(shade.maker) in plain,
        lambda shade: _plain(shade.range) in plain,
        lambda shade: bool(shade.name) and _plain(shade.name) in plain,
    ):
        if len(found) > 1:
            found = [shade for shade in found if tell(shade)] or found
    return list(found)


def _of_maker(shades: Iterable[CatalogueShade], maker: str) -> list[CatalogueShade]:
    wanted = _plain(maker)
    return [shade for shade in shades if not wanted or wanted == _plain(shade.maker)]


def _renumbered(rest: str, shade: CatalogueShade) -> str:
    words = {*_plain(rest).split(), *(_plain(cell) for cell in _cells(rest))}
    earlier = next((code for code in shade.earlier_codes if _plain(code) in words), None)
    if earlier is None or _plain(shade.code) in words:
        return ""
    return _("{earlier} is now {code}.").format(earlier=earlier, code=shade.code)


def _is_head(written: str) -> bool:
    words = re.findall(r"[^\W\d_]+", written.lower())
    return bool(words) and not re.search(r"\d|#", written) and HEAD_WORDS.issuperset(words)


def _cells(text: str) -> list[str]:
    return [cell.strip(_QUOTES) for cell in _CELLS.split(text) if cell.strip(_QUOTES)]


def _plain(text: str) -> str:
    """Return text to compare by: lower case, single blanks, no separators at the ends of words.

    >>> _plain('  "Harbour  RED", ')
    'harbour red'
    """
    return " ".join(
        word for raw in re.split(r"[\s,;|]+", text.casefold()) if (word := raw.strip("\"'“”„()[]:"))
    )

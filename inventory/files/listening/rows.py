"""The rows of a person's list as spools, and what of a row has to be asked about."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from inventory.catalogue.in_own_words import USUAL_FULL_MM, SpoolInWords
from inventory.compute.colour.lab import Lab, lab_from_hex
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import AmbiguousNumber, parse_decimal, parse_length, read_scale, told_length
from inventory.compute.names.fullness import Fullness, fullness_of
from inventory.compute.names.plain import colour_of_name, is_colour_word
from inventory.compute.spoken import _
from inventory.compute.units import reader, told_mass
from inventory.compute.weighing import FILL_LEVELS
from inventory.files.listening.meanings import LEFT_OUT, unit_in
from inventory.files.listening.reading import KeptList
from inventory.models import Fibre
from inventory.shelf.receipts import MOST_PRICE

MOST_OF_ONE = 100
_LABEL = re.compile(r"[A-Z0-9][A-Z0-9.-]{0,23}")
_HEX = re.compile(r"#?([0-9a-f]{6}|[0-9a-f]{3})", re.IGNORECASE)
_CHANNELS = re.compile(
    r"(?:rgb)?\(?\s*(\d{1,3})\s*[,; ]\s*(\d{1,3})\s*[,; ]\s*(\d{1,3})\s*\)?", re.IGNORECASE
)
_COUNT = re.compile(
    r"x?\s*(?P<whole>\d{1,3})?(?P<part>[.,]\d{1,2}|\s*½|\s*¼|\s*¾)?\s*(?:x|spools?|cones?|pcs?|pieces)?\.?"
)
# "1147 Harbour red" in one cell.
_CODE_AND_NAME = re.compile(r"(?P<code>[\w-]*\d[\w-]*)[\s,:–-]+(?P<name>.*[^\W\d].*)")
_MONEY = re.compile(r"[^\d]*(?P<number>[\d.,\s]*\d)[^\d]*")
_BARE = re.compile(r"[\d.,\s]+")
_NOT_SAID = {"", "-", "–", "?", "n/a", "na", "unknown", "not known", "none given", "unbekannt", "k. a."}
_FIBRE_WORDS = {fibre.value: fibre for fibre in Fibre} | {
    "poly": Fibre.POLYESTER, "pes": Fibre.POLYESTER, "trilobal": Fibre.POLYESTER, "viscose": Fibre.RAYON,
    "cv": Fibre.RAYON, "co": Fibre.COTTON, "se": Fibre.SILK, "metal": Fibre.METALLIC, "polyamide": Fibre.NYLON,
}  # fmt: skip
_PARTS = {"½": 0.5, "¼": 0.25, "¾": 0.75}


@dataclass(frozen=True)
class Reading:
    """How a list is read: what each column means, and what holds where a row does not say.

    ``unit`` is that of bare numbers for how much is on a spool and how long it is when full: m or yd. A spool of
    which nothing is said looks full where ``unsaid_is_full``, and is otherwise not known.
    """

    meanings: tuple[str, ...]
    unit: str = "m"
    maker: str = ""
    weight_label: str = "40"
    full_mm: int = USUAL_FULL_MM
    unsaid_is_full: bool = False

    def column(self, name: str) -> int | None:
        return self.meanings.index(name) if name in self.meanings else None


@dataclass(frozen=True)
class CellQuestion:
    """A cell that was not understood: its column, what stands there, and what would be."""

    column: int
    text: str
    reason: str


@dataclass
class ListedRow:
    """A row of the list: the spools that it tells of, or what has to be asked about it."""

    number: int
    spools: list[SpoolInWords] = field(default_factory=list)
    place: str = ""
    label: str = ""
    lot: str = ""
    note: str = ""
    price: Decimal | None = None
    asked: list[CellQuestion] = field(default_factory=list)

    @property
    def first(self) -> SpoolInWords:
        return self.spools[0]


def understand(
    kept: KeptList,
    reading: Reading,
    *,
    mended: Mapping[tuple[int, int], str] | None = None,
    left_out: Collection[int] = (),
) -> list[ListedRow]:
    """Return the rows of a list as spools; ``mended`` has cells typed anew, by the row's number and the column."""
    mended = mended or {}
    rows = []
    for number, cells in kept.rows:
        if number in left_out:
            continue
        said = [mended.get((number, column), text).strip() for column, text in enumerate(cells)]
        rows.append(_Row(number, said, kept.headings, reading).read())
    _ask_for_other_labels(rows, reading)
    return rows


def _ask_for_other_labels(rows: Sequence[ListedRow], reading: Reading) -> None:
    column, seen = reading.column("label"), dict[str, int]()
    for row in rows:
        first = seen.setdefault(row.label, row.number) if row.label else row.number
        if first != row.number and column is not None:
            row.asked.append(
                CellQuestion(
                    column, row.label, _("Row {first} has this label code already.").format(first=first)
                )
            )


class _Row:
    """One row while it is read: each question to a cell that is not understood is noted."""

    def __init__(self, number: int, cells: Sequence[str], headings: Sequence[str], reading: Reading) -> None:
        self.cells, self.headings, self.reading = cells, headings, reading
        self.listed = ListedRow(number)

    def text(self, name: str) -> str:
        column = self.reading.column(name)
        text = self.cells[column] if column is not None else ""
        return "" if text.casefold() in _NOT_SAID else text

    def heading(self, name: str) -> str:
        column = self.reading.column(name)
        return self.headings[column] if column is not None else ""

    def ask(self, name: str, reason: str) -> None:
        column = self.reading.column(name)
        if column is None:
            column = next((at for at, each in enumerate(self.reading.meanings) if each != LEFT_OUT), 0)
        if not any(each.column == column for each in self.listed.asked):
            self.listed.asked.append(CellQuestion(column, self.cells[column], reason))

    def read(self) -> ListedRow:
        listed = self.listed
        listed.place, listed.lot, listed.note = (
            self.text("place")[:80],
            self.text("lot")[:40],
            self.text("note")[:200],
        )
        listed.label, listed.price = self.label(), self.price()
        code, name, colour = self.identity()
        count, part = self.count()
        full_mm = self.full_mm()
        said = SpoolInWords(
            maker=(self.text("maker") or self.reading.maker)[:60],
            range_name=self.text("range")[:60],
            code=code[:20],
            name=name[:60],
            colour=colour,
            weight_label=self.weight_label(),
            fibre=self.fibre(),
            **self.how_much(full_mm, part=part),
        )
        listed.spools = [said] * count
        if part is not None:
            listed.spools.append(_as_full_as(said, part, full_mm or self.reading.full_mm))
        if not listed.spools and not listed.asked:
            # None are there: the list says so, and nothing comes onto the shelf.
            return listed
        if listed.label and len(listed.spools) > 1:
            self.ask(
                "label",
                _("One label code cannot be on {count} spools. Leave it out, or make it one.").format(
                    count=len(listed.spools)
                ),
            )
        return listed

    def identity(self) -> tuple[str, str, Lab | None]:
        code, name, written = self.text("code"), self.text("name"), self.text("hex")
        alone = name if not code else "" if name else code
        if parted := _CODE_AND_NAME.fullmatch(alone):
            code, name = parted["code"], parted["name"]
        elif code and not name and not any(each.isdigit() for each in code) and colour_in(code):
            code, name = "", code
        colour = self.screen_colour(written) if written else colour_in(name)
        if not (code or name or colour):
            asks = "code" if self.reading.column("code") is not None else "name"
            self.ask(asks, _("Which thread is it? Type its code, or its colour in a word."))
        return code, name, colour

    def screen_colour(self, written: str) -> Lab | None:
        if _HEX.fullmatch(written):
            figures = written.lstrip("#").casefold()
            return lab_from_hex(
                "#" + (figures if len(figures) == 6 else "".join(2 * each for each in figures))
            )
        channels = _CHANNELS.fullmatch(written)
        if channels and all(int(each) <= 255 for each in channels.groups()):
            return lab_from_hex("#" + "".join(f"{int(each):02x}" for each in channels.groups()))
        found = colour_in(written)
        if found is None:
            self.ask(
                "hex",
                _(
                    "This is no colour. Type a word such as dark blue, six figures such as 1f4e79, or nothing."
                ),
            )
        return found

    def weight_label(self) -> str:
        text = self.text("weight_label")
        if len(text) > 12:
            self.ask("weight_label", _("Type the thickness in a few letters, such as 40 wt, or nothing."))
            return ""
        return text or self.reading.weight_label

    def fibre(self) -> str:
        text = self.text("fibre").casefold().strip(" .")
        bare = re.sub(r"\b\d+\s*%|\bthread\b", " ", text)
        found = _FIBRE_WORDS.get(" ".join(bare.split()))
        if text and found is None:
            self.ask(
                "fibre", _("Which fibre is it? {names}; or nothing.").format(names=", ".join(Fibre.values))
            )
        return found or Fibre.POLYESTER

    def label(self) -> str:
        text = self.text("label").upper()
        if text and not _LABEL.fullmatch(text):
            self.ask(
                "label",
                _("A label code has letters, digits, dots and hyphens only. Type another, or nothing."),
            )
            return ""
        return text

    def price(self) -> Decimal | None:
        text = self.text("price")
        if not text:
            return None
        number = _MONEY.fullmatch(text)
        try:
            price = round(_number(number["number"]) if number else _number(text), 2)
        except WorkshopError:
            self.ask("price", _("Type what one spool cost, such as 6.50, or nothing."))
            return None
        if price > MOST_PRICE:
            self.ask("price", _("That is more than any spool costs. Type it again, or nothing."))
            return None
        return price

    def count(self) -> tuple[int, float | None]:
        """Return how many whole spools there are, and the share that is on one more: 1½ are one and a half one."""
        text = self.text("count").casefold()
        if not text:
            return 1, None
        written = _COUNT.fullmatch(text)
        if not written or not (written["whole"] or written["part"]):
            self.ask("count", _("How many are there? Type a number such as 2."))
            return 1, None
        whole, part = int(written["whole"] or 0), (written["part"] or "").strip()
        if whole > MOST_OF_ONE:
            self.ask(
                "count",
                _("More than {most} of one colour? Type how many spools there are.").format(most=MOST_OF_ONE),
            )
            return 1, None
        share = _PARTS.get(part) or (float("0" + part.replace(",", ".")) if part else 0.0)
        return whole, share or None

    def full_mm(self) -> int | None:
        text = self.text("full")
        if not text:
            return None
        bare = re.sub(r"\b(?:spools?|cones?|king|mini|each)\b", " ", text, flags=re.IGNORECASE).strip()
        try:
            length = self.length(bare, self.heading("full"))
        except WorkshopError:
            self.ask(
                "full",
                _("How long is the thread on a full one? Type it like {example}, or nothing.").format(
                    example=f"1000 {reader().length}"
                ),
            )
            return None
        if not 10_000 <= length <= 50_000_000:
            self.ask(
                "full",
                _("A spool is sold with {least} to {most}. Type the length again, or nothing.").format(
                    least=told_length(10_000, unit=reader().length),
                    most=told_length(50_000_000, unit=reader().length),
                ),
            )
            return None
        return length

    def how_much(self, full_mm: int | None, *, part: float | None) -> dict[str, Any]:
        """Return what the row says of how much is on the spool, as fields of SpoolInWords."""
        text, weighed = self.text("left"), self.text("gross")
        if weighed:
            try:
                return {"gross": read_scale(weighed, unit="g"), "full_mm": full_mm or self.reading.full_mm}
            except WorkshopError:
                example = told_mass(92_500)
                self.ask(
                    "gross",
                    _("What does the scale show? Type it like {example}, or nothing.").format(
                        example=example
                    ),
                )
        if not text:
            unsaid = FILL_LEVELS["full"] if self.reading.unsaid_is_full or part is not None else None
            return {"level": unsaid, "full_mm": full_mm or self.reading.full_mm}
        unit = unit_in(self.heading("left"))
        fullness = fullness_of(f"{text} %" if unit == "%" and _BARE.fullmatch(text) else text)
        if fullness is not None and not (unit in {"m", "yd"} and _BARE.fullmatch(text)):
            return self.looks(fullness, full_mm)
        if re.search(r"\d\s*(?:g|gr|grams?|oz|ounces?)\.?$", text, re.IGNORECASE):
            try:
                return {"gross": read_scale(text, unit="g"), "full_mm": full_mm or self.reading.full_mm}
            except WorkshopError:
                pass
        try:
            return {"length_mm": self.length(text, self.heading("left")), "full_mm": full_mm}
        except WorkshopError:
            self.ask(
                "left",
                _(
                    "How much is on it? full, half, a quarter, nearly empty, 60 %, {example}, or nothing."
                ).format(example=f"640 {reader().length}"),
            )
            return {"full_mm": full_mm or self.reading.full_mm}

    def looks(self, fullness: Fullness, full_mm: int | None) -> dict[str, Any]:
        return {
            "level": None if fullness.is_sealed else fullness.level,
            "is_sealed": fullness.is_sealed,
            "full_mm": full_mm or self.reading.full_mm,
        }

    def length(self, text: str, heading: str) -> int:
        unit = unit_in(heading)
        try:
            return parse_length(text, unit=unit if unit in {"m", "yd"} else self.reading.unit)
        except AmbiguousNumber as problem:
            # No list gives a spool's thread to the millimetre: 1.000 m are a thousand metres.
            grouped = re.sub(r"\d[\d.,]*\d", f"{problem.readings[0]:f}", text, count=1)
            return parse_length(grouped, unit=unit if unit in {"m", "yd"} else self.reading.unit)


def colour_in(name: str) -> Lab | None:
    """Return the colour that a name tells in plain words, those at its end first; None where it tells none.

    >>> colour_in("Harbour dark blue") == colour_in("dark blue"), colour_in("Dory") is None
    (True, True)
    """
    words = [word for word in re.split(r"[^\w]+", name.casefold()) if word]
    for end in range(len(words), 0, -1):
        for start in range(end):
            if is_colour_word(words[end - 1]) and (found := colour_of_name(" ".join(words[start:end]))):
                return found
    return None


def column_words(kept: KeptList, column: int) -> str:
    """Return what a person calls a column: its heading, or its letter where it has none."""
    return kept.headings[column] or _("Column {name}").format(
        name=chr(ord("A") + column) if column < 26 else column + 1
    )


def _as_full_as(said: SpoolInWords, share: float, full_mm: int) -> SpoolInWords:
    judged = fullness_of(f"{share * 100:g} %")
    assert judged is not None  # any share from nothing to all of it is
    return replace(said, full_mm=full_mm, level=judged.level, length_mm=None, gross=None, is_sealed=False)


def _number(text: str) -> Decimal:
    try:
        return parse_decimal(text.strip())
    except AmbiguousNumber as problem:
        return problem.readings[0]

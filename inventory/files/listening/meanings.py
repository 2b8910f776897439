"""What the columns of a person's list may mean, and a guess at it from their headings and what stands under them."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from inventory.compute.names.fullness import fullness_of
from inventory.compute.names.plain import is_colour_word
from inventory.compute.spoken import N_
from inventory.tables.raw import letters_of

LEFT_OUT = ""
# Of the cells under a heading, how many have to look like it before the heading is overruled or done without.
_MOST_OF_THEM = 0.6
_MEASURED = re.compile(
    r"[\d.,\s]+\s*(?:m|mtr?s?|met(?:er|re)s?|yds?|yards?|km|ft|feet|g|gr|grams?|oz|ounces?)\.?", re.IGNORECASE
)
_WEIGHED = re.compile(r"[\d.,\s]+\s*(?:g|gr|grams?|oz|ounces?)\.?", re.IGNORECASE)
_HEX = re.compile(r"#?[0-9a-f]{6}", re.IGNORECASE)
_WEIGHT_LABEL = re.compile(r"(?:no\.?\s*)?\d{2,3}\s*-?\s*(?:wt|weight)\.?", re.IGNORECASE)
_BARE_WEIGHT_LABEL = re.compile(r"(?:12|30|35|40|50|60|75|80|100)")
_COUNT = re.compile(r"x?\s*\d{1,3}(?:[.,]5)?\s*(?:x|spools?|cones?|pcs?|pieces)?", re.IGNORECASE)
_WHOLE_COUNT = re.compile(r"x?\s*[1-9]\d{0,2}\s*(?:x|spools?|cones?|pcs?|pieces)?", re.IGNORECASE)
_CODED = re.compile(r"(?=.*\d)[\w./#-]{1,14}")
_FIBRES = {
    "polyester", "poly", "pes", "rayon", "viscose", "cv", "cotton", "co", "silk", "se", "metallic", "wool", "nylon",
}  # fmt: skip


@dataclass(frozen=True)
class Meaning:
    """What a column says of a spool: its name in addresses, its words, and the headings that people give it."""

    name: str
    words: str
    headings: frozenset[str]
    looks_like: Callable[[str], bool] | None = None


def _meaning(
    name: str, words: str, headings: str, looks_like: Callable[[str], bool] | None = None
) -> Meaning:
    return Meaning(name, words, frozenset(letters_of(each) for each in headings.split(",")), looks_like)


def _is_colour_name(text: str) -> bool:
    return any(is_colour_word(word) for word in text.casefold().split())


def _is_how_much(text: str) -> bool:
    return fullness_of(text) is not None or _MEASURED.fullmatch(text) is not None


MEANINGS: Mapping[str, Meaning] = {
    each.name: each
    for each in (
        _meaning("maker", N_("maker"), "maker,brand,make,manufacturer,company,producer,by,hersteller,marke"),
        _meaning(
            "range", N_("range"), "range,line,collection,series,type,thread,thread type,thread line,product,quality"
        ),
        _meaning(
            "code",
            N_("colour code"),
            "code,colour code,color code,colour no,color no,colour number,color number,colour nr,color nr,col no,"
            "col nr,shade,shade no,shade code,shade number,number,no,nr,num,art,art no,article,article no,item no,ref,"
            "reference,sku,thread no,thread number,farbnummer,farbnr,farb nr,colour id,color id",
            lambda text: _CODED.fullmatch(text) is not None and not _is_how_much(text),
        ),
        _meaning(
            "name",
            N_("name of the colour"),
            "name,colour name,color name,shade name,description,colour,color,col,farbe,farbname,what",
            _is_colour_name,
        ),
        _meaning(
            "hex",
            N_("colour on a screen"),
            "hex,rgb,html,screen,screen colour,hex code,hex colour,hex color,web colour,web color",
            lambda text: _HEX.fullmatch(text) is not None,
        ),
        _meaning(
            "weight_label",
            N_("thickness, such as 40 wt"),
            "weight,wt,weight label,thickness,thread weight,thread wt,gauge,stärke",
            lambda text: _WEIGHT_LABEL.fullmatch(text) is not None,
        ),
        _meaning(
            "fibre",
            N_("fibre"),
            "fibre,fiber,material,composition,content,made of,thread material",
            lambda text: text.casefold() in _FIBRES,
        ),
        _meaning(
            "left",
            N_("how much is on it"),
            "left,remaining,amount,how much,how much left,how full,full,fullness,fill,level,status,state,stock,on hand,"
            "on hand now,estimate,rest,remainder,left on spool,amount left,length left,usage,used,condition",
            _is_how_much,
        ),
        _meaning(
            "gross",
            N_("what it weighs, spool included"),
            "weight g,weight in g,weight grams,grams,gross,gross weight,scale,on the scale,weighs,weighed,gewicht",
            lambda text: _WEIGHED.fullmatch(text) is not None,
        ),
        _meaning(
            "full",
            N_("length when full"),
            "length when full,full length,spool size,put up,putup,size,cone size,length,capacity,per spool,"
            "metres per spool,meters per spool,yards per spool,spool length,original length,full spool",
        ),
        _meaning(
            "count",
            N_("how many such spools"),
            "qty,quantity,count,how many,spools,cones,number of spools,no of spools,pieces,pcs,anzahl,have,owned,own,"
            "number owned,units,in stock",
            lambda text: _COUNT.fullmatch(text) is not None,
        ),
        _meaning("place", N_("where it is kept"), "place,location,where,box,drawer,shelf,bin,rack,storage,lagerort"),
        _meaning(
            "label", N_("label code that is on it"), "label,our code,our label,barcode,tag,own code,id,label code"
        ),
        _meaning("lot", N_("dye lot"), "lot,dye lot,dyelot,batch,charge"),
        _meaning("price", N_("what it cost"), "price,cost,paid,price paid,price each,unit price,preis,value"),
        _meaning("note", N_("a note"), "note,notes,comment,comments,remark,remarks,bemerkung,info"),
    )
}  # fmt: skip
KNOWN_LETTERS = frozenset(heading for meaning in MEANINGS.values() for heading in meaning.headings)
_UNIT_IN_HEADING = re.compile(r"[\[(]([^\])]*)[\])]|\bin (\w+)\b")
_UNIT_WORDS = re.compile(
    r"\b(?:metres?|meters?|mtrs?|yards?|yds?|grams?|percent|kg|m|g|yd)\b|%", re.IGNORECASE
)


def guess_meanings(headings: Sequence[str], cells: Sequence[Sequence[str]]) -> list[str]:
    """Return the meaning of each column by its name, LEFT_OUT for what is not known; no meaning comes twice.

    ``cells`` are, for each column, some of what stands under its heading. A heading is believed unless what stands
    under it plainly is another thing: *weight* is a thickness over "40 wt", and the scale's over "92 g".
    """
    found = [_by_heading(heading) for heading in headings]
    filled = [[text for text in column if text] for column in cells]
    for at, column in enumerate(filled):
        found[at] = _mended(found[at], headings[at], column)
    _keep_one_of_each(found, headings)
    for at, column in enumerate(filled):
        if found[at] == LEFT_OUT:
            found[at] = _by_content(headings[at], column, taken=set(found))
    return found


def unit_in(heading: str) -> str:
    """Return the unit that a heading gives its numbers: m, yd, g, %, or nothing.

    >>> unit_in("Left (yds)"), unit_in("metres left"), unit_in("Amount %"), unit_in("Left")
    ('yd', 'm', '%', '')
    """
    words = _UNIT_WORDS.findall(heading)
    if not words:
        return ""
    word = words[-1].casefold()
    if word in {"%", "percent"}:
        return "%"
    return "yd" if word.startswith("y") else "g" if word.startswith(("g", "kg")) else "m"


def _by_heading(heading: str) -> str:
    bare = _UNIT_IN_HEADING.sub(" ", heading)
    for written in (heading, bare, _UNIT_WORDS.sub(" ", bare)):
        letters = letters_of(written)
        for name, meaning in MEANINGS.items():
            if letters and letters in meaning.headings:
                return name
    unit = unit_in(heading)
    # "metres" over a column says what is left; "metres per spool" was found above.
    return {"m": "left", "yd": "left", "%": "left", "g": "gross"}.get(unit, LEFT_OUT)


def _mended(guess: str, heading: str, column: Sequence[str]) -> str:
    """Return what a column is whose heading may mean several things."""
    if guess == "weight_label" and (_most(column, _WEIGHED.fullmatch) or unit_in(heading) == "g"):
        return "gross"
    if guess == "name" and letters_of(heading) in {"colour", "color", "col", "farbe"}:
        if _most(column, _HEX.fullmatch):
            return "hex"
        if _most(column, _CODED.fullmatch):
            return "code"
    if guess == "code" and letters_of(heading) == "shade" and not _most(column, _CODED.fullmatch):
        return "name"
    if guess in {"full", "count"} and _most(column, fullness_of) and not _most(column, _COUNT.fullmatch):
        return "left"
    if guess == "full" and _most(column, _WEIGHT_LABEL.fullmatch):
        return "weight_label"
    if guess == "range" and _most(column, lambda text: text.casefold() in _FIBRES):
        return "fibre"
    if guess == "range" and _most(column, lambda text: any(each.isdigit() for each in text)):
        return "name"
    if (
        guess == "left"
        and letters_of(heading) in {"stock", "onhand", "amount"}
        and _most(column, _WHOLE_COUNT.fullmatch)
    ):
        return "count"
    return guess


def _keep_one_of_each(found: list[str], headings: Sequence[str]) -> None:
    for name in set(found) - {LEFT_OUT}:
        columns = [at for at, each in enumerate(found) if each == name]
        for at in columns[1:]:
            found[at] = LEFT_OUT


def _by_content(heading: str, column: Sequence[str], *, taken: set[str]) -> str:
    """Guess from the cells alone; of what is told by its look only, the narrowest first."""
    if not column:
        return LEFT_OUT
    for name in ("hex", "fibre", "weight_label", "gross", "left", "name"):
        looks_like = MEANINGS[name].looks_like
        if name not in taken and looks_like is not None and _most(column, looks_like):
            return name
    if heading.strip():
        return LEFT_OUT
    if (
        "weight_label" not in taken
        and _most(column, _BARE_WEIGHT_LABEL.fullmatch)
        and len(set(column)) <= 3 < len(column)
    ):
        return "weight_label"
    if "code" not in taken and _most(column, _CODED.fullmatch) and len(set(column)) > len(column) / 2:
        return "code"
    if "count" not in taken and _most(column, _COUNT.fullmatch):
        return "count"
    if "maker" not in taken and 1 <= len(set(column)) <= max(1, len(column) // 3):
        return "maker"
    return LEFT_OUT


def _most(column: Sequence[str], looks_like: Callable[[str], object]) -> bool:
    return bool(column) and sum(bool(looks_like(each.strip())) for each in column) >= _MOST_OF_THEM * len(
        column
    )

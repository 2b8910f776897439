"""A spool that a person owns, kept from what is written on it and how full it looks: no catalogue comes first."""

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from inventory.acting import whole_act
from inventory.catalogue.records import add_record
from inventory.compute.bobbins import FIBRE_DENSITY_G_CM3, bobbin_capacity
from inventory.compute.colour.lab import Lab, delta_e_00_matrix
from inventory.compute.diameters import Winding, length_from_diameter
from inventory.compute.knowing import sealed_sigma
from inventory.compute.lengths import ScaleReading
from inventory.compute.names.plain import plain_name
from inventory.compute.names.weight_labels import same_weight, thickness_words, weight_of_label
from inventory.compute.typical import USUAL_LABEL, typical_empty_mg, typical_tex
from inventory.compute.weighing import (
    MOISTURE_SIGMA,
    FillLevel,
    length_from_weight,
    length_sigma,
)
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Entry,
    Fibre,
    PutUp,
    Shade,
    Spool,
    StockItem,
    ThreadRange,
)
from inventory.shelf.receipts import Delivery, brought, receive_bobbins, receive_open_spool
from inventory.shelf.weights import TARE_SIGMA, tex_sigma

NO_MAKER = "Maker not known"
# Two that look as alike as this are one colour to whoever names a spool by its colour alone.
SAME_COLOUR = 1.0
MEASURED_WITH = "ruler"
USUAL_FULL_MM = 1_000_000


@dataclass(frozen=True)
class Across:
    """A spool measured across its thread, a full one like it, and the bare core, in mm."""

    thread_mm: float
    full_mm: float
    core_mm: float


@dataclass(frozen=True)
class SpoolInWords:
    """What a person can read off a spool and see of it; empty, or None, where it says nothing.

    How much is on it is told by ``length_mm``, ``gross``, ``across`` or ``level`` (how full it looks), the first that
    is given; ``is_sealed`` says that nobody has opened it. Where ``full_mm``, the length that it was sold with, is
    None, the spool is of no put-up, and how full it looks says nothing.
    """

    maker: str = ""
    code: str = ""
    name: str = ""
    colour: Lab | None = None
    weight_label: str = ""
    fibre: str = Fibre.POLYESTER
    full_mm: int | None = USUAL_FULL_MM
    length_mm: int | None = None
    level: FillLevel | None = None
    is_sealed: bool = False
    gross: ScaleReading | None = None
    empty_mg: int | None = None
    across: Across | None = None
    range_name: str = ""


def shade_on_the_shelf(said: SpoolInWords) -> Shade | None:
    """Return the shade that maker and code name, where a spool of it is on the shelf."""
    shade = _known_shade(said) if said.code.strip() else None
    return shade if shade is not None and shade.spools.filter(retired_at__isnull=True).exists() else None


@whole_act
def own_spool(said: SpoolInWords, *, key: str, at: datetime, by: Any, purpose: str = "needle") -> Spool:
    """Return the spool that ``said`` describes, now on the shelf, with whatever of the catalogue it asks for.

    The tex is what the weight label lets one expect, marked as nominal; without an empty weight a weighing counts on
    a typical one, with its wide error. The same key sent again brings nothing.
    """
    made = list(Entry.objects.filter(key=key).order_by("line"))
    if made:
        return brought(made, Spool)[0]
    shade, put_up = catalogued(said, key=key, at=at, by=by, purpose=purpose)
    length_mm, sigma_mm, known = how_much(said, shade.range, put_up)
    return receive_open_spool(
        shade,
        put_up=put_up,
        length_mm=length_mm,
        sigma_mm=sigma_mm,
        known=known,
        delivery=Delivery(key=key, at=at, by=by),
    )


@whole_act
def catalogued(
    said: SpoolInWords, *, key: str, at: datetime, by: Any, purpose: str = "needle"
) -> tuple[Shade, PutUp | None]:
    """Return the shade and the put-up that ``said`` names, made where the catalogue has none that fits."""
    shade = _known_shade(said) if said.code.strip() else None
    range = shade.range if shade else _range(said, key=key, at=at, by=by, purpose=purpose)
    shade = shade or _shade(said, range, key=key, at=at, by=by)
    if said.full_mm is None:
        return shade, None
    return shade, _put_up(said, range, said.full_mm, key=key, at=at, by=by)


# The two sizes of bobbins that most machines take, in mm: common practice, no source.
BOBBIN_SIZES = {"small": ("L", 20.3, 8.9), "large": ("M", 24.9, 10.7)}
BOBBIN_LABEL = "60"


@whole_act
def own_bobbins(size: str, count: int, *, key: str, at: datetime, by: Any) -> BobbinBatch:
    """Return a batch of full bobbins, small or large, of a thread nobody has named, wound by hand.

    On each is what such a bobbin holds of the thread that is usual in them. The same key sent again brings nothing.
    """
    made = list(Entry.objects.filter(key=key).order_by("line"))
    if made:
        return brought(made, BobbinBatch)[0]
    name, outer_mm, width_mm = BOBBIN_SIZES[size]
    style = BobbinStyle.objects.filter(name__iexact=name).first()
    if style is None:
        style = BobbinStyle(name=name, outer_diameter_mm=outer_mm, width_mm=width_mm)
        add_record(style, at=at, by=by, key=f"{key}:style")
    said = SpoolInWords(name="bobbin thread", weight_label=BOBBIN_LABEL)
    range = _range(said, key=key, at=at, by=by, purpose=ThreadRange.Purpose.BOBBIN)
    shade = range.shades.first() or _shade(said, range, key=key, at=at, by=by)
    holds_mm = bobbin_capacity(style.geometry, tex=range.tex, density_g_cm3=FIBRE_DENSITY_G_CM3[range.fibre])
    delivery = Delivery(key=key, at=at, by=by)
    return receive_bobbins(
        style, shade=shade, length_mm=round(holds_mm), count=count, delivery=delivery, self_wound=True
    )


def how_much(
    said: SpoolInWords, range: ThreadRange, put_up: PutUp | None = None
) -> tuple[int | None, float | None, str]:
    """Return the length on the spool in mm, one sigma of it, and how it is known; None where nothing was said."""
    full_mm = put_up.length_mm if put_up else said.full_mm
    if said.length_mm is not None:
        return said.length_mm, None, StockItem.Known.JUDGED
    if said.gross is not None:
        typical = typical_empty_mg(full_mm or USUAL_FULL_MM)
        tare_mg, tare_sigma = typical.value, typical.sigma
        if said.empty_mg is not None:
            tare_mg, tare_sigma = float(said.empty_mg), 0.0
        elif put_up is not None and put_up.tare_mg is not None:
            tare_mg, tare_sigma = float(put_up.tare_mg), TARE_SIGMA
        # A spool lighter than the guess at its empty weight says that the guess is off, not that it holds nothing.
        gross_mg = float(said.gross.mg)
        if said.empty_mg is None and gross_mg < tare_mg:
            tare_mg = gross_mg
        length_mm = length_from_weight(gross_mg=gross_mg, tare_mg=tare_mg, tex=range.tex)
        sigma_mm = length_sigma(
            gross_mg=gross_mg,
            tare_mg=tare_mg,
            tex=range.tex,
            scale_resolution_mg=said.gross.resolution_mg,
            tare_sigma_mg=tare_sigma * tare_mg,
            tex_relative_sigma=tex_sigma(range),
            moisture_relative_sigma=MOISTURE_SIGMA[range.fibre],
        )
        return *_no_more_than_full(length_mm, sigma_mm, full_mm), StockItem.Known.WEIGHED
    if full_mm is None:
        return None, None, StockItem.Known.UNKNOWN
    if said.across is not None:
        winding = Winding(full_mm, said.across.full_mm, said.across.core_mm)
        length_mm, sigma_mm = length_from_diameter(said.across.thread_mm, winding=winding, tool=MEASURED_WITH)
        return round(length_mm), sigma_mm, StockItem.Known.MEASURED
    if said.is_sealed:
        return full_mm, sealed_sigma(full_mm), StockItem.Known.SEALED
    if said.level is not None:
        return (
            round(said.level.fraction * full_mm),
            said.level.sigma_fraction * full_mm,
            StockItem.Known.JUDGED,
        )
    return None, None, StockItem.Known.UNKNOWN


def _no_more_than_full(length_mm: float, sigma_mm: float, full_mm: int | None) -> tuple[int, float]:
    """Take no more thread for there than the spool was sold with, where tex and empty weight are only guessed."""
    if full_mm is None or length_mm <= full_mm:
        return round(length_mm), sigma_mm
    return full_mm, math.hypot(sigma_mm, length_mm - full_mm)


def _known_shade(said: SpoolInWords) -> Shade | None:
    shades = Shade.objects.by_code(said.code.strip()).filter(
        range__maker__iexact=said.maker.strip() or NO_MAKER, range__purpose=ThreadRange.Purpose.NEEDLE
    )
    found = [
        shade
        for shade in shades.select_related("range")
        if same_weight(shade.range.weight_label, said.weight_label) is not False
        and (not said.range_name.strip() or _same_words(shade.range.name, said.range_name))
    ]
    return found[0] if len(found) == 1 else None


def _range(said: SpoolInWords, *, key: str, at: datetime, by: Any, purpose: str) -> ThreadRange:
    maker = " ".join(said.maker.split()) or NO_MAKER
    label = weight_of_label(said.weight_label) or ""
    of_maker = ThreadRange.objects.filter(maker__iexact=maker, purpose=purpose)
    own_name = " ".join(said.range_name.split())[:60]
    if own_name:
        alike = [each for each in of_maker if _same_words(each.name, own_name)]
    else:
        alike = [
            each
            for each in of_maker.filter(fibre=said.fibre)
            if (weight_of_label(each.weight_label) or "") == label
        ]
    if alike:
        return alike[0]
    words = [thickness_words(label) or "thread", "" if said.fibre == Fibre.POLYESTER else said.fibre]
    words += ["bobbin"] if purpose == ThreadRange.Purpose.BOBBIN else []
    name = own_name or " ".join(filter(None, words))[:60]
    taken = set(ThreadRange.objects.filter(maker__iexact=maker).values_list("name", flat=True))
    range = ThreadRange(
        maker=maker,
        name=_free(name, taken, most=60),
        purpose=purpose,
        fibre=said.fibre,
        tex=typical_tex(label or USUAL_LABEL).value,
        tex_is_nominal=True,
        weight_label=label[:12],
    )
    add_record(range, at=at, by=by, key=f"{key}:range")
    return range


def _shade(said: SpoolInWords, range: ThreadRange, *, key: str, at: datetime, by: Any) -> Shade:
    """Return the shade by its code, or by its colour alone: one that looks the same is the same."""
    code, name = said.code.strip()[:20], " ".join(said.name.split())[:60]
    plain = plain_name(said.colour) if said.colour else ""
    if not code:
        alike = _of_the_same_colour(said, range)
        if alike is not None:
            return alike
    codes = set(range.shades.values_list("code", flat=True))
    code = code if code and code not in codes else _free(code or name or plain or "thread", codes, most=20)
    lab = said.colour
    shade = Shade(
        range=range,
        code=code,
        name=name if name != code else "",
        lab_l=lab.L if lab else None,
        lab_a=lab.a if lab else None,
        lab_b=lab.b if lab else None,
        colour_source=Shade.Source.SCREEN,
    )
    add_record(shade, at=at, by=by, key=f"{key}:shade")
    return shade


def _of_the_same_colour(said: SpoolInWords, range: ThreadRange) -> Shade | None:
    if said.colour is None:
        return None
    known = [(shade, tuple(shade.lab)) for shade in range.shades.all() if shade.lab is not None]
    if not known:
        return None
    apart = delta_e_00_matrix([tuple(said.colour)], [lab for _, lab in known])[0]
    nearest = int(apart.argmin())
    return known[nearest][0] if apart[nearest] <= SAME_COLOUR else None


def _put_up(
    said: SpoolInWords, range: ThreadRange, full_mm: int, *, key: str, at: datetime, by: Any
) -> PutUp:
    found = range.put_ups.filter(length_mm=full_mm).first()
    if found is not None:
        return found
    metres = full_mm / 1000
    put_up = PutUp(
        range=range,
        name=f"{metres:,.0f} m spool",
        length_mm=full_mm,
        tare_mg=said.empty_mg,
    )
    if said.across is not None and said.across.full_mm > said.across.core_mm:
        put_up.full_diameter_mm, put_up.core_diameter_mm = said.across.full_mm, said.across.core_mm
    put_up.name = _free(put_up.name, set(range.put_ups.values_list("name", flat=True)), most=40)
    add_record(put_up, at=at, by=by, key=f"{key}:put-up")
    return put_up


def _same_words(one: str, other: str) -> bool:
    return " ".join(one.casefold().split()) == " ".join(other.casefold().split())


def _free(name: str, taken: set[str], *, most: int) -> str:
    """Return ``name``, with a number where it is taken, in ``most`` characters at most.

    >>> _free("red", {"red", "red 2"}, most=20), _free("a long name", set(), most=6)
    ('red 3', 'a long')
    """
    name = name[:most].strip()
    number, free = 2, name
    used = {each.casefold() for each in taken}
    while free.casefold() in used:
        end = f" {number}"
        free, number = name[: most - len(end)].strip() + end, number + 1
    return free

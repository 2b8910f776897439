"""Linear density of thread and weight per area of cloth, as people type them and from one system to another.

Tex, grams per kilometre, is the measure kept (ISO 1144). Factors: ASTM D2260. A trade label such as "40 wt"
is not one of these systems: threads sold under it differ by nearly a factor of two, so nothing here reads it.
"""

import math
import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import NamedTuple

from inventory.compute.errors import WorkshopError, require_positive
from inventory.compute.lengths import NotWhole, TooLarge, UnknownUnit, parse_decimal
from inventory.compute.spoken import N_, _, as_written_here, figure

DENIER_PER_TEX = 9.0
DTEX_PER_TEX = 10.0
NM_TIMES_TEX = 1000.0
NE_TIMES_TEX = 590.541
TICKET_TIMES_TEX = 3000.0

_LARGEST_TEX = 1000.0
_MOST_PLIES = 12
_SYSTEM_OF: Mapping[str, str] = {
    "tex": "tex", "g/km": "tex",
    "dtex": "dtex", "decitex": "dtex",
    "den": "den", "denier": "den", "d": "den",
    "nm": "Nm",
    "ne": "Ne", "nec": "Ne",
}  # fmt: skip
_NOT_A_DENSITY = frozenset({"wt", "weight", "no"})
# A letter x alone is "times", and no unit.
_WORD = r"(?!x(?![^\W\d_]))[^\W\d_]+(?:/km)?"
_DENSITY = re.compile(
    rf"(?P<before>{_WORD})?\.? ?(?P<number>[0-9][0-9.,]*) ?(?P<unit>{_WORD})?\.?"
    rf"(?: ?[x×/] ?(?P<plies>[0-9]+))? ?(?P<after>{_WORD})?\.?",
    re.IGNORECASE,
)
_AREA_WEIGHT = re.compile(r"(?P<number>[0-9][0-9., ]*?) ?(?P<unit>[^\d., ].*)?")
_GRAMS_PER_M2 = frozenset({"g/m²", "g/m2", "gsm", "g/sqm", "g"})
_OUNCES_PER_YD2 = frozenset({"oz/yd²", "oz/yd2", "oz/sqyd", "osy", "oz"})
_HEAVIEST_G_M2 = 2000.0

_GRAMS_PER_OUNCE = 28.349523125
_SQUARE_METRES_PER_SQUARE_YARD = 0.9144**2


def tex_from_denier(denier: float) -> float:
    """Return tex from denier, the grams in 9,000 m.

    >>> tex_from_denier(216)
    24.0
    """
    return require_positive(denier, what=N_("denier")) / DENIER_PER_TEX


def denier_from_tex(tex: float) -> float:
    """Return denier from tex.

    >>> denier_from_tex(24)
    216.0
    """
    return require_positive(tex, what=N_("linear density in tex")) * DENIER_PER_TEX


def tex_from_dtex(dtex: float) -> float:
    """Return tex from decitex, the grams in 10,000 m.

    >>> tex_from_dtex(240)
    24.0
    """
    return require_positive(dtex, what=N_("decitex")) / DTEX_PER_TEX


def tex_from_nm(nm: float, *, plies: int = 1) -> float:
    """Return the tex of a thread of ``plies`` yarns, each of metric count ``nm`` (metres in a gram).

    >>> tex_from_nm(80, plies=2)
    25.0
    """
    require_positive(nm, what=N_("metric count"))
    return NM_TIMES_TEX * require_positive(plies, what=N_("number of plies")) / nm


def nm_from_tex(tex: float) -> float:
    """Return the metric count of the whole thread from its tex.

    >>> nm_from_tex(25)
    40.0
    """
    return NM_TIMES_TEX / require_positive(tex, what=N_("linear density in tex"))


def tex_from_ne(ne: float, *, plies: int = 1) -> float:
    """Return the tex of a thread of ``plies`` yarns, each of English cotton count ``ne``.

    The count is the number of hanks of 840 yd in a pound.

    >>> round(tex_from_ne(50, plies=2), 3)
    23.622
    """
    require_positive(ne, what=N_("cotton count"))
    return NE_TIMES_TEX * require_positive(plies, what=N_("number of plies")) / ne


def ne_from_tex(tex: float) -> float:
    """Return the English cotton count of the whole thread from its tex.

    >>> round(ne_from_tex(30), 3)
    19.685
    """
    return NE_TIMES_TEX / require_positive(tex, what=N_("linear density in tex"))


def metric_ticket(tex: float) -> float:
    """Return the metric ticket number of a thread: three times the metric count of the whole thread.

    >>> metric_ticket(40)
    75.0
    """
    return TICKET_TIMES_TEX / require_positive(tex, what=N_("linear density in tex"))


def grams_per_m2_from_oz_per_yd2(oz_per_yd2: float) -> float:
    """Return the weight of cloth or stabilizer in g/m² from oz/yd².

    >>> round(grams_per_m2_from_oz_per_yd2(1), 3)
    33.906
    """
    ounces = require_positive(oz_per_yd2, what=N_("weight in oz/yd²"))
    return ounces * _GRAMS_PER_OUNCE / _SQUARE_METRES_PER_SQUARE_YARD


class LinearDensity(NamedTuple):
    """A linear density in ``tex``, and as it was typed where that was in another system, else empty."""

    tex: float
    typed: str = ""


class NotADensity(WorkshopError):
    """The text says no linear density, or one in no system that is read here."""


def read_linear_density(text: str) -> LinearDensity:
    """Return the linear density that a person typed: tex, dtex or denier, Nm or Ne, with plies where they are given.

    A number alone is tex. The plies of 80/2 or 120 den x 2 are counted in. A weight label is refused.

    >>> read_linear_density("27"), read_linear_density("270 dtex"), read_linear_density("120d/2").typed
    (LinearDensity(tex=27.0, typed=''), LinearDensity(tex=27.0, typed='270 dtex'), '120 den x 2')
    >>> read_linear_density("Nm 80/2"), round(read_linear_density("Ne 50/2").tex, 3)
    (LinearDensity(tex=25.0, typed='Nm 80/2'), 23.622)
    """
    typed = " ".join(text.split())
    found = _DENSITY.fullmatch(typed)
    if found is None:
        raise NotADensity(
            _('"{typed}" is no linear density. {like_this}').format(typed=typed[:40], like_this=_(_LIKE_THIS))
        )
    words = [word for word in (found["before"], found["unit"], found["after"]) if word]
    if len(words) > 1:
        raise NotADensity(
            _('"{typed}" names two units. {like_this}').format(typed=typed[:40], like_this=_(_LIKE_THIS))
        )
    if found["plies"] and not words:
        raise NotADensity(
            _("{typed} of what? Type it like Nm {typed}, Ne {typed} or {typed} den.").format(typed=typed)
        )
    system = _system(words[0] if words else "tex", typed)
    number = parse_decimal(found["number"].rstrip(".,"))
    plies = _plies(found["plies"], number, typed)
    tex = _TO_TEX[system](float(number)) * plies
    if tex > _LARGEST_TEX:
        raise TooLarge(
            _("{typed} would be {tex} tex, more than any thread. Check the number and its unit.").format(
                typed=typed, tex=figure(tex)
            )
        )
    return LinearDensity(tex, "" if system == "tex" and plies == 1 else _as_labelled(number, system, plies))


def tex_as_written(tex: float, *, typed: str = "") -> str:
    """Return a tex as text that reads back as the same; as it was ``typed``, while that still says so.

    >>> tex_as_written(27.0), tex_as_written(27.0, typed="270 dtex"), tex_as_written(30.0, typed="270 dtex")
    ('27', '270 dtex', '30')
    """
    if typed and math.isclose(read_linear_density(typed).tex, tex, rel_tol=1e-9):
        return typed
    text = _plain(Decimal(str(tex)))
    # Three decimals would be asked about when typed back.
    return f"{text}0" if len(text.partition(".")[2]) == 3 else text


def in_other_systems(tex: float) -> str:
    """Return a tex in the other systems that a label may use, as people read them.

    >>> in_other_systems(27)
    '270 dtex, 243 den, Nm 37, Ne 21.9, ticket 111'
    """
    return _("{dtex} dtex, {denier} den, Nm {nm}, Ne {ne}, ticket {ticket}").format(
        dtex=figure(tex * DTEX_PER_TEX, grouped=False),
        denier=figure(denier_from_tex(tex), grouped=False),
        nm=as_written_here(f"{nm_from_tex(tex):.3g}"),
        ne=as_written_here(f"{ne_from_tex(tex):.3g}"),
        ticket=figure(metric_ticket(tex), grouped=False),
    )


def read_area_weight(text: str, *, unit: str = "g/m²") -> float:
    """Return in g/m² the weight of cloth or stabilizer that a person typed; a number alone is in ``unit``.

    >>> read_area_weight("50"), read_area_weight("50 gsm"), round(read_area_weight("1.5 oz/yd²"), 1)
    (50.0, 50.0, 50.9)
    """
    typed = " ".join(text.split())
    found = _AREA_WEIGHT.fullmatch(typed)
    if found is None:
        raise NotADensity(
            _('"{typed}" is no weight of cloth. Type it like 50, or 1.5 oz/yd².').format(typed=typed[:40])
        )
    number = float(parse_decimal(found["number"]))
    unit = re.sub(r"[\s.]", "", (found["unit"] or unit).casefold())
    if unit in _OUNCES_PER_YD2:
        weight = grams_per_m2_from_oz_per_yd2(number)
    elif unit in _GRAMS_PER_M2:
        weight = require_positive(number, what=N_("weight in g/m²"))
    else:
        raise UnknownUnit(_('"{unit}" is no weight of cloth. Use g/m² or oz/yd².').format(unit=found["unit"]))
    if weight > _HEAVIEST_G_M2:
        most = f"{figure(_HEAVIEST_G_M2)} g/m²"
        if unit in _OUNCES_PER_YD2:
            most = f"{figure(_HEAVIEST_G_M2 / grams_per_m2_from_oz_per_yd2(1))} oz/yd²"
        raise TooLarge(
            _("{typed} is more than {most}. Check the number and its unit.").format(typed=typed, most=most)
        )
    return weight


_LIKE_THIS = N_("Type it like 27, 270 dtex, 243 den, Nm 80/2 or Ne 50/2.")
_TO_TEX: Mapping[str, Callable[[float], float]] = {
    "tex": lambda tex: require_positive(tex, what=N_("linear density in tex")),
    "dtex": tex_from_dtex,
    "den": tex_from_denier,
    "Nm": tex_from_nm,
    "Ne": tex_from_ne,
}


def _system(word: str, typed: str) -> str:
    system = _SYSTEM_OF.get(word.casefold())
    if system is not None:
        return system
    if word.casefold() in _NOT_A_DENSITY:
        raise NotADensity(
            _(
                '"{typed}" is a weight label: threads sold under one differ by nearly a factor of two. '
                "{like_this}"
            ).format(typed=typed[:40], like_this=_(_LIKE_THIS))
        )
    raise NotADensity(
        _('"{word}" is no unit of linear density. {like_this}').format(
            word=word[:20], like_this=_(_LIKE_THIS)
        )
    )


def _plies(text: str | None, number: Decimal, typed: str) -> int:
    plies = int(text) if text else 1
    if not 1 <= plies <= _MOST_PLIES:
        raise NotWhole(
            _(
                "{typed}: {plies} plies cannot be. Write the count first and then the plies, like Nm 80/2."
            ).format(typed=typed, plies=plies)
        )
    if text and number < plies:
        raise NotADensity(
            _("{typed}: write the count of one ply first and then how many there are, like Nm 80/2.").format(
                typed=typed
            )
        )
    return plies


def _as_labelled(number: Decimal, system: str, plies: int) -> str:
    figure = _plain(number)
    if len(figure.partition(".")[2]) == 3:
        figure += "0"
    if system in ("Nm", "Ne"):
        return f"{system} {figure}/{plies}" if plies > 1 else f"{system} {figure}"
    return f"{figure} {system} x {plies}" if plies > 1 else f"{figure} {system}"


def _plain(number: Decimal) -> str:
    text = f"{number:f}"
    return text.rstrip("0").removesuffix(".") if "." in text else text

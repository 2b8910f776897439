"""Linear density of thread and weight per area of cloth, from one system of units to another.

Tex, grams per kilometre, is the measure kept (ISO 1144). Factors: ASTM D2260. A trade label such as "40 wt"
is not one of these systems: threads sold under it differ by nearly a factor of two, so nothing here reads it.
"""

from inventory.compute.errors import require_positive

DENIER_PER_TEX = 9.0
DTEX_PER_TEX = 10.0
NM_TIMES_TEX = 1000.0
NE_TIMES_TEX = 590.541
TICKET_TIMES_TEX = 3000.0

_GRAMS_PER_OUNCE = 28.349523125
_SQUARE_METRES_PER_SQUARE_YARD = 0.9144**2


def tex_from_denier(denier: float) -> float:
    """Return tex from denier, the grams in 9,000 m.

    >>> tex_from_denier(216)
    24.0
    """
    return require_positive(denier, what="denier") / DENIER_PER_TEX


def denier_from_tex(tex: float) -> float:
    """Return denier from tex.

    >>> denier_from_tex(24)
    216.0
    """
    return require_positive(tex, what="linear density in tex") * DENIER_PER_TEX


def tex_from_dtex(dtex: float) -> float:
    """Return tex from decitex, the grams in 10,000 m.

    >>> tex_from_dtex(240)
    24.0
    """
    return require_positive(dtex, what="decitex") / DTEX_PER_TEX


def tex_from_nm(nm: float, *, plies: int = 1) -> float:
    """Return the tex of a thread of ``plies`` yarns, each of metric count ``nm`` (metres in a gram).

    >>> tex_from_nm(80, plies=2)
    25.0
    """
    require_positive(nm, what="metric count")
    return NM_TIMES_TEX * require_positive(plies, what="number of plies") / nm


def nm_from_tex(tex: float) -> float:
    """Return the metric count of the whole thread from its tex.

    >>> nm_from_tex(25)
    40.0
    """
    return NM_TIMES_TEX / require_positive(tex, what="linear density in tex")


def tex_from_ne(ne: float, *, plies: int = 1) -> float:
    """Return the tex of a thread of ``plies`` yarns, each of English cotton count ``ne``.

    The count is the number of hanks of 840 yd in a pound.

    >>> round(tex_from_ne(50, plies=2), 3)
    23.622
    """
    require_positive(ne, what="cotton count")
    return NE_TIMES_TEX * require_positive(plies, what="number of plies") / ne


def ne_from_tex(tex: float) -> float:
    """Return the English cotton count of the whole thread from its tex.

    >>> round(ne_from_tex(30), 3)
    19.685
    """
    return NE_TIMES_TEX / require_positive(tex, what="linear density in tex")


def metric_ticket(tex: float) -> float:
    """Return the metric ticket number of a thread: three times the metric count of the whole thread.

    >>> metric_ticket(40)
    75.0
    """
    return TICKET_TIMES_TEX / require_positive(tex, what="linear density in tex")


def metric_ticket_from_nm(nm: float, plies: int) -> float:
    """Return the metric ticket number of a thread of ``plies`` yarns, each of metric count ``nm``.

    >>> metric_ticket_from_nm(80, 2)
    120.0
    """
    return metric_ticket(tex_from_nm(nm, plies=plies))


def grams_per_m2_from_oz_per_yd2(oz_per_yd2: float) -> float:
    """Return the weight of cloth or stabilizer in g/m² from oz/yd².

    >>> round(grams_per_m2_from_oz_per_yd2(1), 3)
    33.906
    """
    ounces = require_positive(oz_per_yd2, what="weight in oz/yd²")
    return ounces * _GRAMS_PER_OUNCE / _SQUARE_METRES_PER_SQUARE_YARD

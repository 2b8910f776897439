"""How much spray adhesive a coat takes."""

# What one light coat leaves on a square metre: common practice, no source. Whoever weighs a can knows better.
USUAL_COAT_G_M2 = 20.0


def coat_mg(area_mm2: float, *, coat_g_m2: float | None) -> float:
    """Return the mg of spray that one coat over ``area_mm2`` takes; None reckons with the usual coat.

    One g/m² is a thousandth of a mg on each mm².

    >>> coat_mg(200 * 250, coat_g_m2=20.0)
    1000.0
    """
    return area_mm2 * (USUAL_COAT_G_M2 if coat_g_m2 is None else coat_g_m2) / 1000

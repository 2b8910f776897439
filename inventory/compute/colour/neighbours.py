"""Colours beside a colour, in the words that people use for them."""

from inventory.compute.colour.lab import Lab, hex_from_lab
from inventory.compute.surfaces.gamut import onto_surface_gamut

# Steps that are seen side by side and still leave the colour what it is called: judged by eye, no source.
_LIGHTER, _STRONGER, _GREYER = 12.0, 1.35, 0.6


def colours_beside(lab: Lab) -> dict[str, str]:
    """Return the colours beside ``lab`` by their words, as #rrggbb; each is one that dyed thread can have.

    >>> list(colours_beside(Lab(45.0, 20.0, -40.0)))
    ['lighter', 'darker', 'greyer', 'stronger']
    """
    L, a, b = lab
    steps = {
        "lighter": (min(L + _LIGHTER, 97.0), a, b),
        "darker": (max(L - _LIGHTER, 8.0), a, b),
        "greyer": (L, a * _GREYER, b * _GREYER),
        "stronger": (L, a * _STRONGER, b * _STRONGER),
    }
    found = onto_surface_gamut(list(steps.values()))
    return {
        word: hex_from_lab(Lab(*each))
        for word, each in zip(steps, found.tolist(), strict=True)
        if hex_from_lab(Lab(*each)) != hex_from_lab(lab)
    }

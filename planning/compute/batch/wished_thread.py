"""How the threads of a batch stand for what a file wishes for, and what may be put on where it names no colour."""

from collections.abc import Sequence

import numpy as np

from planning.compute.batch.asked import Shelf
from planning.compute.colour.case import covered_mm
from planning.compute.colour.choice import Choice, ColourRequest, OwnedShade
from planning.compute.colour.rules import Conditions, Floats
from planning.compute.colour.wishes import GivenUp, KnownThread, nearest_thread, what_is_given_up


def known_threads(shelf: Shelf, *, fibre: str | None = None) -> tuple[KnownThread, ...]:
    """Return every thread of the wanted weight and ``fibre`` (None: any) whose colour is known, owned or sold."""
    threads = []
    for shade in (*shelf.shades, *shelf.on_offer):
        offers = shelf.thread_offers.get(shade.id, ())
        called = f"{shade.maker} {shade.range} {shade.code} {shade.name}".strip()
        if shade.lab is not None and fibre in (None, shade.fibre):
            threads.append(KnownThread(shade.id, shade.lab, called, offers[0].supplier if offers else ""))
    return tuple(threads)


def given_up(
    request: ColourRequest,
    choice: Choice,
    known: Sequence[KnownThread],
    *,
    colour_limit: float,
    labs: Floats | None = None,
) -> GivenUp | None:
    """Return how the shade of a choice stands for a wish; None for a demand, and where nothing is owned.

    ``labs`` (n, 3) are the colours of the ``known``, where many wishes are asked for.
    """
    if request.lab is None or request.wished is None or choice.shade is None:
        return None
    return what_is_given_up(
        request.lab,
        owned=next(each for each in known if each.id == choice.shade.id),
        nearest=nearest_thread(request.wished, known, labs=labs),
        known=len(known),
        colour_limit=colour_limit,
    )


def wish_verdict(choice: Choice) -> str:
    """Return whether a thread that stands for a wish is ``near``: a pinned one is, and any that may stand for it."""
    if choice.shade is None:
        return "unknown"
    return "near" if choice.near_enough else "off colour"


def shades_with_enough(
    request: ColourRequest,
    shades: Sequence[OwnedShade],
    conditions: Conditions,
    *,
    fibre: str | None = None,
) -> tuple[OwnedShade, ...]:
    """Return the owned shades of ``fibre`` (None: any) that surely cover a request; its colour is not looked at."""
    usable = [
        shade
        for shade in shades
        if shade.is_known and shade.id not in conditions.excluded and fibre in (None, shade.fibre)
    ]
    medians = np.array([conditions.factor_of(shade).median for shade in usable], dtype=float)
    needed_mm = request.geometry_mm * medians + request.path_mm
    covers_mm = covered_mm(usable, conditions, enough_mm=needed_mm)
    return tuple(
        shade for shade, covers, needed in zip(usable, covers_mm, needed_mm, strict=True) if covers >= needed
    )

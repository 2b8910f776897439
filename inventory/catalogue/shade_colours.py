"""What the colour of a shade is, said by a person, a meter or a photograph; every edit leaves its trace."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from inventory.acting import whole_act
from inventory.compute.colour.readings import KnownColour
from inventory.compute.errors import WorkshopError
from inventory.models import Change, Shade, ThreadRange
from inventory.shelf.things import edit_catalogue


class NoSuchShades(WorkshopError):
    """Codes of a file that the range does not have."""


def set_colour(shade: Shade, colour: KnownColour, *, at: datetime, by: Any, key: str = "") -> Change | None:
    """Return what was noted of the new colour of ``shade``; None where it was so already."""
    lab = colour.lab
    return edit_catalogue(
        shade,
        changes={
            "lab_l": round(lab.L, 4),
            "lab_a": round(lab.a, 4),
            "lab_b": round(lab.b, 4),
            "colour_source": colour.source,
            "colour_sigma": round(colour.sigma, 3),
        },
        at=at,
        by=by,
        key=key,
    )


@whole_act
def set_colours(
    range: ThreadRange, colours: Mapping[str, KnownColour], *, at: datetime, by: Any
) -> list[tuple[Shade, KnownColour, Change | None]]:
    """Return each shade of ``range`` with its new colour, by code; all or none. Raises NoSuchShades."""
    shades = {
        code.casefold(): shade
        for shade in range.shades.prefetch_related("earlier_codes").select_related("range")
        for code in [*(each.code for each in shade.earlier_codes.all()), shade.code]
    }
    missing = [code or _("a row without a code") for code in colours if code.casefold() not in shades]
    if missing:
        said = (
            _(
                "{range} has no shade {codes} and more. Add the shade first, or correct the code; nothing was changed."
            )
            if len(missing) > 8
            else _(
                "{range} has no shade {codes}. Add the shade first, or correct the code; nothing was changed."
            )
        )
        raise NoSuchShades(said.format(range=range, codes=", ".join(missing[:8])))
    return [
        (shades[code.casefold()], colour, set_colour(shades[code.casefold()], colour, at=at, by=by))
        for code, colour in colours.items()
    ]

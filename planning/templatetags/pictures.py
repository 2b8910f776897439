"""Pictures of designs on a page: addresses, size and words in one."""

from collections.abc import Sequence
from dataclasses import dataclass

from django import template
from django.utils.translation import gettext as _
from django.utils.translation import pgettext_lazy

from inventory.compute.spoken import as_written_here
from inventory.compute.units import METRIC, Units
from planning.compute.picture import MOST_WIDTH_PX, STEPS, picture_size, strip_height
from planning.library.pictures import (
    BlockColour,
    Kind,
    picture_address,
    picture_in_words,
    picture_of,
    strip_in_words,
)
from planning.models import Design

register = template.Library()

USUAL_WIDTH_PX = 320
# How closely the steps are pierced; by themselves some of the words mean colours elsewhere.
DENSITY_WORDS = {
    "hardly pierced": pgettext_lazy("a density", "hardly pierced"),
    "open": pgettext_lazy("a density", "open"),
    "light": pgettext_lazy("a density", "light"),
    "medium": pgettext_lazy("a density", "medium"),
    "close": pgettext_lazy("a density", "close"),
    "very close": pgettext_lazy("a density", "very close"),
    "crowded": pgettext_lazy("a density", "crowded"),
}


@dataclass(frozen=True)
class ShownPicture:
    """What a page needs of a picture: its addresses for usual and for fine screens, its size, and its words."""

    address: str
    fine_address: str
    width_px: int
    height_px: int
    words: str


@dataclass(frozen=True)
class LegendStep:
    """A step of the map of density: its colour, the densities that it stands for, and its word."""

    hex: str
    densities: str
    word: str


# What a template leaves out comes as an empty text.


@register.simple_tag
def design_picture(
    design: Design,
    *,
    width: int | str = "",
    colours: Sequence[BlockColour] = (),
    units: Units | str = "",
) -> ShownPicture:
    """Return the design as thread, ``width`` wide on the page, in ``colours`` or those that it asks for."""
    width_px = int(width or USUAL_WIDTH_PX)
    return _shown(
        design,
        kind="picture",
        colours=[each.hex for each in colours] if colours else None,
        size=picture_size(design.width_mm, design.height_mm, width_px=width_px),
        words=picture_in_words(
            design, colours=colours or None, units=units if isinstance(units, Units) else METRIC
        ),
    )


@register.simple_tag
def design_density(design: Design, *, width: int | str = "") -> ShownPicture:
    """Return the map of how closely the design is pierced."""
    width_px = int(width or USUAL_WIDTH_PX)
    return _shown(
        design,
        kind="density",
        size=picture_size(design.width_mm, design.height_mm, width_px=width_px),
        words=_("Map of how closely {name} is pierced: the darker, the closer.").format(name=design.name),
    )


@register.simple_tag
def design_strip(design: Design, *, width: int | str = "") -> ShownPicture:
    """Return the design stitch by stitch along a line."""
    width_px = int(width or 2 * USUAL_WIDTH_PX)
    return _shown(design, kind="strip", size=(width_px, strip_height(width_px)), words=strip_in_words(design))


def _shown(
    design: Design, *, kind: Kind, size: tuple[int, int], words: str, colours: list[str] | None = None
) -> ShownPicture:
    usual, fine = (
        picture_of(design, kind=kind, colours=colours, width_px=min(size[0] * times, MOST_WIDTH_PX))
        for times in (1, 2)
    )
    return ShownPicture(picture_address(design, usual), picture_address(design, fine), *size, words)


@register.simple_tag
def density_legend() -> list[LegendStep]:
    """Return the steps of the map of density in words.

    >>> [(step.densities, step.word) for step in density_legend()[:2]]
    [('under 0.5', 'hardly pierced'), ('0.5 to 1', 'open')]
    """
    bounds = [*(step.from_per_mm2 for step in STEPS[1:]), None]
    legend = []
    for step, below in zip(STEPS, bounds, strict=True):
        start, end = (as_written_here(f"{bound or 0:g}") for bound in (step.from_per_mm2, below))
        if below is None:
            densities = _("{density} and more").format(density=start)
        elif step.from_per_mm2:
            densities = _("{start} to {end}").format(start=start, end=end)
        else:
            densities = _("under {density}").format(density=end)
        legend.append(
            LegendStep("#{:02x}{:02x}{:02x}".format(*step.rgb), densities, str(DENSITY_WORDS[step.words]))
        )
    return legend

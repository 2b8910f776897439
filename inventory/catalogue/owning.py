"""Do I own this? A shade code, a name or a colour, answered from the shelf."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _

from inventory.compute.colour.lab import Lab, parse_colour
from inventory.compute.names.plain import colour_of_name
from inventory.models import Shade, Spool
from inventory.shelf.reads import NearShade, owned_nearest

# Up to these differences (CIEDE2000) a colour that is asked for is owned, or nearly: common practice, no source.
YES, NEARLY = 1.0, 5.0
# More shades than these under one name are no answer: the person has to say more.
MOST_SHADES = 12


@dataclass(frozen=True)
class Kept:
    """Where the spools of a shade are and how much of them is free."""

    spools: int = 0
    free_mm: int = 0
    places: tuple[str, ...] = ()


@dataclass(frozen=True)
class KnownShade:
    """A shade that goes by the code or the name that was asked for, owned or not."""

    shade: Shade
    kept: Kept
    by_earlier_code: bool = False


@dataclass(frozen=True)
class Near:
    """An owned shade near the colour, and where it is kept."""

    near: NearShade
    kept: Kept


@dataclass(frozen=True)
class Owned:
    """The answer: ``very`` are the shades asked for by code or name; ``near`` are owned ones, nearest first.

    ``colour`` is None where nothing is known to be near to: no such shade, or several of different colours.
    """

    very: tuple[KnownShade, ...]
    colour: Lab | None
    near: tuple[Near, ...]
    several_colours: bool = False

    @property
    def closeness(self) -> str:
        """How near the nearest is, as a verdict: yes, nearly, or another colour."""
        if not self.near:
            return "unknown"
        delta_e_00 = self.near[0].near.delta_e_00
        return "enough" if delta_e_00 <= YES else "tight" if delta_e_00 <= NEARLY else "short"

    @property
    def owns_the_very_one(self) -> bool:
        return any(each.kept.spools for each in self.very)


def do_i_own(text: str, *, limit: int = 8) -> Owned:
    """Return what of ``text`` is owned: #rrggbb, lab:L,a,b, the code of a shade (earlier ones too), its name, or plain
    words for a colour.

    A colour word means the colour as well as the shades that have it in their names, and is no part of another word.
    Raises ColourNotUnderstood.
    """
    colour = parse_colour(text)
    shades = [] if colour is not None else _shades_called(" ".join(text.split()))
    named = colour_of_name(text)
    if named is not None:
        shades = [shade for shade in shades if _is_called(shade, text)]
    colours = {shade.lab for shade in shades if shade.lab is not None}
    if colour is None and len(colours) == 1:
        colour = next(iter(colours))
    if colour is None:
        colour = named
    nearest = owned_nearest(colour, limit=limit) if colour is not None else []
    kept = kept_of([*(shade.pk for shade in shades), *(each.shade.pk for each in nearest)])
    very = tuple(
        KnownShade(shade, kept[shade.pk], by_earlier_code=not _says(shade, text)) for shade in shades
    )
    return Owned(
        very=very,
        colour=colour,
        near=tuple(Near(each, kept[each.shade.pk]) for each in nearest),
        several_colours=len(colours) > 1,
    )


def kept_of(shades: Iterable[int]) -> dict[int, Kept]:
    """Return what is kept of each of ``shades`` by its number; of one that is not owned, nothing."""
    rows: dict[int, list[tuple[int, int, str | None]]] = defaultdict(list)
    spools = Spool.objects.on_the_shelf().of_shades(set(shades)).order_by("place__name", "label")
    for shade, on_hand, reserved, place in spools.values_list(
        "shade_id", "on_hand", "reserved", "place__name"
    ):
        rows[shade].append((on_hand, reserved, place))
    kept: dict[int, Kept] = defaultdict(Kept)
    for shade, of_shade in rows.items():
        places = dict.fromkeys(place or _("no place") for _on_hand, _reserved, place in of_shade)
        free_mm = sum(on_hand - reserved for on_hand, reserved, _place in of_shade)
        kept[shade] = Kept(len(of_shade), free_mm, tuple(places))
    return kept


def _shades_called(text: str) -> list[Shade]:
    """Return shades of this code, or else of this very name, or else with all of these words in name and maker."""
    shades = Shade.objects.select_related("range")
    if not text:
        return []
    by_code = list(shades.by_code(text)[:MOST_SHADES])
    if by_code:
        return by_code
    by_name = list(shades.filter(name__iexact=text)[:MOST_SHADES])
    if by_name:
        return by_name
    asked = Q()
    for word in text.split():
        said = Q(name__icontains=word) | Q(code__iexact=word)
        asked &= said | Q(range__maker__icontains=word) | Q(range__name__icontains=word)
    return list(shades.filter(asked)[:MOST_SHADES])


def _is_called(shade: Shade, text: str) -> bool:
    """Return whether the code of a shade is the text, or every word of the text begins a word of its name."""
    if shade.code.casefold() == text.strip().casefold():
        return True
    words = shade.name.casefold().split()
    return all(any(word.startswith(asked) for word in words) for asked in text.casefold().split())


def _says(shade: Shade, text: str) -> bool:
    """Return whether the text says the shade as it is called now, and not only by an earlier code."""
    said = f"{shade.range} {shade.code} {shade.name}".casefold()
    return all(word in said for word in text.casefold().split())

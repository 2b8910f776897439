"""The wall of colour: what thread there is, family by family, each shade as full as its spools are."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, Q, Sum
from django.utils.translation import gettext as _

from inventory.compute.names.plain import basic_hue, plain_names
from inventory.compute.spoken import N_
from inventory.models import Shade, Spool
from inventory.schema.unchanged import while_unchanged

# Families of the basic colours of ISCC-NBS, as a wall is sorted by: what each is called, and what is in it.
FAMILIES = (
    ("reds", N_("Reds"), ("red",)),
    ("pinks", N_("Pinks"), ("pink",)),
    ("oranges", N_("Oranges"), ("orange",)),
    ("yellows", N_("Yellows"), ("yellow",)),
    ("greens", N_("Greens"), ("yellow green", "green", "olive")),
    ("blues", N_("Blues"), ("blue",)),
    ("purples", N_("Purples"), ("purple",)),
    ("browns", N_("Browns"), ("brown",)),
    ("greys", N_("White to black"), ("white", "grey", "black")),
)
NOT_SAID = "not-said"
# So many shades of a family are drawn; its list has all of them.
MOST_DRAWN = 26


@dataclass(frozen=True)
class OnTheWall:
    """A shade that is there: ``full`` is how full its spools are on the whole, None where nobody measured any."""

    shade: int
    hex: str
    spools: int
    full: float | None


@dataclass(frozen=True)
class WallFamily:
    """What there is of one family, from light to dark; ``hex`` is that of the shade in its middle."""

    slug: str
    called: str
    shades: tuple[OnTheWall, ...]

    @property
    def name(self) -> str:
        """What it is called, in the reader's language: the families themselves are kept for all readers."""
        return _(self.called)

    @property
    def hex(self) -> str:
        return self.shades[len(self.shades) // 2].hex if self.shades else ""

    @property
    def drawn(self) -> Sequence[OnTheWall]:
        return self.shades[:MOST_DRAWN]

    @property
    def undrawn(self) -> int:
        return max(0, len(self.shades) - MOST_DRAWN)

    @property
    def spools(self) -> int:
        return sum(each.spools for each in self.shades)


def wall() -> tuple[WallFamily, ...]:
    """Return the families of which thread is on the shelf, worked out once for as long as nothing changes."""
    return while_unchanged("wall of colour", _wall)


def shades_of(slug: str) -> list[int]:
    """Return the shades of one family that are on the shelf."""
    return [each.shade for family in wall() if family.slug == slug for each in family.shades]


def _wall() -> tuple[WallFamily, ...]:
    measured = ~Q(known=Spool.Known.UNKNOWN)
    there = (
        Spool.objects.on_the_shelf()
        .order_by()
        .values_list("shade")
        .annotate(
            spools=Count("pk"),
            left=Sum("on_hand", filter=measured),
            whole=Sum("put_up__length_mm", filter=measured),
        )
    )
    counted = {shade: (spools, left, whole) for shade, spools, left, whole in there}
    rows = [
        row
        for row in Shade.objects.values_list("pk", "lab_l", "lab_a", "lab_b").order_by("-lab_l", "pk")
        if row[0] in counted
    ]
    coloured = [(pk, (L, a, b)) for pk, L, a, b in rows if L is not None and a is not None and b is not None]
    hues = [basic_hue(name) for name in plain_names([lab for _pk, lab in coloured])] if coloured else []
    by_hue: dict[str, list[int]] = defaultdict(list)
    for (pk, _lab), hue in zip(coloured, hues, strict=True):
        by_hue[hue].append(pk)
    shades = Shade.objects.in_bulk(list(counted))

    def drawn(pk: int) -> OnTheWall:
        spools, left, whole = counted[pk]
        full = None if left is None else min(1.0, left / whole) if whole else 0.5
        return OnTheWall(pk, shades[pk].hex, spools, full)

    light_to_dark = {pk: place for place, (pk, _lab) in enumerate(coloured)}
    found = []
    for slug, name, in_it in FAMILIES:
        own = sorted((pk for hue in in_it for pk in by_hue[hue]), key=light_to_dark.__getitem__)
        if own:
            found.append(WallFamily(slug, name, tuple(map(drawn, own))))
    nameless = [row[0] for row in rows if row[0] not in light_to_dark]
    if nameless:
        found.append(WallFamily(NOT_SAID, N_("Colour not said"), tuple(map(drawn, nameless))))
    return tuple(found)

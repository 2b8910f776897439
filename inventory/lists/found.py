"""Lists of what is on the shelf: found by words, narrowed by filters, sorted, a page at a time.

However many things there are, a list asks the database a constant number of questions.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from django.db.models import Count, F, Q, QuerySet
from django.db.models.expressions import OrderBy
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from inventory.compute.colour.lab import Lab, delta_e_00
from inventory.compute.names.plain import is_colour_word
from inventory.compute.spoken import N_
from inventory.lists.wall import shades_of
from inventory.models import Place, Shade, StabilizerProduct, StockItem, ThreadRange
from inventory.shelf.reads import Described, described, described_one_by_one

Kind = StockItem.Kind

# An item is low under a fifth of a full spool, under so many pieces, or under so much of a roll.
LOW_SHARE = 5
LOW_PIECES = 5
LOW_ROLL_MM = 2_000


@dataclass(frozen=True)
class Tab:
    """One list of the shelf: its kinds of things, and the ways from an item to its shade or product."""

    slug: str
    called: str
    kinds: tuple[str, ...]
    shades: tuple[str, ...] = ()
    products: tuple[str, ...] = ()
    # Of what a person sorts by: the columns of the database, by the name of the column on the page.
    sorts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return _(self.called)

    @property
    def has_measured(self) -> bool:
        return any(kind in StockItem.MEASURED_IN_MM for kind in self.kinds)

    @property
    def has_weights(self) -> bool:
        return any(kind in StockItem.WEIGHED_IN_MG for kind in self.kinds)

    @property
    def has_pieces(self) -> bool:
        return any(kind not in StockItem.MEASURED_IN_MM | StockItem.WEIGHED_IN_MG for kind in self.kinds)


COMMON_SORTS = {
    "label": ("label",),
    "left": ("on_hand",),
    "place": ("place__name",),
    "opened": ("opened_on",),
}
THREAD = Tab(
    "thread",
    N_("Thread"),
    (Kind.SPOOL,),
    shades=("spool__shade",),
    sorts=COMMON_SORTS
    | {
        "shade": ("spool__shade__range__maker", "spool__shade__range__name", "spool__shade__code"),
        "lot": ("lot",),
    },
)
BOBBINS = Tab(
    "bobbins",
    N_("Bobbins"),
    (Kind.BOBBINS, Kind.PART_BOBBIN),
    shades=("bobbinbatch__shade", "partbobbin__shade"),
    sorts=COMMON_SORTS,
)
STABILIZER = Tab(
    "stabilizer",
    N_("Stabilizer"),
    (Kind.ROLL, Kind.SHEETS, Kind.OFFCUT),
    products=("stabilizerroll__product", "sheetpack__product", "offcut__product"),
    sorts=COMMON_SORTS,
)
NEEDLES = Tab("needles", N_("Needles"), (Kind.NEEDLES,), sorts=COMMON_SORTS | {"size": ("needlepack__size",)})
SPRAYS = Tab("sprays", N_("Spray"), (Kind.CAN,), products=("spraycan__product",), sorts=COMMON_SORTS)
TABS: Mapping[str, Tab] = {tab.slug: tab for tab in (THREAD, BOBBINS, STABILIZER, NEEDLES, SPRAYS)}


@dataclass(frozen=True)
class ShelfSearch:
    """What a person looks for; what is empty asks nothing. ``sort`` is a column, with - before it to turn it."""

    text: str = ""
    maker: str = ""
    weight_label: str = ""
    fibre: str = ""
    kind: str = ""
    near: Lab | None = None
    family: str = ""
    place: Place | None = None
    low: bool = False
    opened: bool = False
    sort: str = ""


@dataclass(frozen=True)
class Listed:
    """One row: the thing and, where a colour was asked for, how far its shade is from it."""

    thing: Described
    delta_e_00: float | None = None


@dataclass(frozen=True)
class FoundThings:
    """The things of a tab that answer what is wanted; sliced, it reads the rows."""

    items: QuerySet[StockItem]
    tab: Tab
    near: Lab | None

    def count(self) -> int:
        return self.items.count()

    def __len__(self) -> int:
        return self.count()

    def __getitem__(self, part: slice) -> list[Listed]:
        if self.near is None:
            return _read(self.items.values_list("pk", "kind")[part])
        return self._nearest(self.near, part)

    def one_by_one(self) -> Iterator[Listed]:
        """Yield every row as it is read, so that a list of any length takes little memory, in one question."""
        if self.near is not None:
            yield from self._nearest(self.near, slice(None))
            return
        for thing in described_one_by_one(self.items, kinds=self.tab.kinds):
            yield Listed(thing)

    def _nearest(self, near: Lab, part: slice) -> list[Listed]:
        """Return the rows of ``part`` with the nearest shade first; things of no known colour are left out."""
        of_shade = Coalesce(*self.tab.shades) if len(self.tab.shades) > 1 else F(self.tab.shades[0])
        by_shade = self.items.order_by().annotate(of_shade=of_shade).values_list("of_shade")
        counted = dict(by_shade.annotate(number=Count("pk")))
        distances = _distances(near, counted)
        ranked = sorted(counted.keys() & distances.keys(), key=lambda shade: (distances[shade], shade))
        wanted, passed = [], 0
        start, stop = part.start or 0, part.stop if part.stop is not None else sum(counted.values())
        skipped = 0
        for shade in ranked:
            if passed + counted[shade] <= start:
                skipped += counted[shade]
            elif passed < stop:
                wanted.append(shade)
            passed += counted[shade]
        found = (
            self.items.order_by("label").filter(_any_of(self.tab.shades, wanted)).annotate(of_shade=of_shade)
        )
        rows = sorted(
            found.values_list("of_shade", "pk", "kind"), key=lambda row: (distances[row[0]], row[0])
        )
        page = rows[start - skipped : stop - skipped]
        listed = _read([(pk, kind) for _shade, pk, kind in page])
        return [
            Listed(row.thing, distances[shade]) for row, (shade, _pk, _kind) in zip(listed, page, strict=True)
        ]


def shelf(tab: Tab, wanted: ShelfSearch) -> FoundThings:
    """Return the list of ``tab`` that answers ``wanted``."""
    items = StockItem.objects.on_the_shelf().filter(
        kind__in=[wanted.kind] if wanted.kind in tab.kinds else tab.kinds
    )
    if wanted.text.strip():
        for word in wanted.text.split():
            items = items.filter(_says(tab, word))
    if tab.shades and (wanted.maker or wanted.weight_label or wanted.fibre):
        asked = {"maker": wanted.maker, "weight_label": wanted.weight_label, "fibre": wanted.fibre}
        ranges = ThreadRange.objects.filter(**{name: value for name, value in asked.items() if value})
        items = items.filter(_any_of([f"{path}__range" for path in tab.shades], ranges))
    elif tab.products and wanted.maker:
        products = StabilizerProduct.objects.filter(maker=wanted.maker)
        items = items.filter(_any_of(tab.products, products))
    if tab.shades and wanted.family:
        items = items.filter(_any_of(tab.shades, shades_of(wanted.family)))
    if wanted.place is not None:
        items = items.filter(place=wanted.place)
    if wanted.opened:
        items = items.filter(opened_on__isnull=False)
    if wanted.low:
        items = items.filter(_is_low())
    near = wanted.near if tab.shades else None
    if near is not None:
        items = items.filter(_coloured(tab.shades))
    return FoundThings(items.order_by(*_order(tab, wanted.sort)), tab, near)


def makers(tab: Tab) -> list[str]:
    """Return the makers that a person can filter the list of ``tab`` by."""
    model = ThreadRange if tab.shades else StabilizerProduct
    if not (tab.shades or tab.products):
        return []
    return list(model.objects.order_by("maker").values_list("maker", flat=True).distinct())


def weight_labels() -> list[str]:
    """Return the weight labels of the ranges that are known."""
    labels = ThreadRange.objects.exclude(weight_label="").order_by("weight_label")
    return list(labels.values_list("weight_label", flat=True).distinct())


def _read(rows: Sequence[tuple[int, str]] | QuerySet[StockItem, tuple[int, str]]) -> list[Listed]:
    """Return rows in their order, with one question to the database for each kind among them."""
    ordered = list(rows)
    found: dict[int, Described] = {}
    for kind in dict.fromkeys(kind for _pk, kind in ordered):
        things = described([pk for pk, of_kind in ordered if of_kind == kind], kind=kind)
        found |= {thing.item.pk: thing for thing in things}
    return [Listed(found[pk]) for pk, _kind in ordered if pk in found]


def _says(tab: Tab, word: str) -> Q:
    """Items whose label, lot, note, shade or product says ``word``; of a shade, earlier codes and plain name too."""
    said = Q(label__icontains=word) | Q(lot__icontains=word) | Q(note__icontains=word)
    if tab.shades:
        shades = Shade.objects.filter(
            Q(code__icontains=word)
            | Q(name__icontains=word)
            | Q(range__maker__icontains=word)
            | Q(range__name__icontains=word)
            | Q(earlier_codes__code__icontains=word)
        )
        said |= _any_of(tab.shades, shades.values("pk"))
        if is_colour_word(word):
            said |= _any_of(tab.shades, Shade.objects.called_in_plain_words(word).values("pk"))
    if tab.products:
        products = StabilizerProduct.objects.filter(
            Q(maker__icontains=word) | Q(name__icontains=word) | Q(kind__icontains=word)
        )
        said |= _any_of(tab.products, products.values("pk"))
    if Kind.NEEDLES in tab.kinds:
        said |= Q(needlepack__system__icontains=word) | Q(needlepack__point__icontains=word)
        said |= Q(needlepack__size=int(word)) if word.isdecimal() and len(word) < 6 else Q()
    return said


def _any_of(paths: Sequence[str], these: object) -> Q:
    """Items that lead to one of ``these`` by any of ``paths``."""
    asked = Q()
    for path in paths:
        asked |= Q(**{f"{path}__in": these})
    return asked


def _coloured(paths: Sequence[str]) -> Q:
    return _any_of(paths, Shade.objects.filter(lab_l__isnull=False, lab_a__isnull=False, lab_b__isnull=False))


def _is_low() -> Q:
    free = F("on_hand") - F("reserved")
    spools = Q(kind=Kind.SPOOL, spool__put_up__length_mm__gt=free * LOW_SHARE)
    rolls = Q(kind=Kind.ROLL, on_hand__lt=F("reserved") + LOW_ROLL_MM)
    pieces = Q(kind__in=[Kind.BOBBINS, Kind.SHEETS, Kind.NEEDLES], on_hand__lt=F("reserved") + LOW_PIECES)
    cans = Q(kind=Kind.CAN, spraycan__full_mg__gt=free * LOW_SHARE)
    return (spools | rolls | pieces | cans) & ~Q(known=StockItem.Known.UNKNOWN)


def _order(tab: Tab, sort: str) -> list[str | OrderBy]:
    column = sort.removeprefix("-")
    if column not in tab.sorts:
        return ["label"]
    turned = sort.startswith("-")
    # What has no place or was never opened comes last, whichever way the list runs.
    order = [
        F(name).desc(nulls_last=True) if turned else F(name).asc(nulls_last=True)
        for name in tab.sorts[column]
    ]
    return [*order, *([] if column == "label" else ["label"])]


def _distances(near: Lab, shades: Mapping[int, int]) -> dict[int, float]:
    """Return ΔE00 from ``near`` of each of ``shades`` that has a known colour."""
    known = Shade.objects.filter(lab_l__isnull=False, lab_a__isnull=False, lab_b__isnull=False)
    rows = [row for row in known.values_list("pk", "lab_l", "lab_a", "lab_b") if row[0] in shades]
    if not rows:
        return {}
    colours = np.array([row[1:] for row in rows], dtype=float)
    return dict(zip((row[0] for row in rows), delta_e_00(tuple(near), colours).tolist(), strict=True))

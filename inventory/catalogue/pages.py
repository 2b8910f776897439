"""The pages of the catalogue: what each lists, in which columns, and how its records are looked for."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Model, Q, QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.catalogue.forms import (
    BobbinOfferForm,
    BobbinStyleForm,
    CanOfferForm,
    PlaceForm,
    PriceBreakForm,
    PutUpForm,
    RangeForm,
    RecordForm,
    RollOfferForm,
    ShadeForm,
    StabilizerForm,
    StapleBobbinForm,
    StapleCanForm,
    StapleRollForm,
    StapleThreadForm,
    SupplierForm,
    ThreadOfferForm,
)
from inventory.compute.lengths import format_length, format_weight
from inventory.compute.spoken import figure
from inventory.compute.units import Units, side_number, told_area_weight
from inventory.models import (
    BobbinStyle,
    Offer,
    Place,
    PriceBreak,
    PutUp,
    Shade,
    StabilizerProduct,
    Staple,
    Supplier,
    ThreadRange,
)

# Said where somebody reads it, in the reader's language.
Words = str | Promise


@dataclass(frozen=True)
class RecordColumn:
    """A column: its head with the unit, what stands in it, whether of numbers, and whether a card goes without it."""

    head: Callable[[Units], str]
    cell: Callable[[Any, Units], Any]
    is_number: bool = False
    is_detail: bool = False


@dataclass(frozen=True)
class Book:
    """One list of the catalogue. ``parents`` are filters of its address: the field and the book it leads to."""

    slug: str
    name: Words
    one: Words
    what_for: Words
    model: type[Model]
    form: type[RecordForm]
    columns: Sequence[RecordColumn]
    words: Sequence[str]
    related: Sequence[str] = ()
    only: Q = field(default_factory=Q)
    order: Sequence[str] = ()
    parents: Sequence[str] = ()
    # Books that list what belongs to a record of this one: slug and field.
    children: Sequence[tuple[str, str]] = ()

    @property
    def add(self) -> str:
        """What is written on the way to a new record."""
        said = _("Add an {record}") if self.slug.endswith("-offers") else _("Add a {record}")
        return said.format(record=self.one)

    @property
    def adding(self) -> str:
        return _("Add: {record}").format(record=self.one)

    @property
    def new(self) -> str:
        return _("New {record}").format(record=self.one)

    def records(self) -> QuerySet[Any]:
        found = self.model._default_manager.filter(self.only).select_related(*self.related)
        return found.order_by(*self.order) if self.order else found

    def looked_for(self, text: str) -> QuerySet[Any]:
        found = self.records()
        for word in text.split():
            said = Q()
            for name in self.words:
                said |= Q(**{f"{name}__icontains": word})
            found = found.filter(said)
        return found.distinct() if text else found


def _text(head: Words, cell: Callable[[Any], Any]) -> RecordColumn:
    return RecordColumn(lambda units: str(head), lambda record, units: cell(record))


def _plain(head: Words, cell: Callable[[Any], Any]) -> RecordColumn:
    return RecordColumn(lambda units: str(head), lambda record, units: cell(record), is_number=True)


def _measured(head: Words, cell: Callable[[Any], Any]) -> RecordColumn:
    return RecordColumn(lambda units: str(head), lambda record, units: cell(record), True, is_detail=True)


def _length(head: Words, cell: Callable[[Any], int | None]) -> RecordColumn:
    return RecordColumn(
        lambda units: f"{head}, {units.length}",
        lambda record, units: _number(cell(record), units.length),
        True,
    )


def _size(head: Words, cell: Callable[[Any], int | None]) -> RecordColumn:
    return RecordColumn(
        lambda units: f"{head}, {units.size}", lambda record, units: _number(cell(record), units.size), True
    )


def _weight(head: Words, cell: Callable[[Any], int | None]) -> RecordColumn:
    def shown(record: Any, units: Units) -> str:
        mg = cell(record)
        return "–" if mg is None else format_weight(mg, unit=units.weight).partition(" ")[0]

    return RecordColumn(lambda units: f"{head}, {units.weight}", shown, True)


def _across(head: Words, cell: Callable[[Any], float]) -> RecordColumn:
    return RecordColumn(
        lambda units: f"{head}, {units.across}", lambda record, units: side_number(cell(record)), True
    )


def _area_weight(head: Words, cell: Callable[[Any], float | None]) -> RecordColumn:
    def shown(record: Any, units: Units) -> str:
        g_m2 = cell(record)
        return "–" if g_m2 is None else told_area_weight(g_m2).partition(" ")[0]

    return RecordColumn(lambda units: f"{head}, {units.area_weight}", shown, True)


def _number(mm: int | None, unit: str) -> str:
    return "–" if mm is None else format_length(mm, unit=unit).partition(" ")[0]


_PRICES = (
    _plain(_("Pack"), lambda offer: offer.pack),
    _plain(_("Price"), lambda offer: figure(offer.price, 2)),
    _text(_("Seen"), lambda offer: offer.seen_on),
)

BOOKS: dict[str, Book] = {
    book.slug: book
    for book in (
        Book(
            "ranges", _("Thread ranges"), _("range"),
            _("A maker's threads of one construction: fibre and tex."),
            ThreadRange, RangeForm,
            (
                _text(_("Range"), str), _text(_("Purpose"), lambda each: each.get_purpose_display()),
                _text(_("Fibre"), lambda each: each.get_fibre_display()),
                _text(_("Weight"), lambda each: each.weight_label or "–"),
                _plain(_("Tex"), lambda each: figure(each.tex, 1, grouped=False)),
                _text(_("As typed"), lambda each: each.tex_as_written),
                _text(_("Known"), lambda each: _("nominal") if each.tex_is_nominal else _("stated")),
            ),
            words=("maker", "name"), children=(("shades", "range"), ("put-ups", "range")),
        ),
        Book(
            "shades", _("Shades"), _("shade"),
            _("Colours of a range, with their codes, earlier codes and Lab values."),
            Shade, ShadeForm,
            (
                _text(_("Shade"), lambda each: each), _text(_("Code"), lambda each: each.code),
                _text(_("Earlier"), lambda each: ", ".join(code.code for code in each.earlier_codes.all()) or "–"),
                _measured("L", lambda each: "–" if each.lab_l is None else figure(each.lab_l, 1)),
                _measured("a", lambda each: "–" if each.lab_a is None else figure(each.lab_a, 1).replace("-", "−")),
                _measured("b", lambda each: "–" if each.lab_b is None else figure(each.lab_b, 1).replace("-", "−")),
                _text(_("Source"), lambda each: each.get_colour_source_display() if each.lab else "–"),
                _measured(_("Off by, ΔE"), lambda each: figure(each.sigma, 1) if each.lab else "–"),
            ),
            words=("code", "name", "earlier_codes__code", "range__maker", "range__name"), related=("range",),
            order=("range__maker", "range__name", "code"), parents=("range",),
        ),
        Book(
            "put-ups", _("Put-ups"), _("put-up"),
            _("How a range is sold: length when full, and the weight of the empty spool."),
            PutUp, PutUpForm,
            (
                _text(_("Put-up"), str), _text(_("Range"), lambda each: each.range),
                _length(_("Length"), lambda each: each.length_mm), _weight(_("Empty"), lambda each: each.tare_mg),
            ),
            words=("name", "range__maker", "range__name"), related=("range",),
            order=("range__maker", "range__name", "length_mm"), parents=("range",),
        ),
        Book(
            "bobbin-styles", _("Bobbin styles"), _("bobbin style"),
            _("Sizes of bobbins; they decide how much goes on one."),
            BobbinStyle, BobbinStyleForm,
            (
                _text(_("Style"), str), _across(_("Diameter"), lambda each: each.outer_diameter_mm),
                _across(_("Width"), lambda each: each.width_mm),
                _across(_("Core"), lambda each: each.core_diameter_mm),
            ),
            words=("name",),
        ),
        Book(
            "stabilizers", _("Stabilizers"), _("stabilizer"),
            _("And film, adhesive, foam, fabric: kind and weight."),
            StabilizerProduct, StabilizerForm,
            (
                _text(_("Product"), str), _text(_("Kind"), lambda each: each.get_kind_display()),
                _area_weight(pgettext_lazy("of stabilizer", "Weight"), lambda each: each.weight_g_m2),
                _text(_("Holds by"), lambda each: _(each.holds_by) if each.holds_by else "–"),
                _text(_("Grain"), lambda each: _("matters") if each.has_grain else _("no")),
            ),
            words=("maker", "name", "kind"),
        ),
        Book(
            "places", _("Places"), _("place"),
            _("Walls, racks, drawers and boxes, by the names people use."),
            Place, PlaceForm, (_text(_("Place"), str), _text(_("Note"), lambda each: each.note or "–")),
            words=("name", "note"),
        ),
        Book(
            "suppliers", _("Suppliers"), _("supplier"),
            _("Who sells, how long it takes, what shipping costs."),
            Supplier, SupplierForm,
            (
                _text(_("Supplier"), str), _plain(_("Days"), lambda each: each.lead_time_days),
                _plain(_("Shipping"), lambda each: figure(each.shipping, 2)),
                _plain(
                    _("Free from"), lambda e: "–" if e.free_shipping_from is None else figure(e.free_shipping_from, 2)
                ),
            ),
            words=("name",),
            children=(("thread-offers", "supplier"), ("bobbin-offers", "supplier"), ("roll-offers", "supplier"),
                      ("can-offers", "supplier")),
        ),
        Book(
            "thread-offers", _("Offers of thread"), _("offer of thread"),
            _("Prices of put-ups, for every shade or for one."),
            Offer, ThreadOfferForm,
            (
                _text(_("Put-up"), lambda each: f"{each.put_up.range}, {each.put_up}"),
                _text(_("Shade"), lambda each: each.shade or _("every shade")),
                _text(_("From"), lambda each: each.supplier),
                *_PRICES,
            ),
            words=("put_up__range__maker", "put_up__range__name", "put_up__name", "supplier__name"),
            related=("put_up__range", "shade__range", "supplier"), only=Q(put_up__isnull=False), parents=("supplier",),
            children=(("price-steps", "offer"),),
        ),
        Book(
            "bobbin-offers", _("Offers of bobbins"), _("offer of bobbins"),
            _("Prices of boxes of full bobbins."),
            Offer, BobbinOfferForm,
            (
                _text(_("Bobbin"), lambda each: f"{each.bobbin_style}, {each.shade}"),
                _length(_("On each"), lambda each: each.bobbin_length_mm),
                _text(_("From"), lambda each: each.supplier),
                *_PRICES,
            ),
            words=("bobbin_style__name", "shade__code", "shade__name", "supplier__name"),
            related=("bobbin_style", "shade__range", "supplier"), only=Q(bobbin_style__isnull=False),
            parents=("supplier",), children=(("price-steps", "offer"),),
        ),
        Book(
            "roll-offers", _("Offers of stabilizer"), _("offer of stabilizer"),
            _("Prices of rolls."),
            Offer, RollOfferForm,
            (
                _text(_("Product"), lambda each: each.product), _size(_("Width"), lambda each: each.roll_width_mm),
                _length(_("Length"), lambda each: each.roll_length_mm), _text(_("From"), lambda each: each.supplier),
                *_PRICES,
            ),
            words=("product__maker", "product__name", "supplier__name"), related=("product", "supplier"),
            only=Q(product__isnull=False, can_mg__isnull=True), parents=("supplier",),
            children=(("price-steps", "offer"),),
        ),
        Book(
            "can-offers", _("Offers of spray"), _("offer of spray"),
            _("Prices of cans."),
            Offer, CanOfferForm,
            (
                _text(_("Product"), lambda each: each.product), _weight(_("In each"), lambda each: each.can_mg),
                _text(_("From"), lambda each: each.supplier), *_PRICES,
            ),
            words=("product__maker", "product__name", "supplier__name"), related=("product", "supplier"),
            only=Q(can_mg__isnull=False), parents=("supplier",), children=(("price-steps", "offer"),),
        ),
        Book(
            "price-steps", _("Price steps"), _("price step"),
            _("What a pack costs from so many packs on."),
            PriceBreak, PriceBreakForm,
            (
                _text(_("Offer"), lambda each: each.offer), _plain(_("From packs"), lambda each: each.from_packs),
                _plain(_("Price a pack"), lambda each: figure(each.price, 2)),
            ),
            words=("offer__supplier__name", "offer__put_up__name", "offer__product__name", "offer__bobbin_style__name"),
            related=("offer__supplier", "offer__put_up", "offer__product", "offer__bobbin_style"), parents=("offer",),
        ),
        Book(
            "staple-threads", _("Staple threads"), _("staple thread"),
            _("Shades that are to be there whatever the jobs want."),
            Staple, StapleThreadForm,
            (_text(_("Shade"), lambda each: each.shade), _length(_("At least"), lambda each: each.minimum)),
            words=("shade__code", "shade__name", "shade__range__name"), related=("shade__range",),
            only=Q(shade__isnull=False, bobbin_style__isnull=True),
        ),
        Book(
            "staple-bobbins", _("Staple bobbins"), _("staple bobbin"),
            _("Full bobbins that are to be there at any time."),
            Staple, StapleBobbinForm,
            (
                _text(_("Bobbin"), lambda each: f"{each.bobbin_style}, {each.shade}"),
                _plain(_("At least"), lambda each: figure(each.minimum)),
            ),
            words=("shade__code", "shade__name", "bobbin_style__name"), related=("shade__range", "bobbin_style"),
            only=Q(bobbin_style__isnull=False),
        ),
        Book(
            "staple-rolls", _("Staple stabilizers"), _("staple stabilizer"),
            _("Stabilizer that is to be there at any time."),
            Staple, StapleRollForm,
            (_text(_("Stabilizer"), lambda each: each.product), _length(_("At least"), lambda each: each.minimum)),
            words=("product__maker", "product__name"), related=("product",),
            only=Q(product__isnull=False) & ~Q(product__kind=StabilizerProduct.Kind.SPRAY),
        ),
        Book(
            "staple-cans", _("Staple sprays"), _("staple spray"),
            _("Spray that is to be there at any time."),
            Staple, StapleCanForm,
            (_text(_("Spray"), lambda each: each.product), _weight(_("At least"), lambda each: each.minimum)),
            words=("product__maker", "product__name"), related=("product",),
            only=Q(product__kind=StabilizerProduct.Kind.SPRAY),
        ),
    )
}  # fmt: skip

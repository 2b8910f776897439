"""The pages of the catalogue: what each lists, in which columns, and how its records are looked for."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Model, Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

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
from inventory.compute.units import Units
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


@dataclass(frozen=True)
class RecordColumn:
    """A column: its head with the unit, what stands in it, and whether it is one of numbers."""

    head: Callable[[Units], str]
    cell: Callable[[Any, Units], Any]
    is_number: bool = False


@dataclass(frozen=True)
class Book:
    """One list of the catalogue. ``parents`` are filters of its address: the field and the book it leads to."""

    slug: str
    name: str
    one: str
    what_for: str
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


def _text(head: str, cell: Callable[[Any], Any]) -> RecordColumn:
    return RecordColumn(lambda units: head, lambda record, units: cell(record))


def _plain(head: str, cell: Callable[[Any], Any]) -> RecordColumn:
    return RecordColumn(lambda units: head, lambda record, units: cell(record), is_number=True)


def _length(head: str, cell: Callable[[Any], int | None]) -> RecordColumn:
    return RecordColumn(
        lambda units: f"{head}, {units.length}",
        lambda record, units: _number(cell(record), units.length),
        True,
    )


def _size(head: str, cell: Callable[[Any], int | None]) -> RecordColumn:
    return RecordColumn(
        lambda units: f"{head}, {units.size}", lambda record, units: _number(cell(record), units.size), True
    )


def _weight(head: str, cell: Callable[[Any], int | None]) -> RecordColumn:
    def shown(record: Any, units: Units) -> str:
        mg = cell(record)
        return "–" if mg is None else format_weight(mg, unit=units.weight).partition(" ")[0]

    return RecordColumn(lambda units: f"{head}, {units.weight}", shown, True)


def _number(mm: int | None, unit: str) -> str:
    return "–" if mm is None else format_length(mm, unit=unit).partition(" ")[0]


_PRICES = (
    _plain("Pack", lambda offer: offer.pack),
    _plain("Price", lambda offer: f"{offer.price:,.2f}"),
    _text("Seen", lambda offer: offer.seen_on),
)

BOOKS: dict[str, Book] = {
    book.slug: book
    for book in (
        Book(
            "ranges", gettext_lazy("Thread ranges"), "range", gettext_lazy("A maker's threads of one construction: fibre and tex."),
            ThreadRange, RangeForm,
            (
                _text("Range", str), _text("Purpose", lambda each: each.get_purpose_display()),
                _text("Fibre", lambda each: each.get_fibre_display()),
                _text("Weight", lambda each: each.weight_label or "–"),
                _plain("Tex", lambda each: f"{each.tex:.1f}"),
                _text(gettext_lazy("As typed"), lambda each: each.tex_as_written),
                _text("Known", lambda each: "nominal" if each.tex_is_nominal else "stated"),
            ),
            words=("maker", "name"), children=(("shades", "range"), ("put-ups", "range")),
        ),
        Book(
            "shades", "Shades", "shade", gettext_lazy("Colours of a range, with their codes, earlier codes and Lab values."),
            Shade, ShadeForm,
            (
                _text("Shade", lambda each: each), _text("Code", lambda each: each.code),
                _text("Earlier", lambda each: ", ".join(code.code for code in each.earlier_codes.all()) or "–"),
                _plain("L", lambda each: "–" if each.lab_l is None else f"{each.lab_l:.1f}"),
                _plain("a", lambda each: "–" if each.lab_a is None else f"{each.lab_a:.1f}".replace("-", "−")),
                _plain("b", lambda each: "–" if each.lab_b is None else f"{each.lab_b:.1f}".replace("-", "−")),
                _text("Source", lambda each: each.get_colour_source_display() if each.lab else "–"),
                _plain(gettext_lazy("Off by, ΔE"), lambda each: f"{each.sigma:.1f}" if each.lab else "–"),
            ),
            words=("code", "name", "earlier_codes__code", "range__maker", "range__name"), related=("range",),
            order=("range__maker", "range__name", "code"), parents=("range",),
        ),
        Book(
            "put-ups", "Put-ups", "put-up", gettext_lazy("How a range is sold: length when full, and the weight of the empty spool."),
            PutUp, PutUpForm,
            (
                _text("Put-up", str), _text("Range", lambda each: each.range),
                _length("Length", lambda each: each.length_mm), _weight("Empty", lambda each: each.tare_mg),
            ),
            words=("name", "range__maker", "range__name"), related=("range",),
            order=("range__maker", "range__name", "length_mm"), parents=("range",),
        ),
        Book(
            "bobbin-styles", gettext_lazy("Bobbin styles"), gettext_lazy("bobbin style"), gettext_lazy("Sizes of bobbins; they decide how much goes on one."),
            BobbinStyle, BobbinStyleForm,
            (
                _text("Style", str), _plain("Diameter, mm", lambda each: f"{each.outer_diameter_mm:g}"),
                _plain("Width, mm", lambda each: f"{each.width_mm:g}"),
                _plain("Core, mm", lambda each: f"{each.core_diameter_mm:g}"),
            ),
            words=("name",),
        ),
        Book(
            "stabilizers", "Stabilizers", "stabilizer", gettext_lazy("And film, adhesive, foam, fabric: kind and weight."),
            StabilizerProduct, StabilizerForm,
            (
                _text("Product", str), _text("Kind", lambda each: each.get_kind_display()),
                _plain("Weight, g/m²", lambda each: "–" if each.weight_g_m2 is None else f"{each.weight_g_m2:g}"),
                _text(gettext_lazy("Holds by"), lambda each: each.holds_by or "–"),
                _text("Grain", lambda each: "matters" if each.has_grain else "no"),
            ),
            words=("maker", "name", "kind"),
        ),
        Book(
            "places", "Places", "place", gettext_lazy("Walls, racks, drawers and boxes, by the names people use."),
            Place, PlaceForm, (_text("Place", str), _text("Note", lambda each: each.note or "–")),
            words=("name", "note"),
        ),
        Book(
            "suppliers", "Suppliers", "supplier", gettext_lazy("Who sells, how long it takes, what shipping costs."),
            Supplier, SupplierForm,
            (
                _text("Supplier", str), _plain("Days", lambda each: each.lead_time_days),
                _plain("Shipping", lambda each: f"{each.shipping:,.2f}"),
                _plain(gettext_lazy("Free from"), lambda e: "–" if e.free_shipping_from is None else f"{e.free_shipping_from:,.2f}"),
            ),
            words=("name",),
            children=(("thread-offers", "supplier"), ("bobbin-offers", "supplier"), ("roll-offers", "supplier"),
                      ("can-offers", "supplier")),
        ),
        Book(
            "thread-offers", gettext_lazy("Offers of thread"), gettext_lazy("offer of thread"), gettext_lazy("Prices of put-ups, for every shade or for one."),
            Offer, ThreadOfferForm,
            (
                _text("Put-up", lambda each: f"{each.put_up.range}, {each.put_up}"),
                _text("Shade", lambda each: each.shade or _("every shade")), _text("From", lambda each: each.supplier),
                *_PRICES,
            ),
            words=("put_up__range__maker", "put_up__range__name", "put_up__name", "supplier__name"),
            related=("put_up__range", "shade__range", "supplier"), only=Q(put_up__isnull=False), parents=("supplier",),
            children=(("price-steps", "offer"),),
        ),
        Book(
            "bobbin-offers", gettext_lazy("Offers of bobbins"), gettext_lazy("offer of bobbins"), gettext_lazy("Prices of boxes of full bobbins."),
            Offer, BobbinOfferForm,
            (
                _text("Bobbin", lambda each: f"{each.bobbin_style}, {each.shade}"),
                _length(gettext_lazy("On each"), lambda each: each.bobbin_length_mm), _text("From", lambda each: each.supplier),
                *_PRICES,
            ),
            words=("bobbin_style__name", "shade__code", "shade__name", "supplier__name"),
            related=("bobbin_style", "shade__range", "supplier"), only=Q(bobbin_style__isnull=False),
            parents=("supplier",), children=(("price-steps", "offer"),),
        ),
        Book(
            "roll-offers", gettext_lazy("Offers of stabilizer"), gettext_lazy("offer of stabilizer"), gettext_lazy("Prices of rolls."),
            Offer, RollOfferForm,
            (
                _text("Product", lambda each: each.product), _size("Width", lambda each: each.roll_width_mm),
                _length("Length", lambda each: each.roll_length_mm), _text("From", lambda each: each.supplier),
                *_PRICES,
            ),
            words=("product__maker", "product__name", "supplier__name"), related=("product", "supplier"),
            only=Q(product__isnull=False, can_mg__isnull=True), parents=("supplier",),
            children=(("price-steps", "offer"),),
        ),
        Book(
            "can-offers", gettext_lazy("Offers of spray"), gettext_lazy("offer of spray"), gettext_lazy("Prices of cans."),
            Offer, CanOfferForm,
            (
                _text("Product", lambda each: each.product), _weight(gettext_lazy("In each"), lambda each: each.can_mg),
                _text("From", lambda each: each.supplier), *_PRICES,
            ),
            words=("product__maker", "product__name", "supplier__name"), related=("product", "supplier"),
            only=Q(can_mg__isnull=False), parents=("supplier",), children=(("price-steps", "offer"),),
        ),
        Book(
            "price-steps", gettext_lazy("Price steps"), gettext_lazy("price step"), gettext_lazy("What a pack costs from so many packs on."),
            PriceBreak, PriceBreakForm,
            (
                _text("Offer", lambda each: each.offer), _plain(gettext_lazy("From packs"), lambda each: each.from_packs),
                _plain(gettext_lazy("Price a pack"), lambda each: f"{each.price:,.2f}"),
            ),
            words=("offer__supplier__name", "offer__put_up__name", "offer__product__name", "offer__bobbin_style__name"),
            related=("offer__supplier", "offer__put_up", "offer__product", "offer__bobbin_style"), parents=("offer",),
        ),
        Book(
            "staple-threads", gettext_lazy("Staple threads"), gettext_lazy("staple thread"), gettext_lazy("Shades that are to be there whatever the jobs want."),
            Staple, StapleThreadForm,
            (_text("Shade", lambda each: each.shade), _length(gettext_lazy("At least"), lambda each: each.minimum)),
            words=("shade__code", "shade__name", "shade__range__name"), related=("shade__range",),
            only=Q(shade__isnull=False, bobbin_style__isnull=True),
        ),
        Book(
            "staple-bobbins", gettext_lazy("Staple bobbins"), gettext_lazy("staple bobbin"), gettext_lazy("Full bobbins that are to be there at any time."),
            Staple, StapleBobbinForm,
            (
                _text("Bobbin", lambda each: f"{each.bobbin_style}, {each.shade}"),
                _plain(gettext_lazy("At least"), lambda each: f"{each.minimum:,}"),
            ),
            words=("shade__code", "shade__name", "bobbin_style__name"), related=("shade__range", "bobbin_style"),
            only=Q(bobbin_style__isnull=False),
        ),
        Book(
            "staple-rolls", gettext_lazy("Staple stabilizers"), gettext_lazy("staple stabilizer"), gettext_lazy("Stabilizer that is to be there at any time."),
            Staple, StapleRollForm,
            (_text("Stabilizer", lambda each: each.product), _length(gettext_lazy("At least"), lambda each: each.minimum)),
            words=("product__maker", "product__name"), related=("product",),
            only=Q(product__isnull=False) & ~Q(product__kind=StabilizerProduct.Kind.SPRAY),
        ),
        Book(
            "staple-cans", gettext_lazy("Staple sprays"), gettext_lazy("staple spray"), gettext_lazy("Spray that is to be there at any time."),
            Staple, StapleCanForm,
            (_text("Spray", lambda each: each.product), _weight(gettext_lazy("At least"), lambda each: each.minimum)),
            words=("product__maker", "product__name"), related=("product",),
            only=Q(product__kind=StabilizerProduct.Kind.SPRAY),
        ),
    )
}  # fmt: skip

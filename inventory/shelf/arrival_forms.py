"""What comes onto the shelf, as forms: new and part-used spools, bobbins, rolls, sheets, offcuts, needles."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, ClassVar

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.compute.weighing import FILL_LEVELS, length_from_fill_level
from inventory.models import BobbinStyle, NeedlePack, PutUp, Shade, Spool, StabilizerProduct, StockItem
from inventory.shelf.forms import (
    KeyedForm,
    MeasureField,
    MoneyField,
    PlaceField,
    PutUpField,
    ShadeField,
    new_key,
)
from inventory.shelf.receipts import (
    Delivery,
    receive_bobbins,
    receive_boxes,
    receive_cans,
    receive_needles,
    receive_offcut,
    receive_open_spool,
    receive_rolls,
    receive_sheets,
    receive_spools,
)


class Arriving(KeyedForm):
    """Something that comes onto the shelf. ``slug`` is its address, ``name`` its tab."""

    slug: ClassVar[str]
    name: ClassVar[str | Promise]
    # Kept from one delivery to the next, as things come in boxes.
    kept: ClassVar[tuple[str, ...]] = ("place", "lot", "price")

    place = PlaceField(label=_("Place"), required=False, empty_label=_("no place yet"))
    lot = forms.CharField(label=_("Dye lot"), max_length=40, required=False)
    price = MoneyField(label=_("Price of each"), required=False)

    field_order: Sequence[str] | None = ("key",)

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        """Return what is on the shelf now."""
        raise NotImplementedError

    def again(self) -> dict[str, Any]:
        """Return what the next form begins with after this one was carried out."""
        return {name: self.data.get(name, "") for name in self.kept} | {"key": new_key()}

    def delivery(self, *, at: datetime, by: Any) -> Delivery:
        given = self.cleaned_data
        return Delivery(
            key=given["key"],
            at=at,
            by=by,
            place=given["place"],
            lot=given.get("lot", ""),
            price_each=given["price"],
        )


class NewSpools(Arriving):
    slug, name = "spools", _("New spools")
    kept = ("place", "price", "put_up")
    field_order = ("key", "shade", "put_up", "count", "in_box", "lot", "place", "price")

    shade = ShadeField(label=_("Shade"))
    put_up = PutUpField(
        label=_("Length when full"),
        required=False,
        empty_label=_("as it came last"),
    )
    count = MeasureField(measure="pieces", label=_("How many"), initial="1")
    in_box = MeasureField(
        measure="pieces",
        label=_("Spools in each box"),
        required=False,
        help_text=_("If they came in boxes: the count is then of boxes, and the price that of a box."),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        shade = given.get("shade")
        if shade is not None and given.get("put_up") is None and "put_up" not in self.errors:
            given["put_up"] = usual_put_up(shade)
            if given["put_up"] is None:
                self.add_error("put_up", _which_put_up(shade))
        return given

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        given = self.cleaned_data
        delivery = self.delivery(at=at, by=by)
        if given["in_box"]:
            return list(
                receive_boxes(
                    given["shade"],
                    put_up=given["put_up"],
                    boxes=given["count"],
                    spools_each=given["in_box"],
                    price_a_box=given["price"],
                    delivery=replace(delivery, price_each=None),
                )
            )
        return list(
            receive_spools(given["shade"], put_up=given["put_up"], count=given["count"], delivery=delivery)
        )


class PartUsedSpool(Arriving):
    slug, name = "part-used-spool", _("Part-used spool")
    kept = ("place",)
    field_order = ("key", "shade", "put_up", "looks", "length", "lot", "place", "price")

    shade = ShadeField(label=_("Shade"))
    put_up = PutUpField(label=_("Length when full"), required=False, empty_label=_("not known"))
    looks = forms.ChoiceField(
        label=_("It looks"),
        required=False,
        choices=[("", _("nobody knows yet")), *((word, _(word)) for word in FILL_LEVELS)],
    )
    length = MeasureField(measure="length", label=_("Or its length"), required=False)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("looks") and given.get("length") is not None:
            self.add_error("length", _("Give its length or what it looks like, not both."))
        if given.get("looks") and given.get("put_up") is None and "put_up" not in self.errors:
            self.add_error(
                "put_up", _("What it looks like says how much only beside its length when full. Choose one.")
            )
        return given

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        given = self.cleaned_data
        length_mm, sigma_mm = given["length"], None
        if given["looks"]:
            seen, sigma_mm = length_from_fill_level(given["looks"], put_up_mm=given["put_up"].length_mm)
            length_mm = round(seen)
        spool = receive_open_spool(
            given["shade"],
            put_up=given["put_up"],
            length_mm=length_mm,
            sigma_mm=sigma_mm,
            delivery=self.delivery(at=at, by=by),
        )
        return [spool]


class NewBobbins(Arriving):
    slug, name = "bobbins", _("Bobbins")
    kept = ("place", "price", "style", "length", "shade")
    field_order = ("key", "style", "shade", "length", "count", "self_wound", "lot", "place", "price")

    style = forms.ModelChoiceField(
        queryset=BobbinStyle.objects.all(),
        label=_("Style"),
        empty_label=_("choose a style"),
    )
    shade = ShadeField(label=_("Thread on them"))
    length = MeasureField(measure="length", label=_("On each"))
    count = MeasureField(measure="pieces", label=_("How many"))
    self_wound = forms.BooleanField(label=_("Wound here"), required=False)

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        given = self.cleaned_data
        batch = receive_bobbins(
            given["style"],
            shade=given["shade"],
            length_mm=given["length"],
            count=given["count"],
            self_wound=given["self_wound"],
            delivery=self.delivery(at=at, by=by),
        )
        return [batch]


class _Stabilizer(Arriving):
    kept: ClassVar[tuple[str, ...]] = ("place", "price", "product", "width", "length")

    product = forms.ModelChoiceField(
        queryset=StabilizerProduct.objects.exclude(kind=StabilizerProduct.Kind.SPRAY),
        label=_("Product"),
        empty_label=_("choose a product"),
    )
    width = MeasureField(measure="size", label=_("Width"))


class NewRolls(_Stabilizer):
    slug, name = "rolls", _("Rolls")
    field_order = ("key", "product", "width", "length", "count", "lot", "place", "price")

    length = MeasureField(measure="length", label=_("Length"))
    count = MeasureField(measure="pieces", label=_("How many"), initial="1")

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        given = self.cleaned_data
        return list(
            receive_rolls(
                given["product"],
                width_mm=given["width"],
                length_mm=given["length"],
                count=given["count"],
                delivery=self.delivery(at=at, by=by),
            )
        )


class NewSheets(_Stabilizer):
    slug, name = "sheets", _("Sheets")
    kept = ("place", "product", "width", "height")
    field_order = ("key", "product", "width", "height", "count", "lot", "place", "price")

    height = MeasureField(measure="size", label=_("Height"))
    count = MeasureField(measure="pieces", label=_("How many"))
    price = MoneyField(label=_("Price of them all"), required=False)

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        given = self.cleaned_data
        pack = receive_sheets(
            given["product"],
            width_mm=given["width"],
            height_mm=given["height"],
            count=given["count"],
            delivery=self.delivery(at=at, by=by),
        )
        return [pack]


class FoundOffcut(_Stabilizer):
    slug, name = "offcut", _("Offcut")
    kept = ("place", "product")
    field_order = ("key", "product", "width", "height", "lot", "place", "price")

    height = MeasureField(measure="size", label=_("Height"), help_text=_("Along the roll it came from."))
    price = MoneyField(label=_("Price"), required=False)

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        given = self.cleaned_data
        offcut = receive_offcut(
            given["product"],
            width_mm=given["width"],
            height_mm=given["height"],
            delivery=self.delivery(at=at, by=by),
        )
        return [offcut]


class NewCans(Arriving):
    slug, name = "cans", _("Cans of spray")
    kept = ("place", "price", "product", "content", "empty")
    field_order = ("key", "product", "content", "empty", "count", "lot", "place", "price")

    product = forms.ModelChoiceField(
        queryset=StabilizerProduct.objects.filter(kind=StabilizerProduct.Kind.SPRAY),
        label=_("Product"),
        empty_label=_("choose a product"),
    )
    content = MeasureField(measure="weight", label=_("In each"), help_text=_("As is printed on the can."))
    empty = MeasureField(
        measure="weight",
        label=_("Each weighs empty"),
        required=False,
        help_text=_("A full can on the scale, less what is in it. Then what is left can be weighed."),
    )
    count = MeasureField(measure="pieces", label=_("How many"), initial="1")

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        given = self.cleaned_data
        return list(
            receive_cans(
                given["product"],
                content_mg=given["content"],
                empty_mg=given["empty"],
                count=given["count"],
                delivery=self.delivery(at=at, by=by),
            )
        )


class NewNeedles(Arriving):
    slug, name = "needles", _("Needles")
    kept = ("place", "system")
    field_order = ("key", "system", "size", "point", "count", "lot", "place", "price")

    system = forms.CharField(label=_("System"), max_length=40, help_text=_("As it is printed on the pack."))
    size = MeasureField(measure="pieces", label=_("Size"), help_text=_("The metric one, such as 75."))
    point = forms.ChoiceField(label=_("Point"), choices=NeedlePack.Point.choices)
    count = MeasureField(measure="pieces", label=_("How many"))
    price = MoneyField(label=_("Price of them all"), required=False)

    def carry_out(self, *, at: datetime, by: Any) -> list[StockItem]:
        given = self.cleaned_data
        pack = receive_needles(
            system=given["system"],
            size=given["size"],
            point=given["point"],
            count=given["count"],
            delivery=self.delivery(at=at, by=by),
        )
        return [pack]


ARRIVALS: dict[str, type[Arriving]] = {
    each.slug: each
    for each in (NewSpools, PartUsedSpool, NewBobbins, NewRolls, NewSheets, FoundOffcut, NewCans, NewNeedles)
}


def usual_put_up(shade: Shade) -> PutUp | None:
    """Return the put-up that the shade came in last, or the only one of its range, or None."""
    last = (
        Spool.objects.filter(shade=shade, put_up__isnull=False)
        .select_related("put_up")
        .order_by("-pk")
        .first()
    )
    if last is not None:
        return last.put_up
    put_ups = list(PutUp.objects.filter(range=shade.range_id)[:2])
    return put_ups[0] if len(put_ups) == 1 else None


def _which_put_up(shade: Shade) -> str:
    names = list(PutUp.objects.filter(range=shade.range_id).values_list("name", flat=True))
    if not names:
        return _(
            "{range} has no put-up yet. Add one in the catalogue, so that a full spool has a length."
        ).format(range=shade.range)
    return _("{shade} has not come before. Choose how it is sold: {names}.").format(
        shade=shade, names=", ".join(names)
    )

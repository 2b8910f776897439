"""One form a kind of row: its fields are the columns of the template, in order, with what each means."""

from typing import Any

from django import forms
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.files.importing.fields import (
    AreaWeightCell,
    CellField,
    ColourCell,
    DayCell,
    DensityCell,
    ListCell,
    MoneyCell,
    NumberCell,
    ScaleCell,
    SigmaCell,
    TextCell,
    WholeCell,
    WordCell,
    YesNoCell,
    grams,
    metres,
)
from inventory.models import Offer, Shade, StabilizerProduct, StockItem, ThreadRange
from inventory.models.threads import Fibre, Washing

Kind = StockItem.Kind


class RowForm(forms.Form):
    """What every row is checked with. One form checks all rows of a file, one after the other."""

    def cleaned_row(self, cells: dict[str, Any]) -> dict[str, Any]:
        """Return the cleaned values of a row; ``errors`` then hold what is wrong with it, cell by cell."""
        self.data = cells
        self.full_clean()
        return self.cleaned_data

    def count_days_from_1904(self) -> None:
        for field in self.fields.values():
            if isinstance(field, DayCell):
                field.days_from_1904 = True

    def refuse_both(self, one: str, other: str) -> None:
        if self.cleaned_data.get(one) is not None and self.cleaned_data.get(other) is not None:
            self.add_error(other, _("The row gives {one} too. Leave one of the two blank.").format(one=one))


def columns_of(form: type[RowForm]) -> dict[str, CellField]:
    """Return the columns of a template: the field of each by its name, in order."""
    return {name: field for name, field in form.base_fields.items() if isinstance(field, CellField)}


def _label() -> TextCell:
    return TextCell(
        _("The label code on the thing, which knows it again. A new thing without one is given one."),
        longest=24,
    )


def _maker(meaning: Promise) -> TextCell:
    return TextCell(meaning, longest=60)


def _range() -> TextCell:
    return TextCell(_("The name of the maker's range."), longest=60)


def _code() -> TextCell:
    return TextCell(_("The code of the shade; an earlier code will do."), longest=20)


def _shade_name() -> TextCell:
    return TextCell(
        _("The name of the shade, for reading only: its code says which it is."),
        longest=60,
        reading_only=True,
    )


def _known() -> WordCell:
    return WordCell(
        _("How the quantity is known. Blank: a full spool is sealed, pieces are counted, a length is judged"),
        choices=StockItem.Known.choices,
    )


def _price_paid() -> MoneyCell:
    return MoneyCell(_("What was paid for it when it came."))


class SpoolRowForm(RowForm):
    label = _label()
    maker = _maker(_("The maker of the thread."))
    range = _range()
    code = _code()
    name = _shade_name()
    put_up = TextCell(_("How it is sold, as in the range's put-ups. Blank where nobody knows."), longest=40)
    length_m = metres(_("The thread on it in m. Blank: not known, which is not zero."))
    weight_g = ScaleCell(
        _(
            "Instead of length_m: its weight on the scale in g, spool included, with every figure that "
            "the scale shows."
        )
    )
    scale_step_g = grams(
        _("The step of that scale in g, where it is not that of the last figure of weight_g."),
        above_zero=True,
    )
    known = _known()
    sigma_m = SigmaCell(_("How far length_m may be off, as one standard deviation in m."), scale=1000)
    tare_g = grams(_("The weight of this very spool when empty, in g, where it is not the put-up's."))
    place = TextCell(_("Where it is kept. A new name makes a new place."), longest=80)
    lot = TextCell(_("The dye lot."), longest=40)
    opened_on = DayCell(_("The day it was opened."))
    received_on = DayCell(_("The day it came."))
    price_paid = _price_paid()
    paid_for_m = metres(
        _("The thread in m that price_paid bought. Blank: what the put-up holds."), above_zero=True
    )
    note = TextCell(_("Anything else."), longest=200)

    def clean(self) -> None:
        self.refuse_both("length_m", "weight_g")
        given = self.cleaned_data
        if given.get("scale_step_g") is not None and given.get("weight_g") is None:
            self.add_error("scale_step_g", _("This is of the scale, and the row gives no weight_g."))


# The columns that tell of a put-up, and the field of each.
OF_PUT_UP = {
    "put_up_length_m": "length_mm",
    "put_up_tare_g": "tare_mg",
    "put_up_full_mm": "full_diameter_mm",
    "put_up_core_mm": "core_diameter_mm",
    "put_up_height_mm": "winding_height_mm",
}


class ShadeRowForm(RowForm):
    maker = TextCell(_("The maker of the thread."), longest=60, required=True)
    range = TextCell(_("The name of the maker's range."), longest=60, required=True)
    purpose = WordCell(
        _("What the range is for; blank for a new one: needle"), choices=ThreadRange.Purpose.choices
    )
    fibre = WordCell(_("The fibre; blank for a new range: polyester"), choices=Fibre.choices)
    tex = DensityCell(
        _("The linear density in tex, g per km; or in words: 270 dtex, 120 den x 2, Nm 80/2, Ne 50/2.")
    )
    tex_is_nominal = YesNoCell(_("yes where the tex is only what the weight label suggests."))
    weight_label = TextCell(_("The weight as it is sold, such as 40."), longest=12)
    washing = WordCell(_("How hot the maker lets the thread be washed."), choices=Washing.choices)
    needle = TextCell(_("The needle that the range asks for: size and point."), longest=40)
    most_stitches_per_minute = WholeCell(
        _("The speed that the thread bears, in stitches a minute; blank: any."), low=1, high=10_000
    )
    put_up = TextCell(_("A put-up of the range: how it is sold."), longest=40)
    put_up_length_m = metres(_("The thread on a full spool of that put-up, in m."), above_zero=True)
    put_up_tare_g = grams(_("The weight of that spool when empty, in g."))
    put_up_full_mm = NumberCell(_("Across the thread of that spool when full, in mm."), low=1, high=1000)
    put_up_core_mm = NumberCell(_("Across its core, in mm."), low=1, high=1000)
    put_up_height_mm = NumberCell(_("How high its winding is, in mm."), low=1, high=1000)
    code = TextCell(
        _("The code of the shade. Blank in a row that is only about the range or a put-up."), longest=20
    )
    name = TextCell(_("The name of the shade."), longest=60)
    lab_l = NumberCell(_("L* of the colour, D65 and 2°."), low=0, high=100)
    lab_a = NumberCell(_("a* of the colour."), low=-200, high=200)
    lab_b = NumberCell(_("b* of the colour."), low=-200, high=200)
    hex = ColourCell(_("Instead of Lab: the colour on a screen, like #1f4e79."))
    colour_source = WordCell(_("Where the colour comes from; blank for a new shade: screen"),
                              choices=Shade.Source.choices)  # fmt: skip
    earlier_codes = ListCell(_("Codes the shade had before, separated by semicolons."), longest=20)

    def clean(self) -> None:
        data = self.cleaned_data
        lab = ("lab_l", "lab_a", "lab_b")
        given = [name for name in lab if data.get(name) is not None or name in self.errors]
        if given and len(given) < 3:
            for name in lab:
                if name not in given:
                    self.add_error(
                        name, _("The colour needs lab_l, lab_a and lab_b; {name} is blank.").format(name=name)
                    )
        if any(data.get(name) is not None for name in OF_PUT_UP):
            self._needs("put_up", str(_("The row tells of a put-up; give its name too.")))
        if data.get("name") or given or data.get("hex") or data.get("earlier_codes"):
            self._needs("code", str(_("The row tells of a shade; give its code too.")))

    def _needs(self, column: str, reason: str) -> None:
        if not self.cleaned_data.get(column) and column not in self.errors:
            self.add_error(column, reason)


class BobbinRowForm(RowForm):
    label = _label()
    kind = WordCell(
        _(
            "bobbins: full ones, counted together; part_bobbin: one that has been used. Blank: as the "
            "row tells"
        ),
        choices=[(kind.value, kind.label) for kind in (Kind.BOBBINS, Kind.PART_BOBBIN)],
    )
    style = TextCell(_("The bobbin style, such as L."), longest=40)
    style_outer_diameter_mm = NumberCell(
        _("The diameter of a new style over its flanges, in mm."), low=0, high=200, low_allowed=False
    )
    style_width_mm = NumberCell(_("The width of a new style between its flanges, in mm."), low=0, high=200,
                                 low_allowed=False)  # fmt: skip
    style_core_diameter_mm = NumberCell(_("The diameter of its core in mm; blank for a new style: 6."), low=0,
                                         high=200, low_allowed=False)  # fmt: skip
    maker = _maker(_("The maker of the thread."))
    range = _range()
    code = _code()
    name = _shade_name()
    pieces = WholeCell(_("How many full bobbins there are. Blank: not known, which is not zero."))
    length_each_m = metres(_("The thread on each full bobbin, in m."), above_zero=True)
    sigma_pieces = SigmaCell(_("How far pieces may be off, as one standard deviation."), scale=1)
    self_wound = YesNoCell(_("yes where they were wound here, no where they were bought wound."))
    length_m = metres(_("The thread on a part bobbin, in m. Blank: not known, which is not zero."))
    sigma_m = SigmaCell(_("How far length_m may be off, as one standard deviation in m."), scale=1000)
    known = _known()
    place = TextCell(_("Where it is kept. A new name makes a new place."), longest=80)
    lot = TextCell(_("The dye lot."), longest=40)
    opened_on = DayCell(_("The day it was opened."))
    received_on = DayCell(_("The day it came."))
    price_paid = _price_paid()
    paid_for_pieces = WholeCell(_("How many full bobbins price_paid bought. Blank: pieces."), low=1)
    paid_for_m = metres(_("The thread in m that price_paid bought, for a part bobbin."), above_zero=True)
    note = TextCell(_("Anything else."), longest=200)

    def clean(self) -> None:
        self.refuse_both("pieces", "length_m")


class StabilizerRowForm(RowForm):
    label = _label()
    form = WordCell(
        _("The form it has. Blank in a row that is only about the product"),
        choices=[(kind.value, kind.label) for kind in (Kind.ROLL, Kind.SHEETS, Kind.OFFCUT, Kind.CAN)],
    )
    maker = _maker(_("The maker of the stabilizer."))
    product = TextCell(_("The product's name."), longest=60)
    kind = WordCell(_("The kind of stabilizer"), choices=StabilizerProduct.Kind.choices)
    weight_g_m2 = AreaWeightCell(
        _("The weight of the product in g per m²; or in words: 1.5 oz/yd². Of a spray: what one coat leaves.")
    )
    thickness_mm = NumberCell(_("The thickness of foam, in mm."), low=0, high=100, low_allowed=False)
    holds_by = WordCell(_("What makes it stick, where it does"), choices=StabilizerProduct.HoldsBy.choices)
    comes_off = WordCell(
        _("What takes it away, where its kind does not say it"), choices=StabilizerProduct.ComesOff.choices
    )
    has_grain = YesNoCell(_("yes where it tears or stretches more one way than the other."))
    width_mm = WholeCell(_("The width of the roll, sheet or offcut in mm."), low=1, high=20_000)
    height_mm = WholeCell(
        _("The height of the sheet or offcut in mm, along the roll."), low=1, high=1_000_000
    )
    length_m = metres(_("What is left on the roll, in m. Blank: not known, which is not zero."))
    content_g = grams(_("What is left in a can of spray, in g. Blank: not known, which is not zero."))
    full_g = grams(_("What such a can holds when full, in g."), above_zero=True)
    empty_g = grams(_("What the can weighs with nothing in it, in g."), above_zero=True)
    pieces = WholeCell(_("How many sheets there are; an offcut is 1. Blank: not known, which is not zero."))
    known = _known()
    sigma_m = SigmaCell(_("How far length_m may be off, as one standard deviation in m."), scale=1000)
    sigma_g = SigmaCell(_("How far content_g may be off, as one standard deviation in g."), scale=1000)
    sigma_pieces = SigmaCell(_("How far pieces may be off, as one standard deviation."), scale=1)
    place = TextCell(_("Where it is kept. A new name makes a new place."), longest=80)
    lot = TextCell(_("The lot."), longest=40)
    opened_on = DayCell(_("The day it was opened."))
    received_on = DayCell(_("The day it came."))
    price_paid = _price_paid()
    paid_for_m = metres(_("The length in m that price_paid bought. Blank: length_m."), above_zero=True)
    paid_for_g = grams(
        _("The spray in g that price_paid bought. Blank: what a full can holds."), above_zero=True
    )
    paid_for_pieces = WholeCell(_("How many pieces price_paid bought. Blank: pieces."), low=1)
    note = TextCell(_("Anything else."), longest=200)


class SupplierRowForm(RowForm):
    supplier = TextCell(_("The supplier's name."), longest=80, required=True)
    lead_time_days = WholeCell(_("Days from the order to the delivery; blank for a new one: 5."), high=1000)
    shipping = MoneyCell(_("What a delivery costs; blank for a new one: 0."))
    free_shipping_from = MoneyCell(_("Goods worth this much ship free. Blank: never."))
    minimum_order = MoneyCell(_("What the goods of an order must be worth; blank for a new one: 0."))
    maker = _maker(_("The maker of the thread or stabilizer on offer."))
    range = TextCell(_("The thread range on offer."), longest=60)
    put_up = TextCell(_("The put-up of the range on offer."), longest=40)
    code = TextCell(_("The shade, where the offer is for one only, and for bobbins."), longest=20)
    bobbin_style = TextCell(_("The bobbin style, for bobbins that are bought wound."), longest=40)
    bobbin_length_m = metres(_("The thread on each of those bobbins, in m."), above_zero=True)
    product = TextCell(_("The stabilizer on offer."), longest=60)
    roll_width_mm = WholeCell(_("The width of the roll on offer in mm."), low=1, high=20_000)
    roll_length_m = metres(_("The length of the roll on offer in m."), above_zero=True)
    can_g = grams(_("What is in each can on offer, in g."), above_zero=True)
    pack = WholeCell(_("How many are sold together; blank: 1."), low=1, high=100_000)
    price = MoneyCell(_("The price of the whole pack. Blank in a row that is only about the supplier."))
    minimum_packs = WholeCell(_("The fewest packs that are sold; blank: 1."), low=1, high=100_000)
    steps_for = WordCell(_("Which packs a price step makes cheaper; blank for a new offer: all"),
                          choices=Offer.Steps.choices)  # fmt: skip
    step_1_from = WholeCell(_("From so many packs on, step_1_price holds."), low=2, high=100_000)
    step_1_price = MoneyCell(_("The price of a pack from step_1_from packs on."))
    step_2_from = WholeCell(_("The next price step, likewise."), low=2, high=100_000)
    step_2_price = MoneyCell(_("The price of a pack from step_2_from packs on."))
    step_3_from = WholeCell(_("The third price step, likewise."), low=2, high=100_000)
    step_3_price = MoneyCell(_("The price of a pack from step_3_from packs on."))
    seen_on = DayCell(_("The day the price was seen."))

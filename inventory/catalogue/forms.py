"""Records of the catalogue as forms, in the units of the person who fills them in."""

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from inventory.compute.colour.lab import parse_colour
from inventory.compute.density import LinearDensity, in_other_systems
from inventory.compute.diameters import Winding, density_doubt
from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import figure
from inventory.compute.spraying import USUAL_COAT_G_M2
from inventory.compute.units import METRIC, Units, told_area_weight
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
from inventory.shelf.forms import (
    AreaWeightField,
    DensityField,
    MeasureField,
    MoneyField,
    NumberField,
    PutUpField,
    ReadIn,
    ShadeField,
    new_key,
)
from inventory.shelf.typed.lazily import told_lazily

# Fields that are called as the models have them.
_CALLED = {
    "code": _("Code"),
    "fibre": _("Fibre"),
    "kind": _("Kind"),
    "maker": _("Maker"),
    "name": _("Name"),
    "needle": _("Needle"),
    "note": _("Note"),
    "offer": _("Offer"),
    "purpose": _("Purpose"),
    "range": _("Range"),
    "supplier": _("Supplier"),
    "weight_label": _("Weight label"),
}


class RecordForm(forms.ModelForm):
    """A record of the catalogue. Saving goes through the verbs, so that every edit leaves its trace."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=64)

    def __init__(self, *args: Any, units: Units = METRIC, **options: Any) -> None:
        options.setdefault("label_suffix", "")
        options["initial"] = {"key": new_key()} | (options.get("initial") or {})
        super().__init__(*args, **options)
        for field in self.fields.values():
            if isinstance(field, ReadIn):
                field.read_in(units)
            if isinstance(field, forms.ModelChoiceField) and field.empty_label is not None:
                field.empty_label = _("choose") if field.required else _("not said")
        for name in _CALLED.keys() & self.fields.keys():
            self.fields[name].label = _CALLED[name]

    def values(self) -> dict[str, Any]:
        """Return the cleaned fields of the record itself."""
        own = {field.name for field in self._meta.model._meta.concrete_fields}
        return {name: value for name, value in self.cleaned_data.items() if name in own}


class RangeForm(RecordForm):
    tex = DensityField(
        label=_("Linear density, tex"),
        help_text=_(
            "Or as the maker states it: 270 dtex, 120 den x 2, Nm 80/2, Ne 50/2. A label such as 40 "
            "wt is none."
        ),
    )

    class Meta:
        model = ThreadRange
        fields = (
            "maker",
            "name",
            "purpose",
            "fibre",
            "tex",
            "tex_is_nominal",
            "weight_label",
            "needle",
            "washing",
            "most_stitches_per_minute",
        )
        labels = {
            "tex_is_nominal": _("This tex is only what the weight label suggests"),
            "most_stitches_per_minute": _("At most so many stitches a minute"),
        }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if self.instance.pk is not None:
            self.initial["tex"] = self.instance.tex_as_written
            tex = self.instance.tex
            self.fields["tex"].help_text = _(
                "{tex} tex are {other_systems}. Any of them can be typed."
            ).format(tex=figure(tex, 1, grouped=False), other_systems=in_other_systems(tex))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if isinstance(given.get("tex"), LinearDensity):
            given["tex"], given["tex_typed"] = given["tex"]
            self.instance.tex_typed = given["tex_typed"]
        return given


class ShadeForm(RecordForm):
    colour = forms.CharField(
        label=_("Colour"),
        required=False,
        max_length=60,
        help_text=_("#1f4e79, lab:31.4,-1.2,-27.9 (D65, 2°) or lab50: for values measured under D50."),
    )
    earlier = forms.CharField(
        label=_("Earlier codes"),
        required=False,
        max_length=200,
        help_text=_(
            "Codes the maker used before, separated by semicolons. A search finds the shade by them too."
        ),
    )

    colour_sigma = NumberField(
        label=_("The colour may be off by, ΔE"),
        required=False,
        help_text=_("One standard deviation. Empty: as is usual for where it comes from."),
    )

    class Meta:
        model = Shade
        fields = ("range", "code", "name", "colour_source", "colour_sigma")
        labels = {"colour_source": _("Where the colour comes from")}

    field_order = ("key", "range", "code", "name", "colour", "colour_source", "colour_sigma", "earlier")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        shade = self.instance
        if shade.pk is not None:
            lab = shade.lab
            self.initial["colour"] = f"lab:{lab.L:.2f},{lab.a:.2f},{lab.b:.2f}" if lab else ""
            self.initial["earlier"] = "; ".join(code.code for code in shade.earlier_codes.all())

    def clean_colour(self) -> Any:
        text = self.cleaned_data["colour"].strip()
        if not text:
            return None
        try:
            lab = parse_colour(text)
        except WorkshopError as problem:
            raise ValidationError(str(problem)) from None
        if lab is None:
            raise ValidationError(
                _('"{text}" is not a colour. Write it like #1f4e79 or lab:31.4,-1.2,-27.9.').format(text=text)
            )
        return lab

    def clean_earlier(self) -> list[str]:
        return [code.strip() for code in self.cleaned_data["earlier"].split(";") if code.strip()]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if "colour" in given and "colour" in self.changed_data:
            lab = given["colour"]
            L, a, b = (None, None, None) if lab is None else tuple(lab)
            given |= {"lab_l": L, "lab_a": a, "lab_b": b}
            self.instance.lab_l, self.instance.lab_a, self.instance.lab_b = L, a, b
        if {"colour", "colour_source"} & set(self.changed_data) and "colour_sigma" not in self.changed_data:
            # How far the colour before may have been off says nothing of this one.
            given["colour_sigma"] = self.instance.colour_sigma = None
        return given


class PutUpForm(RecordForm):
    length_mm = MeasureField(measure="length", label=_("Length when full"))
    tare_mg = MeasureField(measure="weight", label=_("Weight of the empty spool"), required=False)
    full_diameter_mm = NumberField(
        label=_("Across the thread of a full spool, mm"),
        required=False,
        help_text=_(
            "Measure a sealed one with calipers, a cone half-way up; then part-used ones can be measured."
        ),
    )
    core_diameter_mm = NumberField(label=_("Across the empty core, mm"), required=False)
    winding_height_mm = NumberField(
        label=_("Height of the winding, mm"),
        required=False,
        help_text=_("Only to see whether the rest is plausible."),
    )

    class Meta:
        model = PutUp
        fields = (
            "range",
            "name",
            "length_mm",
            "tare_mg",
            "full_diameter_mm",
            "core_diameter_mm",
            "winding_height_mm",
        )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        full, core = given.get("full_diameter_mm"), given.get("core_diameter_mm")
        if bool(full) != bool(core):
            self.add_error("core_diameter_mm", _("Give both diameters, or neither."))
        elif full and core and full <= core:
            self.add_error("full_diameter_mm", _("A full spool is thicker than its core."))
        return given

    def doubt(self) -> str:
        """Return what is odd about the figures given, in words; empty where nothing is."""
        given = self.cleaned_data
        full, core, height = (
            given.get(name) for name in ("full_diameter_mm", "core_diameter_mm", "winding_height_mm")
        )
        if not (full and core and height):
            return ""
        winding = Winding(given["length_mm"], full, core)
        return density_doubt(winding, height_mm=height, tex=given["range"].tex)


class BobbinStyleForm(RecordForm):
    outer_diameter_mm = NumberField(label=_("Outer diameter, mm"))
    width_mm = NumberField(label=_("Width inside, mm"))
    core_diameter_mm = NumberField(label=_("Diameter of the core, mm"))

    class Meta:
        model = BobbinStyle
        fields = ("name", "outer_diameter_mm", "width_mm", "core_diameter_mm")


class StabilizerForm(RecordForm):
    weight_g_m2 = AreaWeightField(
        label=pgettext_lazy("of stabilizer", "Weight"),
        required=False,
        help_text=told_lazily(
            _(
                "Or like 1.5 oz/yd², which is 50.9 g/m². Of a spray: what one coat leaves; blank is reckoned as "
                "{coat} (common practice, no source). Foam and fabric need none."
            ),
            coat=lambda: told_area_weight(USUAL_COAT_G_M2),
        ),
    )
    thickness_mm = NumberField(label=_("Thickness, mm"), required=False, help_text=_("Of foam."))

    class Meta:
        model = StabilizerProduct
        fields = (
            "maker", "name", "kind", "weight_g_m2", "thickness_mm", "has_grain", "holds_by", "comes_off"
        )  # fmt: skip
        labels = {"has_grain": _("It has a grain")}

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["weight_g_m2"].kept = self.instance.weight_g_m2  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        unsaid = given.get("weight_g_m2") is None and "weight_g_m2" not in self.errors
        if unsaid and given.get("kind") in StabilizerProduct.CHOSEN_BY_WEIGHT:
            self.add_error("weight_g_m2", _("Recipes choose among such products by their weight. Give it."))
        if given.get("thickness_mm") == 0:
            self.add_error("thickness_mm", _("Give a thickness above 0, or leave it blank."))
        return given


class PlaceForm(RecordForm):
    class Meta:
        model = Place
        fields = ("name", "note")


class SupplierForm(RecordForm):
    shipping = MoneyField(label=_("Shipping"))
    free_shipping_from = MoneyField(label=_("Ships free from"), required=False)
    minimum_order = MoneyField(
        label=_("Smallest order"),
        required=False,
        help_text=_("What the goods of an order must be worth. Blank: any order is taken."),
    )

    class Meta:
        model = Supplier
        fields = ("name", "lead_time_days", "shipping", "free_shipping_from", "minimum_order")
        labels = {"lead_time_days": _("Days from order to arrival")}

    def clean_minimum_order(self) -> Decimal:
        return self.cleaned_data["minimum_order"] or Decimal("0.00")


_NOT_SPRAYED = StabilizerProduct.objects.exclude(kind=StabilizerProduct.Kind.SPRAY)
_OF_EVERY_OFFER = ("pack", "price", "minimum_packs", "steps_for", "seen_on")


class _OfferForm(RecordForm):
    pack = MeasureField(measure="pieces", label=_("Pieces in a pack"), initial="1")
    price = MoneyField(label=_("Price of the pack"))
    minimum_packs = MeasureField(
        measure="pieces", label=_("Fewest packs sold"), required=False, help_text=_("Blank: 1.")
    )
    steps_for = forms.ChoiceField(
        label=_("A price step makes cheaper"), choices=Offer.Steps.choices, required=False
    )
    seen_on = forms.DateField(
        label=_("Seen on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    def clean_minimum_packs(self) -> int:
        return self.cleaned_data["minimum_packs"] or 1

    def clean_steps_for(self) -> str:
        return self.cleaned_data["steps_for"] or Offer.Steps.ALL_UNITS


class ThreadOfferForm(_OfferForm):
    put_up = PutUpField(label=_("Put-up"), empty_label=_("choose a put-up"))
    shade = ShadeField(label=_("Only for the shade"), required=False)

    class Meta:
        model = Offer
        fields = ("supplier", "put_up", "shade", *_OF_EVERY_OFFER)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        shade, put_up = given.get("shade"), given.get("put_up")
        if shade is not None and put_up is not None and shade.range_id != put_up.range_id:
            self.add_error(
                "shade",
                _("{shade} is not of {range}, which the put-up is of.").format(
                    shade=shade, range=put_up.range
                ),
            )
        return given


class BobbinOfferForm(_OfferForm):
    bobbin_style = forms.ModelChoiceField(queryset=BobbinStyle.objects.all(), label=_("Bobbin style"))
    shade = ShadeField(label=_("Thread on them"))
    bobbin_length_mm = MeasureField(measure="length", label=_("On each"))

    class Meta:
        model = Offer
        fields = ("supplier", "bobbin_style", "shade", "bobbin_length_mm", *_OF_EVERY_OFFER)


class RollOfferForm(_OfferForm):
    product = forms.ModelChoiceField(queryset=_NOT_SPRAYED, label=_("Product"))
    roll_width_mm = MeasureField(measure="size", label=_("Width of the roll"))
    roll_length_mm = MeasureField(measure="length", label=_("Length of the roll"))

    class Meta:
        model = Offer
        fields = ("supplier", "product", "roll_width_mm", "roll_length_mm", *_OF_EVERY_OFFER)


class CanOfferForm(_OfferForm):
    product = forms.ModelChoiceField(
        queryset=StabilizerProduct.objects.filter(kind=StabilizerProduct.Kind.SPRAY),
        label=_("Spray"),
    )
    can_mg = MeasureField(measure="weight", label=_("In each can"))

    class Meta:
        model = Offer
        fields = ("supplier", "product", "can_mg", *_OF_EVERY_OFFER)


class PriceBreakForm(RecordForm):
    from_packs = MeasureField(measure="pieces", label=_("From how many packs"))
    price = MoneyField(label=_("Price of a pack then"))

    class Meta:
        model = PriceBreak
        fields = ("offer", "from_packs", "price")

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        offers = Offer.objects.select_related("supplier", "put_up__range", "bobbin_style", "product")
        self.fields["offer"].queryset = offers  # type: ignore[attr-defined]


class StapleThreadForm(RecordForm):
    shade = ShadeField(label=_("Shade"))
    minimum = MeasureField(
        measure="length",
        label=_("Kept at least"),
        help_text=_("0 takes a black or white off the staples."),
    )

    class Meta:
        model = Staple
        fields = ("shade", "minimum")


class StapleRollForm(RecordForm):
    product = forms.ModelChoiceField(queryset=_NOT_SPRAYED, label=_("Stabilizer"))
    minimum = MeasureField(measure="length", label=_("Kept at least, length of roll"))

    class Meta:
        model = Staple
        fields = ("product", "minimum")


class StapleCanForm(RecordForm):
    product = forms.ModelChoiceField(
        queryset=StabilizerProduct.objects.filter(kind=StabilizerProduct.Kind.SPRAY),
        label=_("Spray"),
    )
    minimum = MeasureField(measure="weight", label=_("Kept at least, in all cans"))

    class Meta:
        model = Staple
        fields = ("product", "minimum")


class StapleBobbinForm(RecordForm):
    shade = ShadeField(label=_("Thread on them"))
    bobbin_style = forms.ModelChoiceField(queryset=BobbinStyle.objects.all(), label=_("Bobbin style"))
    minimum = MeasureField(measure="pieces", label=_("Kept at least, full bobbins"))

    class Meta:
        model = Staple
        fields = ("shade", "bobbin_style", "minimum")

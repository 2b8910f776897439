"""Measures that are kept as plain numbers of mm, g or g/m², typed in the units of whoever fills the form in."""

from collections.abc import Callable, Collection
from decimal import Decimal
from typing import Any, NamedTuple

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.compute.density import read_area_weight
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import exact_length, exact_weight
from inventory.compute.spoken import as_written_here
from inventory.compute.units import G_M2_PER_OZ_YD2, G_PER_OUNCE, MM_PER_INCH, Units
from inventory.shelf.forms import NumberField


class TypedIn(NamedTuple):
    """The unit in which a measure is typed: how many of the kept unit it is, and how a text is read in it."""

    unit: str
    one: float
    reads: Callable[[str], float]


def scale_for(name: str, units: Units) -> TypedIn | None:
    """Return the scale of a field whose name ends with the unit that it is kept in, None for any other.

    >>> scale_for("field_width_mm", Units(size="in")).unit, scale_for("pieces", Units())
    ('in', None)
    """
    if name.endswith("_g_m2"):
        unit = units.area_weight
        one = G_M2_PER_OZ_YD2 if unit == "oz/yd²" else 1.0
        return TypedIn(unit, one, lambda text: read_area_weight(text, unit=unit))
    if name.endswith("_mm"):
        unit = units.across
        one = MM_PER_INCH if unit == "in" else 1.0
        return TypedIn(unit, one, lambda text: float(exact_length(text, unit=unit)))
    if name.endswith("_g"):
        one = G_PER_OUNCE if units.weight == "oz" else 1.0
        return TypedIn(units.weight, one, lambda text: float(exact_weight(text, unit=units.weight)) / 1000)
    return None


class ShownNumberField(NumberField):
    """A number shown as people write it; with a ``scale`` one that is typed in a person's own unit, or any other.

    ``least`` and ``most`` are in the unit it is kept in, and told in the person's. What was ``kept`` stays to the last
    digit where what is shown of it is sent back untouched.
    """

    def __init__(
        self,
        *,
        scale: TypedIn | None = None,
        whole: bool = False,
        kept: float | Decimal | None = None,
        least: float | None = None,
        most: float | None = None,
        **options: Any,
    ) -> None:
        self.scale, self.whole, self.kept, self.least, self.most = scale, whole, kept, least, most
        super().__init__(**options)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
            return value
        return self._shown(float(value))

    def to_python(self, value: Any) -> Any:
        text = "" if value is None else str(value).strip()
        if self.kept is not None and text == self.prepare_value(self.kept):
            return self.kept
        number = self._measured(text, self.scale) if self.scale and text else super().to_python(value)
        if number is None:
            return None
        number = round(number) if self.whole else number
        self._refuse_beyond(number)
        return number

    def _measured(self, text: str, scale: TypedIn) -> float:
        text = text.replace("\x00", "")
        below = self.signed and text.startswith(("-", "−"))
        try:
            number = scale.reads(text[1:] if below else text)
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None
        return -number if below else number

    def _shown(self, value: float) -> str:
        number = value / (self.scale.one if self.scale else 1.0)
        # Never three figures after the point: typed back, they would be asked about.
        shown = f"{number:.{2 if abs(number) >= 1 else 4}f}"
        return as_written_here(shown.rstrip("0").rstrip("."))

    def _refuse_beyond(self, number: float) -> None:
        for limit, is_beyond, said in (
            (self.least, lambda at: number < at, _("Type {limit} or more.")),
            (self.most, lambda at: number > at, _("Type {limit} or less.")),
        ):
            if limit is not None and is_beyond(limit):
                unit = f" {self.scale.unit}" if self.scale else ""
                raise forms.ValidationError(said.format(limit=f"{self._shown(limit)}{unit}"))


class AcrossField(NumberField):
    """A diameter, cleaned to mm as float; typed in mm or in inches, as the person reads, or in any unit."""

    scale: TypedIn | None = None

    def read_in(self, units: Units) -> None:
        """Take the person's unit, and say it in the label."""
        self.scale = scale_for("across_mm", units)
        assert self.scale is not None
        self.label = f"{self.label}, {self.scale.unit}"

    def to_python(self, value: Any) -> Any:
        text = forms.CharField.to_python(self, value)
        if not text or self.scale is None:
            return super().to_python(value)
        try:
            return self.scale.reads(text.replace("\x00", ""))
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None


def as_people_write(form: forms.BaseForm, units: Units, *, signed: Collection[str] = ()) -> None:
    """Have a form show numbers as people write them, and take measures in the person's units or in any others.

    Fields are known by how their names end: ``_mm``, ``_g`` and ``_g_m2``. Those ``signed`` may be below zero.
    """
    for name, field in form.fields.items():
        scale = scale_for(name, units)
        is_number = isinstance(field, forms.FloatField | NumberField | forms.DecimalField)
        if not (
            type(field) is forms.FloatField or (scale and (is_number or type(field) is forms.IntegerField))
        ):
            continue
        kept = form.get_initial_for_field(field, name)
        least, most = _limits(form, name)
        form.fields[name] = ShownNumberField(
            scale=scale,
            signed=name in signed,
            whole=type(field) is forms.IntegerField,
            kept=kept if isinstance(kept, int | float | Decimal) else None,
            least=None if name in signed else least,
            most=most,
            label=_in_their_unit(field.label, name, scale) if scale else field.label,
            required=field.required,
            initial=field.initial,
            help_text=field.help_text,
        )


def _limits(form: forms.BaseForm, name: str) -> tuple[float | None, float | None]:
    """Return the least and the most that a field takes, by itself or by what keeps it."""
    validators = list(form.fields[name].validators)
    if isinstance(form, forms.BaseModelForm) and name in {
        each.name for each in form._meta.model._meta.fields
    }:
        validators += form._meta.model._meta.get_field(name).validators
    least = [float(each.limit_value) for each in validators if isinstance(each, MinValueValidator)]
    most = [float(each.limit_value) for each in validators if isinstance(each, MaxValueValidator)]
    return max(least, default=None), min(most, default=None)


def _in_their_unit(label: Any, name: str, scale: TypedIn) -> Any:
    kept = "g/m²" if name.endswith("_g_m2") else "mm" if name.endswith("_mm") else "g"
    if scale.unit == kept or not isinstance(label, str | Promise):
        return label
    # What a language calls it at the end of a label: "in mm" is more than ", mm" with another unit.
    said = str(label).replace(f", {kept}", f", {scale.unit}")
    return said.replace("in mm", str(_("in inches"))) if kept == "mm" else said

"""Fields and forms of the shelf: quantities typed in the person's units, and who answers for them."""

from collections.abc import Callable
from datetime import datetime
from decimal import Decimal
from typing import Any, ClassVar, Protocol, runtime_checkable
from uuid import uuid4

from django import forms
from django.db.models import Q
from django.urls import reverse_lazy
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.compute.density import read_area_weight, read_linear_density
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import (
    format_length,
    format_weight,
    parse_count,
    parse_decimal,
    parse_length,
    parse_weight,
    read_scale,
)
from inventory.compute.spoken import as_written_here, plainly
from inventory.compute.units import G_M2_PER_OZ_YD2, METRIC, Units
from inventory.models import Place, PutUp, Shade, StockItem
from inventory.shelf.receipts import MOST_PRICE


class TypedField(forms.CharField):
    """A field that is typed as text and means something else; the length of the text is the browser's business."""

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        return text.replace("\x00", "") if text else text

    def run_validators(self, value: Any) -> None:
        """Do nothing: a text field's validators measure text, and the reader of the text refuses what is too long."""


@runtime_checkable
class ReadIn(Protocol):
    """A field that is typed in the units of whoever fills its form in."""

    def read_in(self, units: Units) -> None: ...


class MeasureField(TypedField):
    """A quantity typed as people write it, cleaned to whole mm, mg or pieces.

    ``measure`` is length, size, weight or pieces; the unit that is meant where none is typed is the person's.
    """

    unit = ""

    def __init__(self, *, measure: str, **options: Any) -> None:
        self.measure = measure
        options.setdefault("max_length", 40)
        super().__init__(**options)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def read_in(self, units: Units) -> None:
        """Take the person's unit, and say it in the label."""
        self.unit = {"length": units.length, "size": units.size, "weight": units.weight}.get(self.measure, "")
        if self.unit:
            self.label = f"{self.label}, {self.unit}"

    def prepare_value(self, value: Any) -> Any:
        """Return a stored quantity as a person would type it, without losing any of it."""
        if not isinstance(value, int) or isinstance(value, bool):
            return value
        if not self.unit:
            return str(value)
        writes: Callable[..., str] = format_weight if self.measure == "weight" else format_length
        for places in (1, 2, 0, 4, 5, 6):  # three would be asked about when typed back
            text = writes(value, unit=self.unit, places=places, grouped=False)
            if self._read(text) == value:
                break
        return text.partition(" ")[0]

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(super().has_changed(self.prepare_value(initial), data))

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        try:
            return self._read(text)
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None

    def _read(self, text: str) -> Any:
        if self.measure == "pieces":
            return parse_count(text)
        reads: Callable[..., int] = parse_weight if self.measure == "weight" else parse_length
        return reads(text, unit=self.unit)


class ScaleField(MeasureField):
    """A weight as the scale shows it, cleaned to a ScaleReading: the figures typed say how finely it was read."""

    def __init__(self, **options: Any) -> None:
        super().__init__(measure="weight", **options)

    def _read(self, text: str) -> Any:
        return read_scale(text, unit=self.unit)


class NumberField(TypedField):
    """A plain number, with a comma or a point, cleaned to float; ``signed`` allows one below zero."""

    def __init__(self, *, signed: bool = False, **options: Any) -> None:
        self.signed = signed
        super().__init__(max_length=20, **options)
        self.widget.attrs |= {"inputmode": "text" if signed else "decimal", "autocomplete": "off"}

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        below = self.signed and text.startswith(("-", "−"))
        try:
            number = float(parse_decimal(text[1:] if below else text))
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None
        return -number if below else number


class PercentField(TypedField):
    """A share typed in percent, 95 or 95 %, cleaned to a float from 0 to 1.

    ``least`` and ``most`` are in percent. Where ``least_meant`` is more than nothing, a number below it that is no
    nothing is asked about: whoever types 0.95 means 95.
    """

    def __init__(
        self, *, least: float = 0.0, most: float = 100.0, least_meant: float = 0.0, **options: Any
    ) -> None:
        self.least, self.most, self.least_meant = least, most, least_meant
        super().__init__(max_length=20, **options)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def prepare_value(self, value: Any) -> Any:
        """Return a share as a person would type it."""
        return plainly(round(value * 100, 4)) if isinstance(value, float) else value

    def to_python(self, value: Any) -> Any:
        if isinstance(value, float):
            return value
        text = super().to_python(value)
        if not text:
            return None
        try:
            number = float(parse_decimal(text.strip().removesuffix("%").strip()))
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None
        if 0 < number < self.least_meant:
            raise forms.ValidationError(
                _("{text} in a hundred is next to nothing. Is {number} meant? Type it like that.").format(
                    text=text, number=as_written_here(f"{number * 100:g}")
                )
            )
        if not self.least <= number <= self.most:
            raise forms.ValidationError(
                _("Type a number from {least} to {most}, such as 95.").format(
                    least=as_written_here(f"{self.least:g}"), most=as_written_here(f"{self.most:g}")
                )
            )
        return number / 100

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(super().has_changed(self.prepare_value(initial), data))


class DensityField(TypedField):
    """A linear density in tex, dtex, denier, Nm or Ne, cleaned to a LinearDensity."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=24, **options)
        self.widget.attrs |= {"autocomplete": "off"}

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        return _read(text, read_linear_density) if text else None


class AreaWeightField(TypedField):
    """The weight of cloth or stabilizer in g/m² or oz/yd², cleaned to g/m²; without a unit it is in the person's.

    What was ``kept`` stays to the last digit where what is shown of it is sent back untouched.
    """

    unit = "g/m²"
    kept: float | None = None

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=24, **options)
        self.widget.attrs |= {"autocomplete": "off"}

    def read_in(self, units: Units) -> None:
        """Take the person's unit, and say it in the label."""
        self.unit = units.area_weight
        self.label = f"{self.label}, {self.unit}"

    def prepare_value(self, value: Any) -> Any:
        """Return a weight as a person would type it, to a hundredth of an ounce."""
        if not isinstance(value, int | float) or isinstance(value, bool):
            return value
        if self.unit == "oz/yd²":
            return as_written_here(f"{value / G_M2_PER_OZ_YD2:.2f}".rstrip("0").rstrip("."))
        return as_written_here(f"{value:.4f}".rstrip("0").rstrip("."))

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if self.kept is not None and text == self.prepare_value(self.kept):
            return self.kept
        return _read(text, lambda typed: read_area_weight(typed, unit=self.unit)) if text else None


def _read(text: str, read: Callable[[str], Any]) -> Any:
    try:
        return read(text)
    except WorkshopError as problem:
        raise forms.ValidationError(str(problem)) from None


class UnitsForm(forms.Form):
    """A form whose quantities are typed in the units of the person who fills it in."""

    def __init__(self, *args: Any, units: Units = METRIC, **options: Any) -> None:
        options.setdefault("label_suffix", "")
        super().__init__(*args, **options)
        self.units = units
        for field in self.fields.values():
            if isinstance(field, ReadIn):
                field.read_in(units)


def new_key() -> str:
    """Return the key of a request that has not been made yet."""
    return uuid4().hex


class KeyedForm(UnitsForm):
    """A form that moves stock: its hidden key makes sending it twice harmless."""

    key = forms.CharField(widget=forms.HiddenInput, max_length=64)

    def __init__(self, *args: Any, **options: Any) -> None:
        options["initial"] = {"key": new_key()} | (options.get("initial") or {})
        super().__init__(*args, **options)


class PlaceField(forms.ModelChoiceField):
    """A place to choose."""

    def __init__(self, **options: Any) -> None:
        super().__init__(queryset=Place.objects.all(), **options)


class PutUpField(forms.ModelChoiceField):
    """A put-up to choose, each with its range."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            queryset=PutUp.objects.select_related("range").order_by("range", "length_mm"), **options
        )

    def label_from_instance(self, put_up: Any) -> str:
        return f"{put_up.range}, {put_up}"


class MoneyField(TypedField):
    """An amount of the workshop's money, with a comma or a point, cleaned to Decimal."""

    most = MOST_PRICE

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=16, **options)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        try:
            amount = parse_decimal(text)
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None
        # Looked at first: what is far too large cannot be rounded at all.
        cents = amount.quantize(Decimal("0.01")) if abs(amount) <= self.most else None
        if cents is None or cents != amount:
            raise forms.ValidationError(
                _("{text} is no price. Type it with two decimals at most, like 4.20.").format(text=text)
            )
        return cents


# So many shades are offered where the text fits several.
MOST_OFFERED = 8


class ShadeField(TypedField):
    """A shade by its code (earlier ones too), its name, or its maker, range and code; cleaned to the Shade."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("help_text", _("Its code or its name; maker and range too where several have it."))
        super().__init__(max_length=160, **options)
        self.widget.attrs |= {
            "list": "known-shades",
            "autocomplete": "off",
            "spellcheck": "false",
            "hx-get": reverse_lazy("shade_choices"),
            "hx-trigger": "input changed delay:200ms",
            "hx-target": "#known-shades",
            "hx-swap": "innerHTML",
        }

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int):
            return str(Shade.objects.select_related("range").filter(pk=value).first() or "")
        return str(value) if isinstance(value, Shade) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        return bool(super().has_changed(self.prepare_value(initial), data))

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        found = shades_like(text)
        if len(found) == 1:
            return found[0]
        if not found:
            raise forms.ValidationError(
                _(
                    'No shade is called "{text}". Check its code, or add the shade in the catalogue first.'
                ).format(text=text)
            )
        offered = "; ".join(str(shade) for shade in found[:MOST_OFFERED])
        said = _('"{text}" could be {offered}. Type one of them.')
        if len(found) > MOST_OFFERED:
            said = _('"{text}" could be {offered} and more. Type one of them.')
        raise forms.ValidationError(said.format(text=text, offered=offered))


def shades_like(text: str, *, most: int = MOST_OFFERED + 1) -> list[Shade]:
    """Return the shades that ``text`` names: the one it names wholly, else those of that code, else of those words."""
    typed = " ".join(text.split())
    shades = Shade.objects.select_related("range").order_by("range__maker", "range__name", "code")
    of_code = list(shades.by_code(typed)[:most])
    if of_code:
        return of_code
    asked = Q()
    for word in typed.split():
        asked &= (
            Q(code__icontains=word)
            | Q(name__icontains=word)
            | Q(range__maker__icontains=word)
            | Q(range__name__icontains=word)
        )
    found = list(shades.filter(asked)[: max(most, 50)])
    wholly = [shade for shade in found if typed.casefold() in (str(shade).casefold(), shade.name.casefold())]
    return (wholly if len(wholly) == 1 else found)[:most]


class NothingToMove(WorkshopError):
    """The quantity is zero, where only more than zero does anything."""


class Act(KeyedForm):
    """One step with one thing. ``slug`` is its address, ``button`` what it is called where it is done."""

    slug: ClassVar[str]
    button: ClassVar[str | Promise]
    about: ClassVar[str | Promise] = ""
    kinds: ClassVar[frozenset[str]] = frozenset(StockItem.Kind.values)

    def __init__(self, *args: Any, item: StockItem, units: Units, **options: Any) -> None:
        self.item = item
        options.setdefault("auto_id", f"{self.slug}-%s")
        super().__init__(*args, units=units, **options)

    def carry_out(self, *, at: datetime, by: Any) -> None:
        """Do it, under the form's key."""
        raise NotImplementedError

    def _request(self, at: datetime, by: Any) -> dict[str, Any]:
        return {"key": self.cleaned_data["key"], "at": at, "by": by}


class QuantityAct(Act):
    """An act whose quantity is in the item's own unit."""

    quantity = MeasureField(measure="pieces", label=_("How much"))

    def __init__(self, *args: Any, item: StockItem, units: Units, **options: Any) -> None:
        super().__init__(*args, item=item, units=units, **options)
        field = self.fields["quantity"]
        assert isinstance(field, MeasureField)
        if item.is_measured:
            field.measure = "size" if item.kind == StockItem.Kind.ROLL else "length"
            field.read_in(units)
        elif item.is_in_mg:
            field.measure = "weight"
            field.read_in(units)
        elif item.kind == StockItem.Kind.OFFCUT:
            # There is one of it: nothing to ask.
            field.widget, field.initial = forms.HiddenInput(), "1"
        else:
            field.label = _("How many")

    def _moved(self) -> int:
        quantity: int = self.cleaned_data["quantity"]
        if quantity == 0:
            raise NothingToMove(_("0 moves nothing. Type how much it was."))
        return quantity

"""Fields and forms of the shelf: quantities typed in the person's units, and who answers for them."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

from django import forms

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import parse_count, parse_decimal, parse_length, parse_weight
from inventory.compute.units import METRIC, Units
from inventory.models import Place


class MeasureField(forms.CharField):
    """A quantity typed as people write it, cleaned to whole mm, mg or pieces.

    ``measure`` is length, size, weight or pieces; the unit that is meant where none is typed is the person's.
    """

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
            # A person may type the unit too, and a phone's number pad has no letters.
            self.widget.attrs["inputmode"] = "text" if self.measure == "length" else "decimal"

    def to_python(self, value: Any) -> int | None:
        text = super().to_python(value)
        if not text:
            return None
        try:
            return self._read(text)
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None

    def _read(self, text: str) -> int:
        if self.measure == "pieces":
            return parse_count(text)
        reads: Callable[..., int] = parse_weight if self.measure == "weight" else parse_length
        return reads(text, unit=self.unit)


class NumberField(forms.CharField):
    """A plain number, with a comma or a point, cleaned to float; ``signed`` allows one below zero."""

    def __init__(self, *, signed: bool = False, **options: Any) -> None:
        self.signed = signed
        super().__init__(max_length=20, **options)
        self.widget.attrs |= {"inputmode": "text" if signed else "decimal", "autocomplete": "off"}

    def to_python(self, value: Any) -> float | None:
        text = super().to_python(value)
        if not text:
            return None
        below = self.signed and text.startswith(("-", "−"))
        try:
            number = float(parse_decimal(text[1:] if below else text))
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None
        return -number if below else number


class UnitsForm(forms.Form):
    """A form whose quantities are typed in the units of the person who fills it in."""

    def __init__(self, *args: Any, units: Units = METRIC, **options: Any) -> None:
        options.setdefault("label_suffix", "")
        super().__init__(*args, **options)
        self.units = units
        for field in self.fields.values():
            if isinstance(field, MeasureField):
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

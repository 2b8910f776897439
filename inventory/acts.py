"""What a person can do with one thing on the shelf: an act is a form, and the verb that carries it out."""

import re
from datetime import datetime
from decimal import Decimal
from typing import Any, ClassVar

from django import forms

from inventory import ledger
from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import parse_weight
from inventory.compute.units import Units
from inventory.compute.weighing import FILL_LEVELS
from inventory.forms import KeyedForm, MeasureField, PlaceField
from inventory.ledger import Finding, Line
from inventory.models import BobbinStyle, Entry, StockItem
from inventory.weighing import MoreThanFull, judge_spool, learn_tare, mark_unknown, weigh_spool
from inventory.winding import open_bobbin, put_back_part_bobbin, wind_bobbins

Kind = StockItem.Kind
Known = StockItem.Known

# How well a person reads a length off a ruler or a counter: common practice, no source.
MEASURED_SIGMA = 0.02
_FIGURES = re.compile(r"[0-9]+(?:[.,](?P<decimals>[0-9]+))?")


class NothingToMove(WorkshopError):
    """The quantity is zero, where only more than zero does anything."""


def scale_resolution(text: str, *, unit: str) -> int:
    """Return in mg the last figure that the scale showed, as it was typed: 52.4 g was read to 0.1 g.

    >>> scale_resolution("52.4", unit="g"), scale_resolution("52", unit="g"), scale_resolution("1.85 oz", unit="g")
    (100, 1000, 283)
    """
    figures = _FIGURES.search(text)
    decimals = len(figures["decimals"] or "") if figures else 0
    written_unit = re.sub(r"[0-9.,\s]+", "", text) or unit
    return max(1, round(parse_weight("1", unit=written_unit) * Decimal(10) ** -decimals))


class Act(KeyedForm):
    """One step with one thing. ``slug`` is its address, ``button`` what it is called where it is done."""

    slug: ClassVar[str]
    button: ClassVar[str]
    about: ClassVar[str] = ""
    kinds: ClassVar[frozenset[str]] = frozenset(Kind.values)

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

    quantity = MeasureField(measure="pieces", label="How much")

    def __init__(self, *args: Any, item: StockItem, units: Units, **options: Any) -> None:
        super().__init__(*args, item=item, units=units, **options)
        field = self.fields["quantity"]
        assert isinstance(field, MeasureField)
        if item.is_measured:
            field.measure = "size" if item.kind == Kind.ROLL else "length"
            field.read_in(units)
        else:
            field.label = "How many"

    def _moved(self) -> int:
        quantity: int = self.cleaned_data["quantity"]
        if quantity == 0:
            raise NothingToMove("0 moves nothing. Type how much it was.")
        return quantity


class Take(QuantityAct):
    slug, button = "take", "Take"
    about = "What goes on a machine or into a job."
    reference = forms.CharField(label="What for", max_length=120, required=False)

    def carry_out(self, *, at: datetime, by: Any) -> None:
        reference = self.cleaned_data["reference"]
        ledger.use(self.item, quantity=self._moved(), reference=reference, **self._request(at, by))


class PutBack(QuantityAct):
    slug, button = "put-back", "Put back"
    about = "What was taken and not used."
    kinds = frozenset({Kind.SPOOL, Kind.BOBBINS, Kind.ROLL, Kind.SHEETS, Kind.NEEDLES})

    def carry_out(self, *, at: datetime, by: Any) -> None:
        line = Line(self.item, self._moved())
        ledger.post([line], reason=Entry.Reason.USE, reference="put back", **self._request(at, by))


class PutBackPartBobbin(QuantityAct):
    slug, button = "put-back", "Put back"
    about = "What is left on it after the job; the rest was used. 0 takes the empty bobbin off the shelf."
    kinds = frozenset({Kind.PART_BOBBIN})

    def carry_out(self, *, at: datetime, by: Any) -> None:
        put_back_part_bobbin(self.item, left_mm=self.cleaned_data["quantity"], **self._request(at, by))


class Weigh(Act):
    slug, button = "weigh", "Weigh"
    about = "The spool with its thread. Type every figure that the scale shows: 52.40 is surer than 52."
    kinds = frozenset({Kind.SPOOL})
    gross = MeasureField(measure="weight", label="The scale shows")
    sure = forms.BooleanField(
        label="I am sure that this is the right spool and the right unit", required=False, widget=forms.HiddenInput
    )

    def carry_out(self, *, at: datetime, by: Any) -> None:
        resolution_mg = scale_resolution(self.data[self.add_prefix("gross")], unit=self.units.weight)
        try:
            weigh_spool(
                self.item,
                gross_mg=self.cleaned_data["gross"],
                scale_resolution_mg=resolution_mg,
                sure=self.cleaned_data["sure"],
                **self._request(at, by),
            )
        except MoreThanFull:
            # Only now is there something to be sure about.
            self.fields["sure"].widget = forms.CheckboxInput()
            raise


class WeighEmpty(Act):
    slug, button = "weigh-empty", "Enter its empty weight"
    about = "The spool without thread: for all of its put-up if no weight is known yet, else for this one."
    kinds = frozenset({Kind.SPOOL})
    empty = MeasureField(measure="weight", label="Empty weight")

    def carry_out(self, *, at: datetime, by: Any) -> None:
        learn_tare(self.item, empty_mg=self.cleaned_data["empty"], **self._request(at, by))


class Judge(Act):
    slug, button = "judge", "Judge by eye"
    about = "Good enough until it is weighed; the plan counts on it less."
    kinds = frozenset({Kind.SPOOL})
    level = forms.ChoiceField(
        label="It looks", choices=[(word, word) for word in FILL_LEVELS], widget=forms.RadioSelect
    )

    def carry_out(self, *, at: datetime, by: Any) -> None:
        judge_spool(self.item, level=self.cleaned_data["level"], **self._request(at, by))


class Count(QuantityAct):
    slug, button = "count", "Count"
    about = "What is really there. The books are set right by the difference."
    kinds = frozenset(Kind.values) - {Kind.OFFCUT}

    def carry_out(self, *, at: datetime, by: Any) -> None:
        quantity = self.cleaned_data["quantity"]
        sigma = MEASURED_SIGMA * quantity if self.item.is_measured else 0.0
        ledger.find(self.item, quantity=quantity, finding=Finding(sigma, Known.COUNTED), **self._request(at, by))


class Wind(Act):
    slug, button = "wind", "Wind bobbins"
    about = "They become a batch of their own, and their thread leaves this spool."
    kinds = frozenset({Kind.SPOOL})
    count = MeasureField(measure="pieces", label="Bobbins")
    style = forms.ModelChoiceField(queryset=BobbinStyle.objects.all(), label="Style", empty_label=None)
    length = MeasureField(
        measure="length", label="Thread on each", required=False, help_text="Empty: as much as the style holds."
    )

    def carry_out(self, *, at: datetime, by: Any) -> None:
        given = self.cleaned_data
        wind_bobbins(
            self.item, style=given["style"], count=given["count"], length_mm=given["length"], **self._request(at, by)
        )


class OpenBobbin(Act):
    slug, button = "open", "Open one"
    about = "One full bobbin goes on a machine and gets a label of its own, so that what comes back can be put back."
    kinds = frozenset({Kind.BOBBINS})

    def carry_out(self, *, at: datetime, by: Any) -> None:
        open_bobbin(self.item, **self._request(at, by))


class Waste(QuantityAct):
    slug, button = "waste", "Write off"
    about = "Tangled, cut wrong, spoilt: gone without being stitched."
    reference = forms.CharField(label="Why", max_length=120, required=False)

    def carry_out(self, *, at: datetime, by: Any) -> None:
        reference = self.cleaned_data["reference"]
        ledger.waste(self.item, quantity=self._moved(), reference=reference, **self._request(at, by))


class Forget(Act):
    slug, button = "not-known", "Say that nobody knows"
    about = "From now on no plan rests on it, until it is weighed, counted or judged."

    def carry_out(self, *, at: datetime, by: Any) -> None:
        mark_unknown(self.item, **self._request(at, by))


class Move(Act):
    slug, button = "move", "Move"
    place = PlaceField(label="To", required=False, empty_label="no place")

    def carry_out(self, *, at: datetime, by: Any) -> None:
        move([self.item], to=self.cleaned_data["place"], **self._request(at, by))

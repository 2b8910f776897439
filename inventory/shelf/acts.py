"""What a person can do with one thing on the shelf: an act is a form, and the verb that carries it out."""

from datetime import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory import ledger
from inventory.compute.diameters import TOOLS
from inventory.compute.lengths import ScaleReading
from inventory.compute.units import Units
from inventory.compute.weighing import FILL_LEVELS
from inventory.models import BobbinStyle, PutUp, Spool, StockItem
from inventory.shelf.bobbins import open_bobbin, put_back_part_bobbin, wind_bobbins
from inventory.shelf.corrections import correct_spool, shade_meant
from inventory.shelf.counts import count_item
from inventory.shelf.diameters import best_way_in_words, measure_spool
from inventory.shelf.forms import Act, MeasureField, PlaceField, QuantityAct, ScaleField
from inventory.shelf.offcuts import cut_piece
from inventory.shelf.scan_box import Meant, NotAMovement
from inventory.shelf.things import (
    GOES_BACK,
    can_be_put_back,
    edit_item,
    move,
    put_back,
    put_back_on_shelf,
    retire,
    split_pack,
)
from inventory.shelf.typed.measures import AcrossField
from inventory.shelf.weights import (
    MoreThanFull,
    judge_spool,
    learn_tare,
    mark_unknown,
    weigh_can,
    weigh_spool,
)

Kind = StockItem.Kind


class Take(QuantityAct):
    slug, button = "take", _("Take")
    about = _("What goes on a machine or into a job.")
    reference = forms.CharField(label=_("What for"), max_length=120, required=False)

    def carry_out(self, *, at: datetime, by: Any) -> None:
        reference = self.cleaned_data["reference"]
        ledger.use(self.item, quantity=self._moved(), reference=reference, **self._request(at, by))


class PutBack(QuantityAct):
    slug, button = "put-back", _("Put back")
    about = _("What was taken and not used.")
    kinds = GOES_BACK

    def carry_out(self, *, at: datetime, by: Any) -> None:
        put_back(self.item, quantity=self._moved(), **self._request(at, by))


class PutBackPartBobbin(QuantityAct):
    slug, button = "put-back", _("Put back")
    about = _("What is left on it after the job; the rest was used. 0 takes the empty bobbin off the shelf.")
    kinds = frozenset({Kind.PART_BOBBIN})

    def carry_out(self, *, at: datetime, by: Any) -> None:
        put_back_part_bobbin(self.item, left_mm=self.cleaned_data["quantity"], **self._request(at, by))


class Weigh(Act):
    slug, button = "weigh", _("Weigh")
    about = _("The spool with its thread. Type every figure that the scale shows: 52.40 is surer than 52.")
    kinds = frozenset({Kind.SPOOL})
    gross = ScaleField(label=_("The scale shows"))
    sure = forms.BooleanField(
        label=_("I am sure that this is the right spool and the right unit"),
        required=False,
        widget=forms.HiddenInput,
    )

    def carry_out(self, *, at: datetime, by: Any) -> None:
        gross: ScaleReading = self.cleaned_data["gross"]
        try:
            weigh_spool(
                self.item,
                gross_mg=gross.mg,
                scale_resolution_mg=gross.resolution_mg,
                sure=self.cleaned_data["sure"],
                **self._request(at, by),
            )
        except MoreThanFull:
            # Only now is there something to be sure about.
            self.fields["sure"].widget = forms.CheckboxInput()
            raise


class WeighCan(Act):
    slug, button = "weigh", _("Weigh")
    about = _(
        "The can as it stands. What is in it is that less the empty can; neither warm it nor "
        "pierce it: as it says."
    )
    kinds = frozenset({Kind.CAN})
    gross = ScaleField(label=_("The scale shows"))
    empty = MeasureField(
        measure="weight",
        label=_("The empty can"),
        required=False,
        help_text=_(
            "Once: a full can's weight less what is printed as its content. Blank: as it was said before."
        ),
    )
    sure = forms.BooleanField(
        label=_("I am sure that this is the right can and the right unit"),
        required=False,
        widget=forms.HiddenInput,
    )

    def carry_out(self, *, at: datetime, by: Any) -> None:
        given = self.cleaned_data
        try:
            weigh_can(
                self.item,
                gross=given["gross"],
                empty_mg=given["empty"],
                sure=given["sure"],
                **self._request(at, by),
            )
        except MoreThanFull:
            self.fields["sure"].widget = forms.CheckboxInput()
            raise


class MeasureAcross(Act):
    slug, button = "measure", _("Measure across")
    about = _(
        "Across the thread, half-way up. Calipers tell more than a ruler; three turns tell more than one."
    )
    kinds = frozenset({Kind.SPOOL})
    diameter = AcrossField(label=_("Across the thread"))
    tool = forms.ChoiceField(
        label=_("Measured with"), choices=[(word, _(word)) for word in TOOLS], initial="calipers"
    )

    def __init__(self, *args: Any, item: StockItem, units: Units, **options: Any) -> None:
        super().__init__(*args, item=item, units=units, **options)
        self.about = f"{MeasureAcross.about} {best_way_in_words(item, units)}"  # type: ignore[misc,assignment]

    def carry_out(self, *, at: datetime, by: Any) -> None:
        measure_spool(
            self.item,
            diameter_mm=self.cleaned_data["diameter"],
            tool=self.cleaned_data["tool"],
            **self._request(at, by),
        )


class WeighEmpty(Act):
    slug, button = "weigh-empty", _("Enter its empty weight")
    about = _(
        "The spool without thread: for all that are sold like it if no weight is known yet, else for this one."
    )
    kinds = frozenset({Kind.SPOOL})
    empty = MeasureField(measure="weight", label=_("Empty weight"))

    def carry_out(self, *, at: datetime, by: Any) -> None:
        learn_tare(self.item, empty_mg=self.cleaned_data["empty"], **self._request(at, by))


class Judge(Act):
    slug, button = "judge", _("Judge by eye")
    about = _("Good enough until it is weighed; the plan counts on it less.")
    kinds = frozenset({Kind.SPOOL})
    level = forms.ChoiceField(
        label=_("It looks"),
        choices=[(word, _(word)) for word in FILL_LEVELS],
        widget=forms.RadioSelect,
    )

    def carry_out(self, *, at: datetime, by: Any) -> None:
        judge_spool(self.item, level=self.cleaned_data["level"], **self._request(at, by))


class Count(QuantityAct):
    slug, button = "count", _("Count")
    about = _("What is really there. The books are set right by the difference.")
    kinds = frozenset(Kind.values) - {Kind.OFFCUT}

    sure = forms.BooleanField(
        label=_("I am sure that there is so much"), required=False, widget=forms.HiddenInput
    )

    def carry_out(self, *, at: datetime, by: Any) -> None:
        given = self.cleaned_data
        try:
            count_item(self.item, quantity=given["quantity"], sure=given["sure"], **self._request(at, by))
        except MoreThanFull:
            self.fields["sure"].widget = forms.CheckboxInput()
            raise


class Wind(Act):
    slug, button = "wind", _("Wind bobbins")
    about = _("They become a batch of their own, and their thread leaves this spool.")
    kinds = frozenset({Kind.SPOOL})
    count = MeasureField(measure="pieces", label=_("Bobbins"))
    style = forms.ModelChoiceField(queryset=BobbinStyle.objects.all(), label=_("Style"), empty_label=None)
    length = MeasureField(
        measure="length",
        label=_("Thread on each"),
        required=False,
        help_text=_("Empty: as much as the style holds."),
    )

    def carry_out(self, *, at: datetime, by: Any) -> None:
        given = self.cleaned_data
        wind_bobbins(
            self.item,
            style=given["style"],
            count=given["count"],
            length_mm=given["length"],
            **self._request(at, by),
        )


class OpenBobbin(Act):
    slug, button = "open", _("Open one")
    about = _(
        "One full bobbin goes on a machine and gets a label of its own, so that what comes back "
        "can be put back."
    )
    kinds = frozenset({Kind.BOBBINS})

    def carry_out(self, *, at: datetime, by: Any) -> None:
        open_bobbin(self.item, **self._request(at, by))


class Waste(QuantityAct):
    slug, button = "waste", _("Write off")
    about = _("Tangled, cut wrong, spoilt: gone without being stitched.")
    reference = forms.CharField(label=_("Why"), max_length=120, required=False)

    def carry_out(self, *, at: datetime, by: Any) -> None:
        reference = self.cleaned_data["reference"]
        ledger.waste(self.item, quantity=self._moved(), reference=reference, **self._request(at, by))


class Forget(Act):
    slug, button = "not-known", _("It is not known")
    about = _("From now on no plan rests on it, until it is weighed, counted or judged.")

    def carry_out(self, *, at: datetime, by: Any) -> None:
        mark_unknown(self.item, **self._request(at, by))


class CutAct(Act):
    slug, button = "cut", _("Cut a piece")
    about = _(
        "The height runs along the roll. What is left of it beside the piece can go back on the "
        "shelf as an offcut."
    )
    kinds = frozenset({Kind.ROLL, Kind.SHEETS, Kind.OFFCUT})
    width = MeasureField(measure="size", label=_("Width"))
    height = MeasureField(measure="size", label=_("Height"))
    keep_width = MeasureField(measure="size", label=_("Width of a rest to keep"), required=False)
    keep_height = MeasureField(measure="size", label=_("Its height"), required=False)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if not self.errors and bool(given["keep_width"]) != bool(given["keep_height"]):
            missing = "keep_height" if given["keep_width"] else "keep_width"
            self.add_error(missing, _("A rest has a width and a height. Type both, or neither."))
        return given

    def carry_out(self, *, at: datetime, by: Any) -> None:
        given = self.cleaned_data
        cut_piece(
            self.item,
            width_mm=given["width"],
            height_mm=given["height"],
            keep=[(given["keep_width"], given["keep_height"])] if given["keep_width"] else [],
            **self._request(at, by),
        )


class Move(Act):
    slug, button = "move", _("Move")
    place = PlaceField(label=_("To"), required=False, empty_label=_("no place"))

    def __init__(self, *args: Any, item: StockItem, **options: Any) -> None:
        options["initial"] = {"place": item.place_id} | (options.get("initial") or {})
        super().__init__(*args, item=item, **options)

    def carry_out(self, *, at: datetime, by: Any) -> None:
        move(self.item, place=self.cleaned_data["place"], **self._request(at, by))


class Describe(Act):
    slug, button = "note", _("Change lot and note")
    lot = forms.CharField(label=_("Lot"), max_length=40, required=False)
    note = forms.CharField(label=_("Note"), max_length=200, required=False)

    def __init__(self, *args: Any, item: StockItem, **options: Any) -> None:
        options["initial"] = {"lot": item.lot, "note": item.note} | (options.get("initial") or {})
        super().__init__(*args, item=item, **options)

    def carry_out(self, *, at: datetime, by: Any) -> None:
        given = self.cleaned_data
        edit_item(self.item, lot=given["lot"], note=given["note"], **self._request(at, by))


class Correct(Act):
    slug, button = "correct", _("Correct what it is")
    about = _(
        "It was entered under the wrong maker, shade or length when full. What was weighed is reckoned "
        "anew from its weight."
    )
    kinds = frozenset({Kind.SPOOL})
    shade = forms.CharField(label=_("It is: maker, range and code"), max_length=160)
    put_up = forms.ModelChoiceField(
        queryset=PutUp.objects.none(),
        label=_("Length when full"),
        required=False,
        empty_label=_("not known"),
    )
    why = forms.CharField(label=_("Why"), max_length=100, required=False)

    def __init__(self, *args: Any, item: StockItem, **options: Any) -> None:
        spool = Spool.objects.select_related("shade__range").get(pk=item.pk)
        now = {"shade": f"{spool.shade.range} {spool.shade.code}", "put_up": spool.put_up_id}
        options["initial"] = now | (options.get("initial") or {})
        super().__init__(*args, item=item, **options)
        self.fields["put_up"].queryset = PutUp.objects.select_related("range").order_by(  # type: ignore[attr-defined]
            "range__maker", "range__name", "length_mm"
        )
        self.fields["put_up"].label_from_instance = lambda each: f"{each.range}: {each}"  # type: ignore[attr-defined]

    def carry_out(self, *, at: datetime, by: Any) -> None:
        given = self.cleaned_data
        correct_spool(
            self.item,
            shade=shade_meant(given["shade"]),
            put_up=given["put_up"],
            why=given["why"],
            **self._request(at, by),
        )


class Split(Act):
    slug, button = "split", _("Split")
    about = _("So many get a label of their own and can be kept in another place.")
    kinds = frozenset({Kind.BOBBINS, Kind.SHEETS, Kind.NEEDLES})
    count = MeasureField(measure="pieces", label=_("How many"))
    place = PlaceField(label=_("To"), required=False, empty_label=_("the same place"))

    def carry_out(self, *, at: datetime, by: Any) -> None:
        given = self.cleaned_data
        split_pack(self.item, count=given["count"], place=given["place"], **self._request(at, by))


class Retire(Act):
    slug, button = "retire", _("Take it off the shelf")
    about = _(
        "Lost, given away, thrown out. What is left is written off; its history stays, and it "
        "can be put back."
    )
    reference = forms.CharField(label=_("Why"), max_length=120, required=False)

    def carry_out(self, *, at: datetime, by: Any) -> None:
        retire(self.item, reference=self.cleaned_data["reference"], **self._request(at, by))


class PutOnShelf(Act):
    slug, button = "put-on-shelf", _("Put it back on the shelf")
    about = _("It is there after all: it comes back with what was on it.")

    def carry_out(self, *, at: datetime, by: Any) -> None:
        put_back_on_shelf(self.item, **self._request(at, by))


# In the order in which they are wanted.
ACTS: tuple[type[Act], ...] = (
    OpenBobbin,
    CutAct,
    PutBackPartBobbin,
    Take,
    Weigh,
    WeighCan,
    PutBack,
    MeasureAcross,
    Judge,
    Count,
    Wind,
    Move,
    Split,
    Waste,
    Describe,
    Correct,
    WeighEmpty,
    Forget,
    Retire,
)


def acts_for(item: StockItem) -> list[type[Act]]:
    """Return what can be done with ``item`` as it stands; with one that was taken off the shelf, put it back."""
    if item.retired_at is not None:
        return [PutOnShelf] if can_be_put_back(item) else []
    return [act for act in ACTS if item.kind in act.kinds and not (act is Forget and not item.is_known)]


def act_meant(
    meant: Meant, *, typed: str, item: StockItem, units: Units, key: str, sure: bool = False
) -> Act:
    """Return the act that the scan box was told, ready to be carried out. Raises NotAMovement."""
    fields: dict[str, Any] = {"key": key}
    act: type[Act]
    if sure:
        fields["sure"] = "on"
    if meant.act == "weigh":
        act = Weigh
        fields |= {"gross": typed}
    elif meant.act == "judge":
        act, fields = Judge, fields | {"level": meant.level}
    else:
        act = Take if meant.act == "take" else Count
        fields |= {"quantity": meant.quantity}
    form = act(fields, item=item, units=units)
    if meant.act in ("take", "count"):
        # Read already, in whole mm or pieces: to read it as text again would take it for the person's unit.
        form.fields["quantity"] = forms.IntegerField()
    if not form.is_valid():
        raise NotAMovement(
            " ".join(str(message) for messages in form.errors.values() for message in messages)
        )
    return form

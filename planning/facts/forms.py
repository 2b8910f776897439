"""Forms of the workshop's machines, hoops, fabrics and rules."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.compute.units import reader, told_sides
from inventory.models import NeedlePack
from inventory.shelf.forms import PercentField
from inventory.shelf.typed.lazily import told_lazily
from inventory.shelf.typed.measures import as_people_write
from planning.facts.parts import FormPart, Later, in_parts
from planning.models import Fabric, Hoop, Layer, Machine, Rules

LAYER_FIELDS = ("kind", "weight_from_g_m2", "weight_to_g_m2", "method", "count", "grain_matters", "crossed")
COUNTED = ("stitches_since_needle",)  # moved by notes on the needle, not typed over
TAILS = tuple(f"{thread}_tail_{where}_mm" for thread in ("needle", "bobbin") for where in ("start", "trim"))


MACHINE_PARTS: tuple[Later, ...] = (
    (
        _("How long each step takes"),
        _("a trim, a stop, a change, a hooping"),
        (
            "efficiency",
            "trim_s",
            "stop_s",
            "thread_change_s",
            "rethread_s",
            "bobbin_change_s",
            "hooping_s",
        ),
    ),
    (
        _("How it lays thread"),
        _("how far it draws in, how deep threads interlock, and its tails"),
        ("trim_at_jumps", "kappa", "interlock_depth", "bobbin_start", *TAILS, "threaded_path_mm"),
    ),
)


class MachineForm(forms.ModelForm):
    class Meta:
        model = Machine
        exclude = COUNTED
        labels = {
            "stitches_per_minute": _("Speed set, stitches a minute"),
            "needle_tail_start_mm": _("Needle tail at a start, mm"),
            "needle_tail_trim_mm": _("Needle tail at a cut, mm"),
            "bobbin_tail_start_mm": _("Bobbin tail at a start, mm"),
            "bobbin_tail_trim_mm": _("Bobbin tail at a cut, mm"),
            "threaded_path_mm": _("Threaded path, mm"),
            "needle_life_stitches": _("Stitches a needle lasts"),
            "needles": _("Needles"),
            "bobbin_style": _("Bobbin style"),
            "efficiency": _("Efficiency"),
            "trim_at_jumps": _("Trim at jumps"),
            "interlock_depth": _("Interlock depth"),
            "hoops": _("Hoops"),
        }
        help_texts = {
            "bobbin_start": _(
                "What bobbin thread takes for each length reckoned, before anything was weighed."
            )
        }
        widgets = {"hoops": forms.CheckboxSelectMultiple}

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["bobbin_style"].empty_label = _("choose a style")  # type: ignore[attr-defined]

    @property
    def parts(self) -> list[FormPart]:
        """Its fields, as they stand together."""
        return in_parts(self, MACHINE_PARTS)


class HoopForm(forms.ModelForm):
    class Meta:
        model = Hoop
        fields = "__all__"
        labels = {
            "field_width_mm": _("Field, width in mm"),
            "field_height_mm": _("Field, height in mm"),
            "ring_width_mm": _("Inner ring, width in mm"),
            "ring_height_mm": _("Inner ring, height in mm"),
            "piece_width_mm": _("Stabilizer piece, width in mm"),
            "piece_height_mm": _("Stabilizer piece, height in mm"),
            "is_cap_frame": _("Takes caps: its stabilizer is a strip of that size"),
        }
        help_texts = {"piece_width_mm": _("Empty: the inner ring and the margin of the rules.")}

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if cleaned and bool(cleaned.get("piece_width_mm")) != bool(cleaned.get("piece_height_mm")):
            self.add_error("piece_height_mm", gettext("Give both sides of the stabilizer piece, or neither."))
        elif cleaned and cleaned.get("is_cap_frame") and not cleaned.get("piece_width_mm"):
            self.add_error(
                "piece_width_mm", gettext("A cap frame takes a strip of a set size; give both its sides.")
            )
        return cleaned


class FabricForm(forms.ModelForm):
    class Meta:
        model = Fabric
        fields = "__all__"
        labels = {
            "thickness_mm": _("Thickness with all layers, as the stitch closes round it, mm"),
            "most_stitches_per_minute": _("At most so many stitches a minute"),
        }


class LayerForm(forms.ModelForm):
    class Meta:
        model = Layer
        fields = LAYER_FIELDS
        labels = {"weight_from_g_m2": _("From, g/m²"), "weight_to_g_m2": _("To, g/m²")}

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        as_people_write(self, reader())

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if cleaned and cleaned.get("weight_from_g_m2", 0) > cleaned.get("weight_to_g_m2", 0):
            self.add_error(
                "weight_to_g_m2", gettext("The heaviest is lighter than the lightest; swap the two.")
            )
        if cleaned and (cleaned.get("kind") == "spray") != (cleaned.get("method") == Layer.Method.SPRAYED):
            self.add_error(
                "method",
                gettext("A spray is sprayed on, and nothing else is. Choose kind and method that agree."),
            )
        return cleaned


class Layers(forms.BaseFormSet):
    """The layers of a recipe; the last form is for one more."""

    def add_fields(self, form: forms.Form, index: int | None) -> None:
        super().add_fields(form, index)
        form.fields["DELETE"].label = gettext("Take this layer out")


LayerForms = forms.formset_factory(LayerForm, formset=Layers, extra=1, max_num=8, can_delete=True)


RULES_PARTS: tuple[Later, ...] = (
    (
        _("Colour and fibre"),
        _("how near a thread must be, and which may be chosen"),
        ("colour_limit", "brand_colour_limit", "fibre", "weight_label", "may_mix_fibres"),
    ),
    (
        _("Stabilizer"),
        _("how large its pieces are cut, and what each cut loses"),
        (
            "stabilizer_margin_mm",
            "cut_kerf_mm",
            "roll_edge_mm",
            "ring_strip_width_mm",
            "ring_strip_height_mm",
        ),
    ),
    (
        _("Buying"),
        _("what should never run out, and what may be bought for another"),
        ("service_level", "surplus_worth", "equivalent_within"),
    ),
    (
        _("Costs and quotes"),
        _("what an hour costs, and what is put on top"),
        (
            "hands_on_rate",
            "machine_rate",
            "applique_s",
            "quote_margin_percent",
            "quote_rounded_to",
            "quote_minimum",
        ),
    ),
)


class RulesForm(forms.ModelForm):
    """The workshop's rules; shares are typed in percent, as people say them."""

    enough_at = PercentField(
        label=_("Enough from, %"),
        least_meant=1.0,
        help_text=_("So sure it must be: 95 means 19 times out of 20."),
    )
    tight_at = PercentField(
        label=_("Tight from, %"), least_meant=1.0, help_text=_("Below this it is called short.")
    )
    spoilage = PercentField(
        label=_("Pieces that may spoil, %"), help_text=_("Rounded up. Common practice: 2 to 5 in a hundred.")
    )
    allowance = PercentField(
        label=_("Extra thread for breaks, %"),
        least_meant=1.0,
        help_text=_("For re-stitching and bobbin ends too. Common practice: 5 to 15 in a hundred."),
    )
    service_level = PercentField(
        label=_("Never out of stock, %"),
        least=50.0,
        most=99.9,
        help_text=_("How often what is kept in stock should last until the next order comes: 50 to 99.9."),
    )
    surplus_worth = PercentField(
        label=_("Worth of what is left over, %"),
        most=90.0,
        least_meant=1.0,
        help_text=_(
            "Of its price, what the rest of a pack is worth that will be used within half a year: 0 to 90."
        ),
    )

    class Meta:
        model = Rules
        fields = "__all__"
        labels = {
            "stabilizer_margin_mm": _("Stabilizer margin, mm"),
            "cut_kerf_mm": _("Lost at each stabilizer cut, mm"),
            "roll_edge_mm": _("Trimmed off each roll edge, mm"),
            "ring_strip_width_mm": _("Strip kept of a used ring, width in mm"),
            "ring_strip_height_mm": _("Strip kept of a used ring, height in mm"),
            "hands_on_rate": _("An hour of hands costs"),
            "machine_rate": _("An hour of the machine costs"),
            "colour_limit": _("How near a colour must be: a picture"),
            "brand_colour_limit": _("How near a colour must be: brand colours"),
            "equivalent_within": _("Equal for buying: how near a colour must be"),
            "working_hours_a_day": _("Working hours a day"),
            "workshop_name": _("Workshop name"),
            "currency": _("Currency"),
            "test_pieces": _("Test pieces"),
            "fibre": _("Fibre"),
            "weight_label": _("Weight label"),
        }
        help_texts = {
            "colour_limit": _(
                "Further off than this (CIEDE2000) an owned thread is no match where a design is a picture."
            ),
            "ring_strip_width_mm": _("Empty: what is left round a design is waste."),
            "stabilizer_margin_mm": told_lazily(
                _("Beyond the inner ring on every side. Common practice: about {margin}."),
                margin=lambda: told_sides(20),
            ),
        }

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if cleaned and bool(cleaned.get("ring_strip_width_mm")) != bool(cleaned.get("ring_strip_height_mm")):
            self.add_error(
                "ring_strip_height_mm", gettext("Give both sides of the strips that are kept, or neither.")
            )
        return cleaned

    @property
    def parts(self) -> list[FormPart]:
        """Its fields, as they stand together."""
        return in_parts(self, RULES_PARTS)


class StitchesForm(forms.Form):
    """So many stitches that a machine has made."""

    stitches = forms.IntegerField(label=_("Stitches made"), min_value=1, max_value=100_000_000)


class NeedleForm(forms.Form):
    """A new needle, from a pack on the shelf or from elsewhere."""

    pack = forms.ModelChoiceField(
        NeedlePack.objects.on_the_shelf(),
        label=_("From the pack"),
        required=False,
        empty_label=_("none of the shelf's"),
    )
    count = forms.IntegerField(label=_("Needles"), min_value=1, max_value=20, initial=1)

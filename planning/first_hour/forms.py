"""The questions of the first hour: the stitch file, a thread in a spool's own words, what it is stitched on."""

from typing import Any

from django import forms

from inventory.catalogue.in_own_words import Across, SpoolInWords
from inventory.compute.colour.lab import Lab, lab_from_hex, parse_colour
from inventory.compute.errors import WorkshopError
from inventory.compute.names.plain import colour_of_name
from inventory.compute.units import Units
from inventory.compute.weighing import FILL_LEVELS
from inventory.models import Fibre
from inventory.shelf.forms import KeyedForm, MeasureField, NumberField, ScaleField, UnitsForm
from planning.facts.recipes import STARTERS, starter
from planning.first_hour.setting import MOST_NEEDLES, hoops_to_choose
from planning.models import Design, Fabric, Machine
from planning.models.jobs import MOST_PIECES
from planning.plan.forms import StitchFiles
from planning.stitch_files.formats import FORMATS

OWN, NEAR = "own", "near"
THICKNESSES = (
    ("40", "40 wt"),
    ("60", "60 wt, fine"),
    ("30", "30 wt"),
    ("12", "12 wt, thick"),
    ("", "it does not say"),
)
FULL_LENGTHS_M = (200, 500, 1_000, 2_500, 5_000)
FULLNESS = (
    ("full", "full"),
    ("three quarters", "three quarters"),
    ("half", "half"),
    ("quarter", "a quarter"),
    ("nearly empty", "nearly empty"),
    ("weigh", "weigh it"),
    ("measure", "measure it"),
)
BOBBIN_SIZES = (("small", "about 2 cm across"), ("large", "about 2.5 cm across"))


class StitchFileForm(forms.Form):
    """What will be stitched, and how often."""

    stitch_files = StitchFiles(
        label="Stitch file",
        required=False,
        help_text=f"{', '.join(extension.upper() for extension in FORMATS)}; up to 20 MiB.",
    )
    pieces = forms.IntegerField(label="How many pieces?", min_value=1, max_value=MOST_PIECES, initial=12)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if cleaned is not None and not self.errors and not cleaned.get("stitch_files"):
            self.add_error("stitch_files", "Choose the stitch file first.")
        return cleaned


class ThreadForm(KeyedForm):
    """One colour of the file, and the spool that a person has for it."""

    answer = forms.ChoiceField(
        label="Do you own it?",
        choices=[(OWN, "I own it"), (NEAR, "Something near")],
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether you own it or have something near."},
    )
    maker = forms.CharField(label="Whose is it?", max_length=60, required=False)
    code = forms.CharField(label="Code on the label", max_length=20, required=False)
    weight_label = forms.ChoiceField(label="Thickness it says", choices=THICKNESSES, required=False)
    full = forms.ChoiceField(label="Length when full", required=False)
    fibre = forms.ChoiceField(label="Made of", choices=Fibre.choices, required=False)
    beside = forms.ChoiceField(
        label="Beside the file's colour it is", required=False, widget=forms.RadioSelect
    )
    colour = forms.CharField(
        label="Or its colour in a word",
        max_length=40,
        required=False,
        help_text="Such as dark blue or orange.",
    )
    looks = forms.ChoiceField(
        label="How full is it?", choices=FULLNESS, required=False, widget=forms.RadioSelect
    )
    gross = ScaleField(label="The scale shows", required=False)
    empty = MeasureField(
        measure="weight", label="An empty spool weighs", required=False, help_text="If you know it."
    )
    thread_across = NumberField(label="Across the thread now, mm", required=False)
    full_across = NumberField(label="Across a full spool, mm", required=False)
    core_across = NumberField(label="Across the bare core, mm", required=False)
    which = forms.ChoiceField(
        label="A spool of it is on the shelf already",
        choices=[("same", "It is that one"), ("another", "It is another one")],
        required=False,
        widget=forms.RadioSelect,
    )

    def __init__(
        self, *args: Any, hex: str, name: str, beside: dict[str, str], units: Units, **options: Any
    ) -> None:
        super().__init__(*args, units=units, **options)
        self.hex, self.name, self.beside_hexes = hex, name, beside
        field = self.fields["beside"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [(word, word) for word in beside]
        full = self.fields["full"]
        assert isinstance(full, forms.ChoiceField)
        full.choices = [(str(metres), _length_when_full(metres, units)) for metres in FULL_LENGTHS_M]
        full.initial, self.fields["weight_label"].initial = "1000", "40"
        self.fields["maker"].widget.attrs |= {"list": "makers", "autocomplete": "off"}
        self.fields["code"].widget.attrs |= {"autocomplete": "off", "spellcheck": "false"}

    @property
    def beside_tiles(self) -> list[tuple[Any, str]]:
        """The ways in which a colour may differ from the file's, each with its screen colour."""
        return list(zip(self["beside"], self.beside_hexes.values(), strict=True))

    def clean_colour(self) -> Lab | None:
        written = self.cleaned_data["colour"].strip()
        if not written:
            return None
        try:
            found = parse_colour(written) or colour_of_name(written)
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None
        if found is None:
            raise forms.ValidationError(
                f"“{written}” is no colour known here. Try a plain word such as blue, dark green or light brown."
            )
        return found

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("looks") == "weigh" and given.get("gross") is None and "gross" not in self.errors:
            self.add_error(
                "gross", "Put the spool on the scale and type what it shows, or choose how full it looks."
            )
        if given.get("looks") == "measure":
            for name in ("thread_across", "full_across", "core_across"):
                if given.get(name) is None and name not in self.errors:
                    self.add_error(name, "Type this one too, or choose how full it looks.")
        return given

    def said(self) -> SpoolInWords:
        """Return the spool as it was described."""
        given = self.cleaned_data
        colour: Lab | None = lab_from_hex(self.hex) if self.hex else None
        if given["answer"] == NEAR or not self.hex:
            colour = given["colour"] or (
                lab_from_hex(self.beside_hexes[given["beside"]]) if given.get("beside") else colour
            )
        weighed, measured = given["looks"] == "weigh", given["looks"] == "measure"
        return SpoolInWords(
            maker=given["maker"],
            code=given["code"],
            name=self.name if given["answer"] == OWN else "",
            colour=colour,
            weight_label=given["weight_label"],
            fibre=given["fibre"] or Fibre.POLYESTER,
            full_mm=int(given["full"] or 1_000) * 1_000,
            level=FILL_LEVELS.get(given["looks"]),
            gross=given["gross"] if weighed else None,
            empty_mg=given["empty"] if weighed else None,
            across=Across(given["thread_across"], given["full_across"], given["core_across"])
            if measured
            else None,
        )


def _length_when_full(metres: int, units: Units) -> str:
    if units.length == "yd":
        return f"{metres / 0.9144:,.0f} yd ({metres:,} m)"
    return f"{metres:,} m"


class SettingForm(UnitsForm):
    """Three questions: the machine, the hoop and the cloth; each may be left open."""

    machine = forms.ChoiceField(
        label="How many needles has the machine?", required=False, widget=forms.RadioSelect
    )
    needles = forms.IntegerField(label="How many?", required=False, min_value=2, max_value=MOST_NEEDLES)
    hoop = forms.ChoiceField(label="Which hoop takes it?", required=False, widget=forms.RadioSelect)
    hoop_width = MeasureField(measure="size", label="Inside, width", required=False)
    hoop_height = MeasureField(measure="size", label="Inside, height", required=False)
    cloth = forms.ChoiceField(label="On what cloth?", required=False, widget=forms.RadioSelect)
    bobbins = forms.IntegerField(
        label="How many full bobbins are there?", required=False, min_value=0, max_value=500
    )
    bobbin_size = forms.ChoiceField(
        label="They are", choices=BOBBIN_SIZES, required=False, initial="small", widget=forms.RadioSelect
    )
    key = forms.CharField(widget=forms.HiddenInput, max_length=64)

    def __init__(self, *args: Any, design: Design, units: Units, **options: Any) -> None:
        super().__init__(*args, units=units, **options)
        kept = [(f"kept-{each.pk}", each.name) for each in Machine.objects.all()]
        self.hoops = hoops_to_choose(design.width_mm, design.height_mm)
        cloths = [(f"kept-{each.pk}", each.name) for each in Fabric.objects.all()]
        names = {name for _, name in cloths}
        choices: dict[str, list[tuple[str, str]]] = {
            "machine": [*kept, ("one", "One"), ("several", "Several")],
            "hoop": [*((each.value, each.name) for each in self.hoops), ("other", "Another size")],
            "cloth": cloths + [(each.slug, each.name) for each in STARTERS if each.name not in names],
        }
        for name, offered in choices.items():
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = offered

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("machine") == "several" and not given.get("needles") and "needles" not in self.errors:
            self.add_error("needles", "Type how many needles it has.")
        if given.get("hoop") == "other":
            for name in ("hoop_width", "hoop_height"):
                if not given.get(name) and name not in self.errors:
                    self.add_error(name, "Type how far the needle can go, or choose one of the hoops above.")
        return given

    @property
    def chosen_starter(self) -> Any:
        return starter(self.cleaned_data["cloth"])

"""The questions of the first hour: the stitch file, a thread in a spool's own words, what it is stitched on."""

from typing import Any

from django import forms
from django.utils.text import format_lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.catalogue.in_own_words import Across, SpoolInWords
from inventory.compute.colour.lab import Lab, lab_from_hex, parse_colour
from inventory.compute.errors import WorkshopError
from inventory.compute.names.plain import colour_of_name
from inventory.compute.spoken import figure, plainly
from inventory.compute.units import Units, reader, told_sides
from inventory.compute.weighing import FILL_LEVELS
from inventory.models import Fibre
from inventory.shelf.forms import KeyedForm, MeasureField, ScaleField, UnitsForm
from inventory.shelf.typed.lazily import told_lazily
from inventory.shelf.typed.measures import AcrossField
from planning.facts.recipes import STARTERS, starter
from planning.first_hour.setting import MOST_NEEDLES, hoops_to_choose
from planning.models import Design, Fabric, Machine
from planning.models.jobs import MOST_PIECES
from planning.plan.forms import StitchFiles
from planning.stitch_files.formats import FORMATS

OWN, NEAR = "own", "near"
THICKNESSES = (
    ("40", _("40 wt")),
    ("60", _("60 wt, fine")),
    ("30", _("30 wt")),
    ("12", _("12 wt, thick")),
    ("", _("it does not say")),
)
FULL_LENGTHS_M = (200, 500, 1_000, 2_500, 5_000)
FULLNESS = (
    ("full", _("full")),
    ("three quarters", _("three quarters")),
    ("half", _("half")),
    ("quarter", _("a quarter")),
    ("nearly empty", _("nearly empty")),
    ("weigh", _("weigh it")),
    ("measure", _("measure it")),
)
BESIDE = {
    "lighter": _("lighter"),
    "darker": _("darker"),
    "greyer": _("greyer"),
    "stronger": _("stronger"),
}
BOBBIN_SIZES = (
    ("small", told_lazily(_("about {size} across"), size=lambda: _short_size(20))),
    ("large", told_lazily(_("about {size} across"), size=lambda: _short_size(25))),
)


def _short_size(mm: float) -> str:
    return f"{plainly(mm / 10)} cm" if reader().size == "cm" else told_sides(round(mm / 2.54) * 2.54)


class StitchFileForm(forms.Form):
    """What will be stitched, and how often."""

    stitch_files = StitchFiles(
        label=_("Stitch file"),
        required=False,
        help_text=format_lazy(
            _("{formats}; up to 20 MiB."), formats=", ".join(extension.upper() for extension in FORMATS)
        ),
    )
    pieces = forms.IntegerField(label=_("How many pieces?"), min_value=1, max_value=MOST_PIECES, initial=12)

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if cleaned is not None and not self.errors and not cleaned.get("stitch_files"):
            self.add_error("stitch_files", gettext("Choose the stitch file first."))
        return cleaned


class ThreadForm(KeyedForm):
    """One colour of the file, and the spool that a person has for it."""

    answer = forms.ChoiceField(
        label=_("Do you own it?"),
        choices=[(OWN, _("I own it")), (NEAR, _("Something near"))],
        widget=forms.RadioSelect,
        error_messages={"required": _("Say whether you own it or have something near.")},
    )
    maker = forms.CharField(label=_("Whose is it?"), max_length=60, required=False)
    code = forms.CharField(label=_("Code on the label"), max_length=20, required=False)
    weight_label = forms.ChoiceField(label=_("Thickness it says"), choices=THICKNESSES, required=False)
    full = forms.ChoiceField(label=_("Length when full"), required=False)
    fibre = forms.ChoiceField(label=_("Made of"), choices=Fibre.choices, required=False)
    beside = forms.ChoiceField(
        label=_("Beside the file's colour it is"), required=False, widget=forms.RadioSelect
    )
    colour = forms.CharField(
        label=_("Or its colour in a word"),
        max_length=40,
        required=False,
        help_text=_("Such as dark blue or orange."),
    )
    looks = forms.ChoiceField(
        label=_("How full is it?"), choices=FULLNESS, required=False, widget=forms.RadioSelect
    )
    gross = ScaleField(label=_("The scale shows"), required=False)
    empty = MeasureField(
        measure="weight", label=_("An empty spool weighs"), required=False, help_text=_("If you know it.")
    )
    thread_across = AcrossField(label=_("Across the thread now"), required=False)
    full_across = AcrossField(label=_("Across a full spool"), required=False)
    core_across = AcrossField(label=_("Across the bare core"), required=False)
    which = forms.ChoiceField(
        label=_("A spool of it is on the shelf already"),
        choices=[("same", _("It is that one")), ("another", _("It is another one"))],
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
        field.choices = [(word, BESIDE.get(word, word)) for word in beside]
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
                gettext(
                    "“{written}” is no colour known here. Try a plain word such as blue, dark green or light "
                    "brown."
                ).format(written=written)
            )
        return found

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("looks") == "weigh" and given.get("gross") is None and "gross" not in self.errors:
            self.add_error(
                "gross",
                gettext("Put the spool on the scale and type what it shows, or choose how full it looks."),
            )
        if given.get("looks") == "measure":
            for name in ("thread_across", "full_across", "core_across"):
                if given.get(name) is None and name not in self.errors:
                    self.add_error(name, gettext("Type this one too, or choose how full it looks."))
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
        return f"{figure(metres / 0.9144)} yd ({figure(metres)} m)"
    return f"{figure(metres)} m"


class SettingForm(UnitsForm):
    """Three questions: the machine, the hoop and the cloth; each may be left open."""

    machine = forms.ChoiceField(
        label=_("How many needles has the machine?"), required=False, widget=forms.RadioSelect
    )
    needles = forms.IntegerField(label=_("How many?"), required=False, min_value=2, max_value=MOST_NEEDLES)
    hoop = forms.ChoiceField(label=_("Which hoop takes it?"), required=False, widget=forms.RadioSelect)
    hoop_width = MeasureField(measure="size", label=_("Inside, width"), required=False)
    hoop_height = MeasureField(measure="size", label=_("Inside, height"), required=False)
    cloth = forms.ChoiceField(label=_("On what cloth?"), required=False, widget=forms.RadioSelect)
    bobbins = forms.IntegerField(
        label=_("How many full bobbins are there?"), required=False, min_value=0, max_value=500
    )
    bobbin_size = forms.ChoiceField(
        label=_("They are"), choices=BOBBIN_SIZES, required=False, initial="small", widget=forms.RadioSelect
    )
    key = forms.CharField(widget=forms.HiddenInput, max_length=64)

    def __init__(self, *args: Any, design: Design, units: Units, **options: Any) -> None:
        super().__init__(*args, units=units, **options)
        machines = list(Machine.objects.all())
        kept = [(f"kept-{each.pk}", each.name) for each in machines]
        self.needles_of = {f"kept-{each.pk}": each.needles for each in machines}
        self.hoops = hoops_to_choose(design.width_mm, design.height_mm)
        cloths = [(f"kept-{each.pk}", each.name) for each in Fabric.objects.all()]
        names = {name for _value, name in cloths}
        choices: dict[str, list[tuple[str, str]]] = {
            "machine": [*kept, ("one", gettext("One")), ("several", gettext("Several"))],
            "hoop": [*((each.value, each.name) for each in self.hoops), ("other", gettext("Another size"))],
            "cloth": cloths
            + [(each.slug, each.name) for each in STARTERS if not {each.name, each.written_name} & names],
        }
        for name, offered in choices.items():
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = offered

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("machine") == "several" and not given.get("needles") and "needles" not in self.errors:
            self.add_error("needles", gettext("Type how many needles it has."))
        if given.get("hoop") == "other":
            for name in ("hoop_width", "hoop_height"):
                if not given.get(name) and name not in self.errors:
                    self.add_error(
                        name, gettext("Type how far the needle can go, or choose one of the hoops above.")
                    )
        return given

    @property
    def chosen_starter(self) -> Any:
        return starter(self.cleaned_data["cloth"])

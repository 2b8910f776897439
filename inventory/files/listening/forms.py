"""What a person answers about a list: what its columns are, and what holds where it does not say."""

from typing import Any
from urllib.parse import urlencode

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.compute.units import Units
from inventory.files.listening.meanings import LEFT_OUT, MEANINGS
from inventory.files.listening.reading import KeptList
from inventory.files.listening.rows import Reading, column_words
from inventory.shelf.forms import MeasureField, UnitsForm

MOST_BYTES = 10_000_000
MOST_PASTED = 500_000


class ListForm(forms.Form):
    """A list of thread, as a file or as rows copied from a spreadsheet."""

    file = forms.FileField(
        label=_("Your list"),
        required=False,
        help_text=_("A spreadsheet (.xlsx) or CSV, with your own columns and words."),
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
    )
    pasted = forms.CharField(
        label=_("Or paste its rows here"),
        required=False,
        max_length=MOST_PASTED,
        help_text=_("Copied in the spreadsheet, headings included."),
        widget=forms.Textarea(attrs={"rows": 5, "spellcheck": "false"}),
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        file = given.get("file")
        if file is not None and file.size > MOST_BYTES:
            self.add_error("file", _("The file is larger than 10 MB. Split it into parts."))
        if not self.errors and file is None and not given.get("pasted", "").strip():
            self.add_error("file", _("Choose the file, or paste the rows."))
        return given

    def content(self) -> bytes:
        """Return what was sent, as bytes."""
        file = self.cleaned_data["file"]
        return bytes(file.read()) if file is not None else self.cleaned_data["pasted"].encode()


class ReadingForm(UnitsForm):
    """What each column of a list means, and what holds where a row does not say."""

    unit = forms.ChoiceField(label=_("Bare lengths are in"), choices=[("m", _("metres")), ("yd", _("yards"))])
    maker = forms.CharField(
        label=_("Maker where none is written"), max_length=60, required=False, help_text=_("May stay open.")
    )
    weight_label = forms.CharField(label=_("Thickness where none is written"), max_length=12, required=False)
    full = MeasureField(measure="length", label=_("A full spool holds, where it is not written"))
    unsaid_is_full = forms.BooleanField(
        label=_("Where nothing is said, the spool looks full"), required=False
    )
    sheet = forms.CharField(required=False, max_length=60, widget=forms.HiddenInput)

    def __init__(self, *args: Any, kept: KeptList, reading: Reading, units: Units, **options: Any) -> None:
        options["initial"] = {
            "unit": reading.unit,
            "maker": reading.maker,
            "weight_label": reading.weight_label,
            "full": reading.full_mm,
            "unsaid_is_full": reading.unsaid_is_full,
            "sheet": kept.sheet,
        } | {f"column-{at}": each for at, each in enumerate(reading.meanings)}
        super().__init__(*args, units=units, **options)
        self.kept = kept
        choices = [(LEFT_OUT, _("leave it out")), *((name, _(each.words)) for name, each in MEANINGS.items())]
        for at in range(len(kept.headings)):
            self.fields[f"column-{at}"] = forms.ChoiceField(
                label=column_words(kept, at), choices=choices, required=False
            )

    @property
    def columns(self) -> list[tuple[Any, str]]:
        """The field of each column, and what stands under it."""
        return [
            (self[f"column-{at}"], ", ".join(self.kept.samples(at)) or str(_("nothing")))
            for at in range(len(self.kept.headings))
        ]

    @property
    def defaults(self) -> list[Any]:
        return [self[name] for name in ("unit", "maker", "weight_label", "full", "unsaid_is_full")]

    def as_query(self) -> str:
        """Return the answers as an address carries them, so that what was shown is what comes onto the shelf."""
        return urlencode(
            {name: self[name].value() or "" for name in self.fields if self[name].value() is not False}
        )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        meanings = [given.get(f"column-{at}", LEFT_OUT) for at in range(len(self.kept.headings))]
        for at, meaning in enumerate(meanings):
            if meaning != LEFT_OUT and meaning in meanings[:at]:
                self.add_error(
                    f"column-{at}",
                    _("Another column is the {meaning} already. Leave one of them out.").format(
                        meaning=_(MEANINGS[meaning].words)
                    ),
                )
        return given

    def reading(self) -> Reading:
        """Return how the list is read by what was answered."""
        given = self.cleaned_data
        return Reading(
            tuple(given[f"column-{at}"] for at in range(len(self.kept.headings))),
            unit=given["unit"],
            maker=given["maker"].strip(),
            weight_label=given["weight_label"].strip(),
            full_mm=given["full"],
            unsaid_is_full=given["unsaid_is_full"],
        )

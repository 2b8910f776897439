"""Forms that tell what the colour of a shade is: a meter's readings, or a photograph beside a grey card."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from inventory.catalogue.colour_files import MOST_PHOTO_BYTES, MOST_READINGS_BYTES, read_photograph
from inventory.compute.colour.lab import Lab
from inventory.compute.colour.photograph import colour_in_photograph, read_region
from inventory.compute.colour.readings import KnownColour
from inventory.compute.errors import WorkshopError
from inventory.models import Shade
from inventory.shelf.forms import new_key


class RegionField(forms.CharField):
    """A rectangle of a picture, cleaned to a Region."""

    def to_python(self, value: Any) -> Any:
        text = super().to_python(value)
        if not text:
            return None
        try:
            return read_region(text)
        except WorkshopError as problem:
            raise ValidationError(str(problem)) from None


class ReadingsForm(forms.Form):
    """A meter's file of readings."""

    readings = forms.FileField(
        label=_("Readings of a colour meter, CSV"),
        help_text=_(
            "Columns L, a, b; code where it holds several shades; illuminant (D65 or D50). Readings "
            "of one code are averaged, and how far they lie apart is kept."
        ),
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,text/csv"}),
    )
    illuminant = forms.ChoiceField(
        label=_("Read under"),
        choices=[("", _("as the file says")), ("D65", "D65"), ("D50", "D50")],
        required=False,
    )

    def clean_readings(self) -> bytes:
        file = self.cleaned_data["readings"]
        if file.size > MOST_READINGS_BYTES:
            raise ValidationError(_("The file is larger than 5 MiB; no meter's readings are."))
        return file.read()


class PhotographForm(forms.Form):
    """A photograph of thread beside a grey card, and where each is in it."""

    photograph = forms.FileField(
        label=_("Photograph of the thread beside a grey card"),
        help_text=_(
            "JPEG, PNG or WebP, both in the same even light; an 18 % grey card. The colour that "
            "comes of it is approximate."
        ),
        widget=forms.ClearableFileInput(
            attrs={
                "accept": "image/jpeg,image/png,image/webp",
                "data-mark": "1",
                # What the script says that lets them be drawn.
                "data-say-name-card": _("card"),
                "data-say-name-thread": _("thread"),
                "data-say-card": _("Drag a rectangle over the card, or type it below."),
                "data-say-thread": _("Drag a rectangle over the thread, or type it below."),
                "data-say-both": _("Both are marked. Drag again to mark the card and the thread anew."),
                "data-say-cannot": _(
                    "This browser cannot show the photograph; type where the card and the thread are."
                ),
            }
        ),
    )
    card = RegionField(
        label=_("Where the card is"),
        help_text=_("Left, top, width and height in hundredths of the picture, such as 10, 20, 30, 40."),
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )
    thread = RegionField(
        label=_("Where the thread is"),
        help_text=_("The same, of a part where the thread fills all of it."),
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )

    def clean_photograph(self) -> Any:
        file = self.cleaned_data["photograph"]
        if file.size > MOST_PHOTO_BYTES:
            raise ValidationError(_("The photograph is larger than 25 MiB. Send a smaller one."))
        try:
            return read_photograph(file.read())
        except WorkshopError as problem:
            raise ValidationError(str(problem)) from None

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if not self.errors:
            try:
                self.found = colour_in_photograph(
                    given["photograph"], card=given["card"], thread=given["thread"]
                )
            except WorkshopError as problem:
                self.add_error(None, str(problem))
        return given


class FoundForm(forms.Form):
    """A colour that was found, to be made that of the shade."""

    L = forms.FloatField(min_value=0, max_value=100, widget=forms.HiddenInput)
    a = forms.FloatField(min_value=-200, max_value=200, widget=forms.HiddenInput)
    b = forms.FloatField(min_value=-200, max_value=200, widget=forms.HiddenInput)
    source = forms.ChoiceField(choices=Shade.Source.choices, widget=forms.HiddenInput)
    sigma = forms.FloatField(min_value=0, max_value=20, widget=forms.HiddenInput)
    key = forms.CharField(max_length=64, widget=forms.HiddenInput)

    @classmethod
    def of(cls, found: KnownColour) -> "FoundForm":
        lab = found.lab
        return cls(
            initial={
                "L": round(lab.L, 4),
                "a": round(lab.a, 4),
                "b": round(lab.b, 4),
                "source": found.source,
                "sigma": round(found.sigma, 3),
                "key": new_key(),
            }
        )

    def colour(self) -> KnownColour:
        given = self.cleaned_data
        lab = Lab(given["L"], given["a"], given["b"])
        return KnownColour(lab, given["source"], given["sigma"], 0.0, 0)

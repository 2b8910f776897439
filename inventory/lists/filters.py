"""What a person narrows a list of the shelf by; all of it stands in the page's address."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.compute.colour.lab import Lab
from inventory.compute.errors import WorkshopError
from inventory.lists.found import ShelfSearch, Tab, makers, weight_labels
from inventory.lists.wall import wall
from inventory.models import StockItem
from inventory.models.threads import Fibre
from inventory.shelf.forms import PlaceField
from inventory.shelf.reads import colour_meant

# How a filter is said on its chip, where its value alone would not tell.
_SAID = {
    "q": _("“{}”"),
    "near": _("near {}"),
    "low": _("running low"),
    "opened": _("opened"),
    "weight": _("{} wt"),
}


class ShelfFilter(forms.Form):
    """The search and the filters of one tab."""

    q = forms.CharField(
        label=_("Search"),
        required=False,
        max_length=80,
        strip=True,
        widget=forms.TextInput(
            attrs={"type": "search", "placeholder": _("label, code, name, maker, lot, dark blue")}
        ),
    )
    maker = forms.ChoiceField(label=_("Maker"), required=False)
    weight = forms.ChoiceField(label=_("Weight"), required=False)
    fibre = forms.ChoiceField(label=_("Fibre"), required=False, choices=[("", _("any")), *Fibre.choices])
    kind = forms.ChoiceField(label=_("Kind"), required=False)
    near = forms.CharField(
        label=_("Colour near"),
        required=False,
        max_length=60,
        help_text=_(
            "#1f4e79, lab:31,-1,-28, a shade code or words such as dark blue; the nearest come first."
        ),
    )
    family = forms.ChoiceField(label=_("Family of colours"), required=False)
    place = PlaceField(label=_("Place"), required=False, empty_label=_("any"))
    low = forms.BooleanField(label=_("Running low"), required=False)
    opened = forms.BooleanField(label=_("Opened"), required=False)
    sort = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)

    def __init__(self, *args: Any, tab: Tab, **options: Any) -> None:
        options.setdefault("label_suffix", "")
        super().__init__(*args, **options)
        self._choose("maker", makers(tab))
        if tab.shades:
            self._choose("weight", weight_labels())
        else:
            for name in ("weight", "fibre", "near", "family"):
                del self.fields[name]
        if "family" in self.fields and tab.slug == "thread":
            self._choose("family", [(each.slug, each.name) for each in wall()])
        else:
            self.fields.pop("family", None)
        if len(tab.kinds) > 1:
            self._choose("kind", [(kind, StockItem.Kind(kind).label) for kind in tab.kinds])
        else:
            del self.fields["kind"]
        if not (tab.shades or tab.products):
            del self.fields["maker"]
        self.full_clean()

    def _choose(self, name: str, choices: list[Any]) -> None:
        field = self.fields[name]
        assert isinstance(field, forms.ChoiceField)
        pairs = [each if isinstance(each, tuple) else (each, each) for each in choices]
        field.choices = [("", _("any")), *pairs]

    def clean_near(self) -> Lab | None:
        text = self.cleaned_data["near"].strip()
        if not text:
            return None
        try:
            return colour_meant(text)
        except WorkshopError as problem:
            raise forms.ValidationError(str(problem)) from None

    def wanted(self) -> ShelfSearch:
        """Return what is asked for; a filter that makes no sense asks nothing and says so in the form."""
        given = self.cleaned_data
        return ShelfSearch(
            text=given.get("q", ""),
            maker=given.get("maker", ""),
            weight_label=given.get("weight", ""),
            fibre=given.get("fibre", ""),
            kind=given.get("kind", ""),
            near=given.get("near"),
            family=given.get("family", ""),
            place=given.get("place"),
            low=given.get("low", False),
            opened=given.get("opened", False),
            sort=given.get("sort", ""),
        )

    def chips(self) -> list[tuple[str, str]]:
        """Return the filters that are in force: the name of each and how it is said."""
        chips = []
        for name in self.fields:
            value = self.cleaned_data.get(name)
            if name == "sort" or not value:
                continue
            typed = self.data.get(name, "")
            chips.append((name, _SAID.get(name, "{}").format(self._shown(name, typed, value))))
        return chips

    def _shown(self, name: str, typed: str, value: Any) -> str:
        field = self.fields[name]
        if isinstance(field, forms.ModelChoiceField):
            return str(value)
        if isinstance(field, forms.ChoiceField):
            return str(dict(field.choices).get(typed, typed))  # type: ignore[arg-type]
        return typed

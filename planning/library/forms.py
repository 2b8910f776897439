"""The library's forms: what is searched for, what is said of a design, which colours it asks for."""

from collections.abc import Iterable, Sequence
from typing import Any, cast

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils import timezone
from django.utils.text import format_lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import as_written_here, figure
from inventory.compute.units import reader
from inventory.models import StabilizerProduct, ThreadRange
from inventory.shelf.forms import MeasureField, UnitsForm
from inventory.shelf.typed.lazily import told_lazily
from planning.compute.colour.lists import LONGEST_LIST, ShadeBook
from planning.compute.stitches.applique import COVER, PLACEMENT, TACK_DOWN, USUAL_ALLOWANCE_MM, DesignPart
from planning.library.colours import RequestedColour, as_typed, understand_colour
from planning.library.search import NEAR_COLOUR, ORDERS, DesignSearch
from planning.models import Block, Design, Fabric, Hoop, StitchOutNote, Tag
from planning.plan.forms import STITCH_FILES, StitchFiles
from planning.stitch_files.formats import FORMATS

MOST_LIBRARY_FILES = 500


class SearchForm(forms.Form):
    """What a person looks for; every field can stand in a page's address."""

    q = forms.CharField(label=_("Name, tag or folder"), required=False, max_length=120)
    hoop = forms.ModelChoiceField(
        queryset=Hoop.objects.all(), label=_("Fits hoop"), required=False, empty_label=_("any")
    )
    stitches_from = forms.IntegerField(
        label=_("Stitches, from"), required=False, min_value=0, max_value=1_000_000
    )
    stitches_to = forms.IntegerField(
        label=_("Stitches, up to"), required=False, min_value=0, max_value=1_000_000
    )
    colours_to = forms.IntegerField(label=_("Threads, at most"), required=False, min_value=1, max_value=200)
    colour = forms.CharField(
        label=_("With a colour near"),
        required=False,
        max_length=80,
        help_text=format_lazy(
            _("#1f4e79, lab:32,-1,-28 or a shade code; near is ΔE<sub>00</sub> up to {near_colour}."),
            near_colour=as_written_here(f"{NEAR_COLOUR:g}"),
        ),
    )
    tag = forms.ModelChoiceField(
        queryset=Tag.objects.all(), label=_("Tag"), required=False, to_field_name="name", empty_label=_("any")
    )
    order = forms.ChoiceField(label=_("In order of"), choices=tuple(ORDERS.items()), required=False)
    favourites = forms.BooleanField(label=_("Favourites only"), required=False)

    def __init__(self, *args: Any, book: ShadeBook | None = None, **options: Any) -> None:
        super().__init__(*args, **options)
        self.book = book

    def clean_colour(self) -> RequestedColour | None:
        written = self.cleaned_data["colour"].strip()
        if not written:
            return None
        assert self.book is not None  # the view reads the catalogue where a colour is asked for
        return _understood(written, book=self.book)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        low, high = cleaned.get("stitches_from"), cleaned.get("stitches_to")
        if low is not None and high is not None and low > high:
            self.add_error(
                "stitches_to", gettext("This is below {low}, the least asked for.").format(low=figure(low))
            )
        return cleaned

    def wanted(self) -> DesignSearch:
        given = self.cleaned_data
        colour = given.get("colour")
        return DesignSearch(
            words=given.get("q") or "",
            hoop=given.get("hoop"),
            stitches_from=given.get("stitches_from"),
            stitches_to=given.get("stitches_to"),
            colours_to=given.get("colours_to"),
            near=colour.as_lab if colour else None,
            tag=given.get("tag"),
            favourites=bool(given.get("favourites")),
            order=given.get("order") or "name",
        )

    @staticmethod
    def anything() -> DesignSearch:
        return DesignSearch()

    @property
    def narrows_further(self) -> bool:
        """Whether anything behind the first two fields is filled in."""
        names = ("hoop", "stitches_from", "stitches_to", "colours_to", "colour", "tag", "favourites")
        return any(self.data.get(name) for name in names)


class AppliqueForm(UnitsForm):
    """What a person says of one applique: its lines, its fabric, and how large its piece is."""

    name = forms.CharField(label=_("Called"), max_length=40, required=False, help_text=_("Such as: sail."))
    placement = forms.ChoiceField(label=_("Placement line"), required=False)
    tack_down = forms.ChoiceField(label=_("Tack-down"), required=False)
    cover = forms.ChoiceField(label=_("Cover"), required=False)
    product = forms.ModelChoiceField(
        queryset=StabilizerProduct.objects.filter(kind=StabilizerProduct.Kind.FABRIC),
        label=_("Fabric"),
        empty_label=_("choose a fabric"),
    )
    allowance = MeasureField(
        measure="size",
        label=_("Beyond the line"),
        required=False,
        help_text=told_lazily(
            _("On every side, to hold and to trim off. Common practice, no source: about {size}."),
            size=lambda: "1 cm" if reader().size == "cm" else as_written_here("0.4 in"),
        ),
    )
    width = MeasureField(
        measure="size", label=_("It covers, width"), required=False, help_text=_("Blank: as the lines do.")
    )
    height = MeasureField(measure="size", label=_("and height"), required=False)
    count = MeasureField(measure="pieces", label=_("Pieces on each"), initial="1")
    key = forms.CharField(widget=forms.HiddenInput, max_length=40)

    def __init__(self, *args: Any, parts: Sequence[DesignPart], **options: Any) -> None:
        super().__init__(*args, **options)
        self.parts = {each.key: each for each in parts}
        for name in ("placement", "tack_down", "cover"):
            field = self.fields[name]
            assert isinstance(field, forms.ChoiceField)
            field.choices = [
                ("", gettext("none")),
                *((key, gettext("part {key}").format(key=key)) for key in self.parts),
            ]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if bool(given.get("width")) != bool(given.get("height")) and not self.errors:
            self.add_error("height", gettext("Give both sides, or neither."))
        return given

    def asked(self) -> dict[str, Any]:
        """Return what ``add_applique`` takes."""
        given = self.cleaned_data
        of_roles = ((PLACEMENT, "placement"), (TACK_DOWN, "tack_down"), (COVER, "cover"))
        size = (float(given["width"]), float(given["height"])) if given["width"] else None
        return {
            "lines": [(role, self.parts[given[name]]) for role, name in of_roles if given[name]],
            "product": given["product"],
            "name": given["name"],
            "allowance_mm": USUAL_ALLOWANCE_MM if given["allowance"] is None else given["allowance"],
            "size_mm": size,
            "count": given["count"],
        }


class DescribeForm(forms.Form):
    """Name, tags and favourite mark of a design."""

    name = forms.CharField(label=_("Name"), max_length=120)
    tags = forms.CharField(
        label=_("Tags"),
        required=False,
        max_length=400,
        help_text=_("Words to find it by, separated by commas."),
    )
    favourite = forms.BooleanField(label=_("A favourite"), required=False)

    def clean_tags(self) -> list[str]:
        return self.cleaned_data["tags"].split(",")


class StitchOutForm(forms.ModelForm):
    """What a test stitch-out showed, and what it was stitched with."""

    photo = forms.FileField(
        label=_("Photograph"), required=False, help_text=_(
"JPEG, PNG or WebP, of at most 20 MiB; it is kept smaller."
),
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )  # fmt: skip

    class Meta:
        model = StitchOutNote
        fields = ("stitched_on", "fabric", "verdict", "needle", "stitches_per_minute", "tension", "words")
        labels = {
            "stitched_on": _("Day"),
            "fabric": _("Fabric"),
            "verdict": _("Verdict"),
            "needle": _("Needle"),
            "tension": _("Tension"),
            "words": _("What it showed"),
        }
        widgets = {
            "stitched_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "fabric": forms.TextInput(attrs={"list": "fabrics"}),
            "words": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["stitched_on"].initial = timezone.localdate
        verdict = cast(forms.TypedChoiceField, self.fields["verdict"])
        verdict.choices = [("", _("choose one")), *StitchOutNote.Verdict.choices]
        self.fabrics = Fabric.objects.values_list("name", flat=True)


class ColoursForm(forms.Form):
    """One field a block for the colour it asks for, and whether the thread before stays on."""

    def __init__(self, *args: Any, blocks: Iterable[Block], book: ShadeBook, **options: Any) -> None:
        super().__init__(*args, **options)
        self.blocks, self.book = list(blocks), book
        for place, block in enumerate(self.blocks):
            self.fields[f"colour_{block.number}"] = forms.CharField(
                label=gettext("Colour of block {number}").format(number=block.number),
                required=False,
                max_length=160,
                initial=as_typed(block),
            )
            if place:
                self.fields[f"stays_{block.number}"] = forms.BooleanField(
                    label=gettext("Block {number}: the thread stays on, stop only").format(
                        number=block.number
                    ),
                    required=False,
                    initial=block.same_thread,
                )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        self.colours: dict[int, RequestedColour] = {}
        for block in self.blocks:
            name = f"colour_{block.number}"
            # Only what was typed anew: a colour that is let stand stays what the file said it is.
            if name in cleaned and name in self.changed_data:
                try:
                    self.colours[block.number] = _understood(cleaned[name], book=self.book)
                except forms.ValidationError as problem:
                    self.add_error(name, problem)
        self.staying = {block.number for block in self.blocks if cleaned.get(f"stays_{block.number}")}
        return cleaned

    def rows(self) -> list[dict[str, Any]]:
        return [
            {
                "block": block,
                "colour": self[f"colour_{block.number}"],
                "stays": self[f"stays_{block.number}"] if f"stays_{block.number}" in self.fields else None,
            }
            for block in self.blocks
        ]


class ColourListForm(forms.Form):
    """A colour list, pasted or as a file."""

    text = forms.CharField(
        label=_("Colour list"),
        required=False,
        max_length=LONGEST_LIST,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text=_("One line a stop: code, name or both; a number in front, tabs and commas do no harm."),
    )
    file = forms.FileField(
        label=_("Or a text file"),
        required=False,
        widget=forms.ClearableFileInput(attrs={"accept": ".txt,.csv,.tsv,text/plain"}),
    )
    maker = forms.ChoiceField(
        label=_("Whose codes"), required=False, help_text=_("Where two makers use one code.")
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        makers = ThreadRange.objects.order_by("maker").values_list("maker", flat=True).distinct()
        self.fields["maker"].choices = [("", gettext("any maker")), *((maker, maker) for maker in makers)]  # type: ignore[attr-defined]

    def clean_file(self) -> str:
        file: UploadedFile | None = self.cleaned_data["file"]
        if file is None:
            return ""
        if (file.size or 0) > 4 * LONGEST_LIST:
            raise forms.ValidationError(
                gettext("{name} is too large for a colour list; up to 200 lines are read.").format(
                    name=file.name
                )
            )
        data = file.read()
        for encoding in ("utf-8-sig", "utf-16") if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig",):
            try:
                return data.decode(encoding)
            except UnicodeDecodeError:
                continue
        return data.decode("cp1252", errors="replace")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors:
            cleaned["text"] = cleaned.get("file") or cleaned.get("text") or ""
            if not cleaned["text"].strip():
                self.add_error("text", gettext("Paste the list, or choose its file."))
        return cleaned


class CopyForm(forms.Form):
    """The design whose colours are wanted."""

    source = forms.ModelChoiceField(
        queryset=Design.objects.none(),
        label=_("Take the colours of"),
        empty_label=None,
        widget=forms.RadioSelect,
        error_messages={
            "invalid_choice": _("That design is no longer kept, or has other blocks; choose again.")
        },
    )

    def __init__(self, *args: Any, sources: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["source"].queryset = sources  # type: ignore[attr-defined]


class ManyFiles(StitchFiles):
    """Any number of files up to ``MOST_LIBRARY_FILES``; what is wrong with one of them is told of it alone."""

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        if not data:
            raise forms.ValidationError(gettext("Choose stitch files, or a ZIP archive of them."))
        if len(data) > MOST_LIBRARY_FILES:
            raise forms.ValidationError(
                gettext(
                    "{number} files at once are too many; choose up to {most}, or put them into a ZIP"
                    " archive."
                ).format(number=len(data), most=MOST_LIBRARY_FILES)
            )
        return list(data)


class LibraryFilesForm(forms.Form):
    """Stitch files and ZIP archives of them for the library."""

    stitch_files = ManyFiles(
        label=_("Stitch files, or a ZIP archive of them"),
        help_text=format_lazy(
            _("{formats} or ZIP; up to {most} files and 60 MiB at once."),
            formats=", ".join(extension.upper() for extension in FORMATS),
            most=MOST_LIBRARY_FILES,
        ),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["stitch_files"].widget.attrs["accept"] = f"{STITCH_FILES},.zip"


def _understood(written: str, *, book: ShadeBook) -> RequestedColour:
    try:
        return understand_colour(written, book=book)
    except WorkshopError as problem:
        raise forms.ValidationError(str(problem)) from problem

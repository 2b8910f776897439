"""The question as a form: designs, pieces, cloth, machine."""

from typing import Any, Literal

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.db.models import QuerySet
from django.utils.datastructures import MultiValueDict
from django.utils.functional import lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from planning.models import Design, Fabric, Hoop, Machine, Strictness
from planning.models.jobs import MOST_PIECES
from planning.plan.ask import Question
from planning.stitch_files.formats import FORMATS

MOST_FILES = 20
# Of a question and of a job alike.
DUE_ON = _("The day all of it is to be done. It says when to start, and by when to order.")
STITCH_FILES = ",".join(f".{extension}" for extension in FORMATS)


class StitchFiles(forms.FileField):
    """Any number of stitch files, cleaned to a list."""

    def __init__(self, **options: Any) -> None:
        widget = forms.ClearableFileInput(attrs={"accept": STITCH_FILES})
        widget.allow_multiple_selected = True
        widget.attrs["multiple"] = True
        widget.value_from_datadict = _all_files  # type: ignore[method-assign]
        super().__init__(widget=widget, **options)

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        if not data:
            return []
        if len(data) > MOST_FILES:
            raise forms.ValidationError(
                gettext("{number} files at once are too many; choose up to {most}.").format(
                    number=len(data), most=MOST_FILES
                )
            )
        return [super(StitchFiles, self).clean(each, initial) for each in data]


def _all_files(data: Any, files: MultiValueDict[str, UploadedFile], name: str) -> list[UploadedFile]:
    return files.getlist(name)


class QuestionForm(forms.Form):
    """What a person asks of kept designs; every field can stand in a page's address."""

    design = forms.ModelMultipleChoiceField(
        queryset=Design.objects.all(),
        label=_("Designs on each piece"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": _("A design of this page is no longer kept; choose again.")},
    )
    pieces = forms.IntegerField(label=_("Pieces"), min_value=1, max_value=MOST_PIECES, initial=12)
    fabric = forms.ModelChoiceField(
        queryset=Fabric.objects.all(),
        label=_("Fabric"),
        required=False,
        empty_label=_("not said: no stabilizer"),
    )
    machine = forms.ModelChoiceField(
        queryset=Machine.objects.all(), label=_("Machine"), required=False, empty_label=_("the first one")
    )
    hoop = forms.ModelChoiceField(
        queryset=Hoop.objects.all(), label=_("Hoop"), required=False, empty_label=_("the smallest that fits")
    )
    tests = forms.IntegerField(
        label=_("Test pieces"),
        required=False,
        min_value=0,
        max_value=100,
        help_text=_("Empty: as the rules say."),
    )
    needed_on = forms.DateField(
        label=_("Due on"),
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=DUE_ON,
    )
    copies = forms.CharField(
        label=_("Pieces in one hooping"),
        required=False,
        max_length=6,
        help_text=_("A number, or “most” for as many as a hoop holds. Empty: one."),
    )

    def clean_copies(self) -> int | Literal["most"]:
        written = self.cleaned_data["copies"].strip().lower()
        if written == "most":
            return "most"
        if written and not (written.isdecimal() and int(written) >= 1):
            raise forms.ValidationError(
                gettext("{written} is no number of pieces; give 1 or more, or “most”.").format(
                    written=written
                )
            )
        return int(written or 1)

    strictness = forms.ChoiceField(
        choices=Strictness.choices,
        label=_("Colours are"),
        required=False,
        initial=Strictness.PICTURE,
        help_text=_("How near a thread must come; the limits are among your rules."),
    )

    def clean_strictness(self) -> str:
        return self.cleaned_data["strictness"] or Strictness.PICTURE

    def clean_design(self) -> QuerySet[Design]:
        designs = self.cleaned_data["design"]
        if not designs and not self.accepts_files:
            raise forms.ValidationError(_("Choose at least one design."))
        return designs

    accepts_files = False

    def question(self) -> Question:
        """Return the question that the cleaned fields ask."""
        given = self.cleaned_data
        return Question(
            pieces=given["pieces"],
            fabric=given["fabric"],
            machine=given["machine"],
            hoop=given["hoop"],
            tests=given["tests"],
            needed_on=given["needed_on"],
            copies=given["copies"],
            strictness=given["strictness"],
        )


def _formats_in_words() -> str:
    return gettext("{formats}; up to 20 MiB each.").format(
        formats=", ".join(extension.upper() for extension in FORMATS)
    )


class AskForm(QuestionForm):
    """The question with stitch files that are not kept yet."""

    accepts_files = True

    stitch_files = StitchFiles(
        label=_("Stitch files"),
        required=False,
        help_text=lazy(_formats_in_words, str)(),
    )

    field_order = (
        "stitch_files",
        "design",
        "pieces",
        "fabric",
        "machine",
        "hoop",
        "copies",
        "tests",
        "needed_on",
        "strictness",
    )

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if (
            cleaned is not None
            and not self.errors
            and not cleaned.get("stitch_files")
            and not cleaned.get("design")
        ):
            self.add_error("stitch_files", _("Choose a stitch file, or one of the designs kept here."))
        return cleaned

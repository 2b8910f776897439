"""Forms of a job: its facts, where its designs lie, and the names on its pieces."""

from decimal import Decimal
from typing import Any, cast

from django import forms
from django.utils.translation import gettext_lazy as _

from inventory.compute.errors import WorkshopError
from inventory.compute.units import reader
from inventory.shelf.typed.measures import as_people_write
from planning.compute.batch.quoting import QuoteTerms
from planning.compute.stitches.placing import Placement
from planning.jobs.jobs import JobFacts
from planning.models import Design, Job, PlacedDesign
from planning.plan.forms import DUE_ON, QuestionForm

MOST_DESIGNS = 50


class KeepForm(QuestionForm):
    """The question of a plan sheet, with what the job is called."""

    what = forms.CharField(label=_("What is it?"), max_length=120)

    field_order = ("what",)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        if "design" not in self.fields:
            return
        # The plan sheet has chosen them: of a library of thousands, those alone are shown.
        asked = cast(forms.ModelMultipleChoiceField, self.fields["design"])
        chosen = [each for each in self["design"].value() or [] if str(each).isdecimal()]
        kept = Design.objects.order_by("-pk")
        shown = kept.filter(pk__in=chosen) if chosen else kept
        asked.widget.choices = [(each.pk, str(each)) for each in shown[:MOST_DESIGNS]]

    def wanted(self, *, copies: int) -> JobFacts:
        """Return the facts of the job, with ``copies`` in a hooping: *most* is a number once it is planned."""
        given = self.cleaned_data
        return JobFacts(
            **{
                name: given[name]
                for name in (
                    "what",
                    "pieces",
                    "needed_on",
                    "fabric",
                    "machine",
                    "hoop",
                    "tests",
                    "strictness",
                )
            },
            copies=copies,
        )


class NamesJobForm(KeepForm):
    """A job whose pieces carry only names."""

    design = None  # type: ignore[assignment]
    pieces = None  # type: ignore[assignment]
    names = forms.CharField(
        label=_("Names, one a line"),
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text=_(
            "Each with a kept design of its lettering: MARLA finds the design called MARLA, or the only one "
            "with that word in its name; MARLA: file-12 names it."
        ),
    )

    field_order = ("what", "names")  # type: ignore[assignment]

    def facts(self) -> JobFacts:
        """Return the facts of the job; its names say how many pieces there are."""
        given = self.cleaned_data
        copies = given["copies"] if isinstance(given["copies"], int) else 1
        named = ("what", "needed_on", "fabric", "machine", "hoop", "tests", "strictness")
        return JobFacts(pieces=1, copies=copies, **{name: given[name] for name in named})

    @property
    def as_many_as_fit(self) -> bool:
        return self.cleaned_data["copies"] == "most"


class JobForm(forms.ModelForm):
    """The facts of a job."""

    class Meta:
        model = Job
        fields = (
            "what",
            "pieces",
            "needed_on",
            "fabric",
            "machine",
            "hoop",
            "tests",
            "strictness",
            "priority",
            "copies",
            "wearer",
            "notes",
        )
        labels = {
            "what": _("What is it?"),
            "pieces": _("Pieces"),
            "needed_on": _("Due on"),
            "fabric": _("Fabric"),
            "machine": _("Machine"),
            "hoop": _("Hoop"),
            "tests": _("Test pieces"),
            "strictness": _("Colours are"),
            "priority": _("Priority"),
            "notes": _("Notes"),
        }
        help_texts = {"tests": _("Empty: as the rules say."), "needed_on": DUE_ON}
        widgets = {"needed_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")}

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        wearer = cast(forms.TypedChoiceField, self.fields["wearer"])
        wearer.choices = [("", _("nobody who needs more care")), *Job.Wearer.choices]
        # What leaving it out means, in the same words as where the question is asked.
        for name in ("fabric", "machine", "hoop"):
            asked = cast(forms.ModelChoiceField, QuestionForm.base_fields[name])
            cast(forms.ModelChoiceField, self.fields[name]).empty_label = asked.empty_label

    def wanted(self) -> JobFacts:
        return JobFacts(**{name: self.cleaned_data[name] for name in self.Meta.fields})


class QuoteForm(forms.Form):
    """How a price is made of a cost."""

    margin = forms.DecimalField(label=_("Margin, %"), min_value=0, max_value=1000, decimal_places=1)
    rounded_to = forms.DecimalField(
        label=_("A piece is rounded up to"), min_value=Decimal("0.01"), max_value=1000, decimal_places=2
    )
    minimum = forms.DecimalField(label=_("Least order"), min_value=0, max_value=100_000, decimal_places=2)

    def __init__(self, *args: Any, usual: QuoteTerms, **options: Any) -> None:
        first = {"margin": usual.margin_percent, "rounded_to": usual.rounded_to, "minimum": usual.minimum}
        super().__init__(*args, **{"initial": first, **options})

    def terms(self) -> QuoteTerms:
        given = self.cleaned_data
        return QuoteTerms(given["margin"], given["rounded_to"], given["minimum"])


class AgainForm(forms.Form):
    """How many pieces of the same again, and by when."""

    pieces = forms.IntegerField(label=_("Pieces"), min_value=1, max_value=10_000)
    needed_on = forms.DateField(
        label=_("Due on"),
        help_text=DUE_ON,
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )


class PlacedForm(forms.ModelForm):
    """Where one design lies on the piece."""

    class Meta:
        model = PlacedDesign
        fields = ("order", "hooping", "x_mm", "y_mm", "turned_deg", "scale_percent", "mirrored")
        labels = {
            "order": _("Stitched as number"),
            "hooping": _("Hooping"),
            "x_mm": _("Right of the middle, mm"),
            "y_mm": _("Below the middle, mm"),
            "mirrored": _("Mirrored"),
        }

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        as_people_write(self, reader(), signed=("x_mm", "y_mm"))

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        if cleaned and not self.errors:
            try:
                self.placement = Placement(
                    x_mm=cleaned["x_mm"],
                    y_mm=cleaned["y_mm"],
                    turned_deg=cleaned["turned_deg"],
                    mirrored=cleaned["mirrored"],
                    scale=cleaned["scale_percent"] / 100,
                )
            except WorkshopError as problem:
                self.add_error("scale_percent", str(problem))
        return cleaned


class NamesForm(forms.Form):
    """One line for each piece: the name and, after a colon, the design digitized for it."""

    names = forms.CharField(
        label=_("Names, one a line"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}),
        help_text=_(
            "One line for each ordered piece, such as <code>MARLA: name-marla</code>. After the colon stands "
            "the name of a kept design; without one the name itself is taken. Empty: no lettering."
        ),
    )

"""Forms of the strip to stitch and weigh."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.compute.spoken import N_
from inventory.compute.units import reader, told_sides
from inventory.models import ThreadRange
from inventory.shelf.forms import MeasureField, UnitsForm
from inventory.shelf.typed.lazily import told_lazily
from inventory.shelf.typed.measures import as_people_write
from planning.compute.stitches.strip_threads import PARTS
from planning.compute.stitches.thread_length import USUAL_THICKNESS_MM
from planning.compute.stitches.weighed_strip import Scale, StripMeasured
from planning.models import Fabric, Hoop, Machine
from planning.plan.ask import chosen_machine
from planning.strip.strips import StripAsked
from planning.strip.threads import BOTH, ThreadsAsked, weighed_on

MG_PER_G = 1000


class StitchedOnForm(forms.Form):
    """What a strip is stitched on; every field can stand in a page's address."""

    machine = forms.ModelChoiceField(
        queryset=Machine.objects.all(), label=_("Machine"), required=False, empty_label=_("the first one")
    )
    hoop = forms.ModelChoiceField(
        queryset=Hoop.objects.all(),
        label=_("Hoop"),
        required=False,
        empty_label=told_lazily(_("any with {size}"), size=lambda: told_sides(100, 100)),
    )
    fabric = forms.ModelChoiceField(
        queryset=Fabric.objects.all(),
        label=_("Fabric"),
        required=False,
        empty_label=told_lazily(_("not said: {size} thick"), size=lambda: told_sides(USUAL_THICKNESS_MM)),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        as_people_write(self, reader())


class StripForm(StitchedOnForm):
    """For which machine and threads, and on what scale; every field can stand in a page's address."""

    needle_range = forms.ModelChoiceField(
        queryset=ThreadRange.objects.filter(purpose=ThreadRange.Purpose.NEEDLE),
        label=_("Needle thread"),
        empty_label=_("choose a range"),
    )
    bobbin_range = forms.ModelChoiceField(
        queryset=ThreadRange.objects.filter(purpose=ThreadRange.Purpose.BOBBIN),
        label=_("Bobbin thread"),
        empty_label=_("choose a range"),
    )
    step_g = forms.DecimalField(
        label=_("The scale shows steps of, g"),
        min_value=Decimal("0.0001"),
        max_value=Decimal("10"),
        initial=Decimal("0.01"),
    )
    error_percent = forms.DecimalField(
        label=_("Weighed to, %"),
        min_value=Decimal("0.5"),
        max_value=Decimal("50"),
        initial=Decimal("5"),
        help_text=_("The finer, the larger the strip."),
    )

    def asked(self) -> StripAsked:
        given = self.cleaned_data
        return StripAsked(
            machine=given["machine"] or chosen_machine(None),
            scale=Scale(
                step_mg=float(given["step_g"]) * MG_PER_G,
                needle_tex=given["needle_range"].tex,
                bobbin_tex=given["bobbin_range"].tex,
            ),
            wanted_error=float(given["error_percent"]) / 100,
            hoop=given["hoop"],
            fabric=given["fabric"],
        )


class MeasuredForm(forms.Form):
    """What was read on the back of the strip, and weighed."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        as_people_write(self, reader())

    light_percent = forms.DecimalField(
        label=_("Light strip, % of the column's width"),
        min_value=0,
        max_value=100,
        help_text=_(
            "On the back of the widest satin column: the width of the bobbin thread, of the column's width."
        ),
    )
    light_error = forms.DecimalField(
        label=_("It may be misread by, %"), min_value=0, max_value=50, initial=Decimal("5")
    )
    needle_g = forms.DecimalField(
        label=_("The spool became lighter by, g"), min_value=Decimal("0.0001"), max_value=Decimal("1000")
    )
    bobbin_g = forms.DecimalField(
        label=_("The bobbin became lighter by, g"), min_value=Decimal("0.0001"), max_value=Decimal("1000")
    )
    path_lost = forms.BooleanField(
        label=_("The thread between spool and needle is in that weight"),
        required=False,
        initial=True,
        help_text=_(
            "It is when the spool was weighed before it was threaded, and cut off at the spool afterwards."
        ),
    )

    def measured(self, machine: Machine) -> StripMeasured:
        given: dict[str, Any] = self.cleaned_data
        return StripMeasured(
            light_share=float(given["light_percent"]) / 100,
            light_sigma=float(given["light_error"]) / 100,
            needle_mg=float(given["needle_g"]) * MG_PER_G,
            bobbin_mg=float(given["bobbin_g"]) * MG_PER_G,
            path_mm=machine.threaded_path_mm if given["path_lost"] else 0.0,
        )


THREAD_OF = {"needle": N_("{part}, needle thread"), "bobbin": N_("{part}, bobbin thread")}
MEASURED, WEIGHED = "measured", "weighed"


class ThreadsForm(StitchedOnForm):
    """How the threads of three parts are read, and for which machine; every field can stand in an address."""

    field_order = ("way", "machine", "fabric")
    way = forms.ChoiceField(
        label=_("The threads are"),
        choices=((MEASURED, _("unravelled and measured")), (WEIGHED, _("weighed"))),
        initial=MEASURED,
    )
    needle_range = forms.ModelChoiceField(
        queryset=ThreadRange.objects.filter(purpose=ThreadRange.Purpose.NEEDLE),
        label=_("Needle thread, if weighed"),
        required=False,
        empty_label=_("not weighed"),
    )
    bobbin_range = forms.ModelChoiceField(
        queryset=ThreadRange.objects.filter(purpose=ThreadRange.Purpose.BOBBIN),
        label=_("Bobbin thread, if weighed"),
        required=False,
        empty_label=_("not weighed"),
    )
    step_g = forms.DecimalField(
        label=_("The scale shows steps of, g"),
        min_value=Decimal("0.0001"),
        max_value=Decimal("10"),
        initial=Decimal("0.01"),
        required=False,
    )
    repeat_g = forms.DecimalField(
        label=_("Weighed again, it differs by about, g"),
        min_value=0,
        max_value=Decimal("10"),
        required=False,
        help_text=_("Put the same spool on five times; empty: as much as a step."),
    )
    error_percent = forms.DecimalField(
        label=_("Each part weighed to, %"),
        min_value=Decimal("0.1"),
        max_value=Decimal("50"),
        initial=Decimal("5"),
        required=False,
        help_text=_("The finer, the larger the strip."),
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["fabric"].help_text = gettext("With its stabilizer: its thickness is set by the strip.")

    def clean(self) -> dict[str, Any]:
        given: dict[str, Any] = super().clean() or {}
        if given.get("way") == WEIGHED:
            for name in ("needle_range", "bobbin_range", "step_g", "error_percent"):
                if given.get(name) is None and name not in self.errors:
                    self.add_error(name, gettext("Thread that is weighed takes this."))
        return given

    def asked(self) -> ThreadsAsked:
        given = self.cleaned_data
        machine = given["machine"] or chosen_machine(None)
        if given["way"] == MEASURED:
            return ThreadsAsked(machine, given["fabric"], given["hoop"])
        step_mg = float(given["step_g"]) * MG_PER_G
        repeat = given["repeat_g"]
        return ThreadsAsked(
            machine,
            given["fabric"],
            given["hoop"],
            weighed_on(
                given["needle_range"],
                given["bobbin_range"],
                step_mg=step_mg,
                repeatability_mg=step_mg if repeat is None else float(repeat) * MG_PER_G,
                wanted_error=float(given["error_percent"]) / 100,
            ),
        )


class ThreadsReadForm(UnitsForm):
    """Needle and bobbin thread of each part: lengths, or what spool and bobbin became lighter by."""

    def __init__(self, *args: Any, weighed: bool, **options: Any) -> None:
        super().__init__(*args, **options)
        for part in PARTS:
            for thread in BOTH:
                said = THREAD_OF[thread]
                field = MeasureField(
                    measure="weight" if weighed else "size",
                    label=gettext(said).format(part=gettext(part).capitalize()),
                )
                field.read_in(self.units)
                self.fields[f"{part.replace(' ', '_')}_{thread}"] = field

    def read(self) -> dict[tuple[str, str], float]:
        """Return what was read by (part, thread), in mm or mg."""
        return {
            (part, thread): float(self.cleaned_data[f"{part.replace(' ', '_')}_{thread}"])
            for part in PARTS
            for thread in BOTH
        }

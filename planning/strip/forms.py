"""Forms of the strip to stitch and weigh."""

from decimal import Decimal
from typing import Any

from django import forms

from inventory.models import ThreadRange
from planning.compute.stitches.thread_length import USUAL_THICKNESS_MM
from planning.compute.stitches.weighed_strip import Scale, StripMeasured
from planning.models import Fabric, Hoop, Machine
from planning.plan.ask import chosen_machine
from planning.strip.strips import StripAsked

MG_PER_G = 1000


class StripForm(forms.Form):
    """For which machine and threads, and on what scale; every field can stand in a page's address."""

    machine = forms.ModelChoiceField(
        queryset=Machine.objects.all(), label="Machine", required=False, empty_label="the first one"
    )
    hoop = forms.ModelChoiceField(
        queryset=Hoop.objects.all(), label="Hoop", required=False, empty_label="any with 100 × 100 mm"
    )
    fabric = forms.ModelChoiceField(
        queryset=Fabric.objects.all(),
        label="Fabric",
        required=False,
        empty_label=f"not said: {USUAL_THICKNESS_MM:g} mm thick",
    )
    needle_range = forms.ModelChoiceField(
        queryset=ThreadRange.objects.filter(purpose=ThreadRange.Purpose.NEEDLE), label="Needle thread"
    )
    bobbin_range = forms.ModelChoiceField(
        queryset=ThreadRange.objects.filter(purpose=ThreadRange.Purpose.BOBBIN), label="Bobbin thread"
    )
    step_g = forms.DecimalField(
        label="The scale shows steps of, g",
        min_value=Decimal("0.0001"),
        max_value=Decimal("10"),
        initial=Decimal("0.01"),
    )
    error_percent = forms.DecimalField(
        label="Weighed to, %",
        min_value=Decimal("0.5"),
        max_value=Decimal("50"),
        initial=Decimal("5"),
        help_text="The finer, the larger the strip.",
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

    light_percent = forms.DecimalField(
        label="Light strip, % of the column's width",
        min_value=0,
        max_value=100,
        help_text="On the back of the widest satin column: the width of the bobbin thread, of the column's width.",
    )
    light_error = forms.DecimalField(
        label="It may be misread by, %", min_value=0, max_value=50, initial=Decimal("5")
    )
    needle_g = forms.DecimalField(
        label="The spool became lighter by, g", min_value=Decimal("0.0001"), max_value=Decimal("1000")
    )
    bobbin_g = forms.DecimalField(
        label="The bobbin became lighter by, g", min_value=Decimal("0.0001"), max_value=Decimal("1000")
    )
    path_lost = forms.BooleanField(
        label="The thread between spool and needle is in that weight",
        required=False,
        initial=True,
        help_text="It is when the spool was weighed before it was threaded, and cut off at the spool afterwards.",
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

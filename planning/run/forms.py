"""The form that ends a run: a weight for each spool that is put on the scale, bobbins and minutes."""

from typing import Any

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.compute.lengths import ScaleReading
from inventory.compute.spoken import as_written_here
from inventory.compute.units import Units, reader
from inventory.models import Spool
from inventory.shelf.forms import MeasureField, ScaleField
from inventory.shelf.typed.lazily import told_lazily
from planning.run.finish import Ending, WeighedBack
from planning.run.standing import Run, spools_of


class EndingForm(forms.Form):
    """What a person says at the end; every field may stay empty, and what was estimated is then believed."""

    scale_resolution = MeasureField(
        measure="weight",
        label=_("Steps of the scale"),
        required=False,
        help_text=told_lazily(
            _(
                "Type every figure that the scale shows: 52.40 teaches more than 52. This is only for a scale whose "
                "step is not that of its last figure, such as one in steps of {step}."
            ),
            step=lambda: "5 g" if reader().weight == "g" else as_written_here("0.2 oz"),
        ),
    )
    bobbins = forms.FloatField(
        label=_("Bobbins used"),
        required=False,
        min_value=0,
        help_text=_("With what is left on the last one: 3.5 is three empty and half of a fourth."),
    )
    keep_bobbin = forms.BooleanField(
        label=_("Keep the rest of the last one as a part bobbin"), required=False
    )
    machine_min = forms.FloatField(label=_("Minutes at the machine"), required=False, min_value=0)
    stabilizer_by_hand = forms.BooleanField(
        label=_("Take no stabilizer now: it is taken by hand, or on the cut sheet"), required=False
    )
    although_unfinished = forms.BooleanField(
        label=_("It ends as it is: the rest will not be stitched"), required=False
    )
    sure = forms.BooleanField(
        label=_("The weights are right, even where a spool seems fuller than full"), required=False
    )

    def __init__(self, *args: Any, run: Run, units: Units, **options: Any) -> None:
        super().__init__(*args, **options)
        self.run = run
        used = spools_of(run)
        self.spools: list[tuple[Spool, str]] = []
        for spool in Spool.objects.filter(pk__in=used).select_related("shade__range", "place", "put_up"):
            name = f"gross_{spool.pk}"
            self.fields[name] = ScaleField(
                label=gettext("{label} weighs").format(label=spool.label), required=False
            )
            self.spools.append((spool, name))
        for field in self.fields.values():
            if isinstance(field, MeasureField):
                field.read_in(units)
        if not run.left:
            del self.fields["although_unfinished"]

    def ending(self) -> Ending:
        given = self.cleaned_data
        stated_mg: int | None = given["scale_resolution"]
        return Ending(
            weighed=tuple(
                WeighedBack(spool.label, _shown(given[name], stated_mg=stated_mg), sure=given["sure"])
                for spool, name in self.spools
                if given[name] is not None
            ),
            bobbins=given["bobbins"],
            keep_bobbin=given["keep_bobbin"],
            machine_min=given["machine_min"],
            although_unfinished=bool(given.get("although_unfinished")),
            stabilizer_as_proposed=not given["stabilizer_by_hand"],
        )


def _shown(reading: ScaleReading, *, stated_mg: int | None) -> ScaleReading:
    return reading if not stated_mg else reading._replace(resolution_mg=stated_mg)

"""The form that chooses jobs to cut together."""

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from planning.models import Job

# More than this on one sheet nobody lays out on one table.
MOST_TOGETHER = 12


class CutTogetherForm(forms.Form):
    """Jobs whose stabilizer is cut together."""

    job = forms.ModelMultipleChoiceField(
        Job.objects.waiting().soonest_first(),
        error_messages={
            "required": _("Choose the jobs to cut together."),
            "invalid_choice": _("There is no job %(value)s; choose among those below."),
        },
    )

    def clean_job(self) -> list[Job]:
        chosen = list(self.cleaned_data["job"])
        if len(chosen) > MOST_TOGETHER:
            raise forms.ValidationError(
                gettext("{number} jobs are too many for one sheet; choose {most} or fewer.").format(
                    number=len(chosen), most=MOST_TOGETHER
                )
            )
        return chosen

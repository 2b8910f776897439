"""What to look at first for all open jobs."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from planning.jobs.measuring import measure_first
from planning.plan.settling import IN_WORDS


@require_safe
def measure_first_page(request: HttpRequest) -> HttpResponse:
    """Show what to weigh, measure or look at before anything is bought, what settles most first."""
    rows = [
        {
            "item": each.item,
            "act": _(IN_WORDS[each.item.act]),
            "settles": [
                {
                    "job": one.job,
                    "chance": one.first.settling.chance,
                    "enough": one.first.settling.enough,
                    "with": [item.label for item in one.first.items if item.label != each.item.label],
                }
                for one in each.settles
            ],
        }
        for each in measure_first()
    ]
    return render(request, "planning/measure_first.html", {"rows": rows})

"""What was learned of a machine: its factors, the observations behind them, and starting anew."""

import math

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.models import ThreadRange
from planning.facts.learning import count_in, learned_factors, leave_out, start_anew, take_back_reset
from planning.models import FactorReset, Machine, Observation

WIDE = 1.96  # sigmas on either side of an interval that holds 95 in a hundred


@require_safe
def learned_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show every factor of a machine beside the one it started from."""
    machine = get_object_or_404(Machine, pk=pk)
    return render(
        request,
        "planning/learned.html",
        {
            "machine": machine,
            "factors": [
                {
                    "factor": each,
                    "before": _interval(each.prior.median, each.prior.sigma),
                    "now": _interval(each.factor.median, each.factor.sigma),
                    "narrower": 1 - each.factor.sigma / each.prior.sigma,
                    "rows": [
                        {"seen": seen, "judged": judged, "ratio": seen.actual / seen.estimated}
                        for seen, judged in each.observations
                    ],
                }
                for each in learned_factors(machine)
            ],
            "resets": machine.resets.select_related("range", "by"),
        },
    )


@require_POST
def count_or_leave(request: HttpRequest, pk: int) -> HttpResponse:
    """Leave an observation out of its factor, or count it in again."""
    seen = get_object_or_404(Observation, pk=pk)
    if request.POST.get("count") == "yes":
        count_in(seen)
        messages.success(request, "Counted in.")
    else:
        leave_out(seen, why=request.POST.get("why", ""))
        messages.success(request, "Left out. It stays on record.")
    return redirect("learned", seen.machine_id)


@require_POST
def anew(request: HttpRequest, pk: int) -> HttpResponse:
    """Start one factor anew."""
    machine = get_object_or_404(Machine, pk=pk)
    chosen = request.POST.get("range", "")
    range = get_object_or_404(ThreadRange, pk=chosen) if chosen.isdecimal() else None
    try:
        start_anew(machine, request.POST.get("kind", ""), range=range, at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        messages.error(request, str(problem))
    else:
        messages.success(request, "Started anew: what was seen before counts no more.")
    return redirect("learned", pk)


@require_POST
def reset_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back a fresh start."""
    reset = get_object_or_404(FactorReset, pk=pk)
    machine = reset.machine_id
    take_back_reset(reset)
    messages.success(request, "Taken back: what was seen before counts again.")
    return redirect("learned", machine)


def _interval(median: float, sigma: float) -> dict[str, float]:
    """Return a factor's median and the limits that hold it with 95 % certainty: it is lognormal."""
    return {
        "median": median,
        "low": median * math.exp(-WIDE * sigma),
        "high": median * math.exp(WIDE * sigma),
    }

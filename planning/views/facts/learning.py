"""What was learned of a machine: its factors, how often they held, changes, and starting anew."""

import math
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.models import ThreadRange
from planning.compute.certainty.factor import Factor
from planning.facts.learning import (
    change_in_words,
    count_in,
    kept_in_words,
    leave_out,
    machine_learned,
    start_anew,
    take_back_change,
    take_back_reset,
    tell_change,
)
from planning.models import FactorReset, Machine, Observation, ToldChange


@require_safe
def learned_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show every factor of a machine beside the one it started from."""
    machine = get_object_or_404(Machine, pk=pk)
    known = machine_learned(machine)
    return render(
        request,
        "planning/learned.html",
        {
            "machine": machine,
            "key": uuid4().hex,
            "band": kept_in_words(known.kept["thread"]),
            "band_too_few": known.kept["thread"].is_too_few,
            "changes": [change_in_words(each) for each in known.changes],
            "told": known.told,
            "factors": [
                {
                    "factor": each,
                    "before": _interval(each.prior),
                    "now": _interval(each.factor),
                    "kept": kept_in_words(known.kept[each.kind]),
                    "rows": [
                        {"seen": seen, "judged": judged, "ratio": seen.actual / seen.estimated}
                        for seen, judged in each.observations
                    ],
                }
                for each in known.factors
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
        messages.success(request, _("Counted in."))
    else:
        leave_out(seen, why=request.POST.get("why", ""))
        messages.success(request, _("Left out. It stays on record."))
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
        messages.success(request, _("Started anew: what was seen before counts no more."))
    return redirect("learned", pk)


@require_POST
def reset_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back a fresh start."""
    reset = get_object_or_404(FactorReset, pk=pk)
    machine = reset.machine_id
    take_back_reset(reset)
    messages.success(request, _("Taken back: what was seen before counts again."))
    return redirect("learned", machine)


@require_POST
def changed(request: HttpRequest, pk: int) -> HttpResponse:
    """Hear that a machine was set otherwise."""
    machine = get_object_or_404(Machine, pk=pk)
    try:
        tell_change(
            machine,
            key=request.POST.get("key", ""),
            what=request.POST.get("what", ""),
            at=timezone.now(),
            by=request.user,
        )
    except WorkshopError as problem:
        messages.error(request, str(problem))
    else:
        messages.success(
            request, _("Noted. Estimates are less sure from the next job on, until weigh-backs tell more.")
        )
    return redirect("learned", pk)


@require_POST
def change_back(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back the word that a machine was set otherwise."""
    told = get_object_or_404(ToldChange, pk=pk)
    machine = told.machine_id
    take_back_change(told)
    messages.success(request, _("Taken back: the machine runs as it did before."))
    return redirect("learned", machine)


def _interval(factor: Factor) -> dict[str, float]:
    """Return a factor's median and the limits that hold that of the next job with 95 % certainty."""
    return {
        "median": factor.median,
        "low": math.exp(factor.quantile(0.025)),
        "high": math.exp(factor.quantile(0.975)),
    }

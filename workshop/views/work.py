"""The owner's page of long work: what waits and is under way, by which process, and what came of the last."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from inventory.models import LongWork
from inventory.work import ask_to_stop, begin_again, do_here
from inventory.work.queue import alive

SHOWN = 30


@never_cache
@require_safe
def work(request: HttpRequest) -> HttpResponse:
    """Show what waits, what is under way and what came of the last, and the processes that do it."""
    now = timezone.now()
    all_work = LongWork.objects.select_related("by", "stopped_by", "process")
    shown = {
        "under_way": all_work.under_way().order_by("started_at")[:SHOWN],
        "waiting": all_work.waiting().order_by("asked_at")[:SHOWN],
        "through": all_work.exclude(ended_at=None).order_by("-ended_at")[:SHOWN],
        "processes": alive(at=now),
        "now": now,
    }
    return render(request, "workshop/work.html", shown)


@require_POST
def work_stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask whoever carries the work out to end it at its next step."""
    ask_to_stop(get_object_or_404(LongWork, pk=pk), at=timezone.now(), by=request.user)
    messages.info(request, _("It ends at its next step. What was done until then stays."))
    return redirect("work")


@require_POST
def work_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin work again that failed or was stopped, or have this site take this one, which no worker takes."""
    work = get_object_or_404(LongWork, pk=pk)
    begin_again(work)
    do_here(work)
    return redirect("work")

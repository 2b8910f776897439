"""A job promised, taken back, dropped, picked up again and made again; and what if it came first."""

from collections.abc import Callable

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.compute.errors import WorkshopError
from inventory.shelf.forms import new_key
from planning.jobs.forms import AgainForm
from planning.jobs.season import if_first, in_turn
from planning.jobs.turns import Standing, worse_off
from planning.models import Job
from planning.run.finish import drop
from planning.run.promise import pick_up, promise, same_again, take_promise_back
from planning.run.ticks import begin

PER_PAGE = 50


@require_POST
def promise_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Set the chosen material aside for a job."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    try:
        made = promise(
            job,
            at=timezone.now(),
            by=request.user,
            although_short=request.POST.get("although_short") == "yes",
            shown=request.POST.get("shown", ""),
            key=request.POST.get("key", "")[:40],
        )
    except WorkshopError as problem:
        messages.error(request, str(problem))
    else:
        short = [str(thread) for thread in made.threads.all() if thread.missing_mm]
        if short:
            said = _("Promised with what there is. Still missing thread: {threads}.")
            messages.warning(request, said.format(threads=", ".join(short)))
        else:
            messages.success(request, _("Promised: the material for {job} is set aside.").format(job=job))
    return redirect("job", job.pk)


@require_POST
def begin_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Begin a promised job at the machine."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    try:
        begin(job, at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job", job.pk)
    return redirect("run_sheet", job.pk)


def _act_on(request: HttpRequest, pk: int, act: Callable[..., object], said: str) -> HttpResponse:
    """Do ``act`` with a job and say so, or say why it was refused; then show the job."""
    job = get_object_or_404(Job, pk=pk)
    try:
        act(job, at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        messages.error(request, str(problem))
    else:
        messages.success(request, _(said).format(job=job))
    return redirect("job", job.pk)


@require_POST
def take_back_promise(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a promised job a draft again."""
    return _act_on(
        request,
        pk,
        take_promise_back,
        gettext_noop("{job} is a draft again, and nothing is set aside for it."),
    )


@require_POST
def drop_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Drop a job that will not be stitched."""
    return _act_on(
        request, pk, drop, gettext_noop("{job} is dropped, and what was set aside for it is free again.")
    )


@require_POST
def pick_up_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a dropped job a draft again."""
    return _act_on(request, pk, pick_up, gettext_noop("{job} is a draft again."))


@require_http_methods(["GET", "HEAD", "POST"])
def again(request: HttpRequest, pk: int) -> HttpResponse:
    """Make the same job again, with as many pieces as are asked for now."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    form = AgainForm(request.POST or None, initial={"pieces": job.pieces})
    if request.method == "POST" and form.is_valid():
        made = same_again(
            job,
            pieces=form.cleaned_data["pieces"],
            needed_on=form.cleaned_data["needed_on"],
            at=timezone.now(),
            by=request.user,
            key=request.POST.get("key", "")[:40],
        )
        said = _("{made} is a new draft, stitched as job {number} was.").format(made=made, number=job.pk)
        messages.success(request, said)
        return redirect("job", made.pk)
    return render(
        request,
        "planning/again.html",
        {"job": job, "form": form, "key": request.POST.get("key") or new_key()},
        status=422 if form.is_bound else 200,
    )


@require_safe
def what_if_first(request: HttpRequest, pk: int) -> HttpResponse:
    """Show who would go short if this job came first; nothing is saved."""
    job = get_object_or_404(Job, pk=pk)
    try:
        after = if_first(job)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job", job.pk)
    before = in_turn()
    now, worse = {each.job.pk: each for each in before}, worse_off(before, after)
    losing = {each.job.pk for each, _ in worse}
    # The job itself and whoever would lose by it first: they are what is asked about.
    told = sorted(after, key=lambda each: each.job.pk != job.pk and each.job.pk not in losing)
    page: Page[Standing] = Paginator(told, PER_PAGE).get_page(request.GET.get("page"))
    shown = {
        "job": job,
        "rows": [(now[each.job.pk], each) for each in page.object_list],
        "worse": worse,
        "page_obj": page,
        "page_numbers": page.paginator.get_elided_page_range(page.number),
    }
    return render(request, "planning/what_if.html", shown)

"""The end of a job: spools on the scale, bobbins and minutes told, and planned against actual."""

from dataclasses import replace
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.compute.errors import WorkshopError
from planning.models import Job, RunReport
from planning.plan.words import in_currency
from planning.run.finish import finish, shown_of
from planning.run.forms import EndingForm
from planning.run.reopen import reopen
from planning.run.stabilizer import stabilizer_use
from planning.run.standing import minutes_ticked, run_of, used_so_far
from planning.run.told import not_booked_said, said


@require_http_methods(["GET", "HEAD", "POST"])
def finish_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask what the run really took, and finish the job."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    if RunReport.objects.filter(job=job).exists():
        return redirect("job_report", pk)
    try:
        run = run_of(job)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job", pk)
    units: Any = request.units  # type: ignore[attr-defined]
    ticked = minutes_ticked(run)
    form = EndingForm(
        request.POST or None,
        run=run,
        units=units,
        initial={"machine_min": round(ticked) if ticked and ticked >= 1 else None},
    )
    if request.method == "POST" and form.is_valid():
        try:
            finish(
                job, form.ending(), at=timezone.now(), by=request.user, shown=request.POST.get("shown", "")
            )
        except WorkshopError as problem:
            form.add_error(None, str(problem))
            run = run_of(job)  # what is shown with the refusal is what stands now
        else:
            done = _("{job} is finished. What was not booked stands in its report.").format(job=job)
            messages.success(request, done)
            return redirect("job_report", pk)
    used = used_so_far(job)
    stabilizer = stabilizer_use(run)
    return render(
        request,
        "planning/finish_job.html",
        {
            "job": job,
            "run": run,
            "form": form,
            "stabilizer": replace(stabilizer, problems=tuple(map(said, stabilizer.problems))),
            "shown": shown_of(run, stabilizer),
            "spools": [
                {"spool": spool, "used_mm": used.get(spool.pk, 0), "field": form[name]}
                for spool, name in form.spools
            ],
        },
        status=422 if form.is_bound else 200,
    )


@require_safe
def report(request: HttpRequest, pk: int) -> HttpResponse:
    """Show planned against actual."""
    job = get_object_or_404(Job.objects.select_related("fabric", "machine"), pk=pk)
    found = get_object_or_404(RunReport.objects.select_related("by"), job=job)
    threads = [
        row | {"difference": (row["used_mm"] / row["planned_mm"] - 1) if row["planned_mm"] else None}
        for row in found.facts["threads"]
    ]
    observations, money = job.observations.select_related("machine", "range"), found.facts["material"]
    return render(
        request,
        "planning/report.html",
        {
            "job": job,
            "report": found,
            "facts": found.facts,
            "not_booked": not_booked_said(found.facts),
            "material": {name: in_currency(money[name], money["currency"]) for name in ("planned", "used")},
            "threads": threads,
            "observations": observations,
            "reopenings": job.reopenings.select_related("by"),
        },
    )


@require_POST
def reopen_job(request: HttpRequest, pk: int) -> HttpResponse:
    """Open a finished job again, with the reason."""
    job = get_object_or_404(Job, pk=pk)
    try:
        reopen(job, why=request.POST.get("why", ""), at=timezone.now(), by=request.user)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job_report" if job.state == Job.State.FINISHED else "job", pk)
    messages.success(request, _("{job} runs again. Finish it anew when it is right.").format(job=job))
    return redirect("run_sheet", pk)

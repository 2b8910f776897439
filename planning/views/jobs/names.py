"""Jobs whose pieces carry only names, and the hoopings in which several are stitched together."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_safe

from inventory.compute.errors import WorkshopError
from inventory.shelf.forms import new_key
from planning.jobs.forms import NamesJobForm
from planning.jobs.hoopings import hooping_files, hoopings_of, zipped
from planning.jobs.jobs import make_names_job
from planning.models import Job
from planning.stitch_files.writing import WRITTEN


@require_http_methods(["GET", "HEAD", "POST"])
def names_job(request: HttpRequest) -> HttpResponse:
    """Keep a list of names as a job of its own."""
    form = NamesJobForm(request.POST or None, initial={"copies": "most", "tests": 0})
    if form.is_bound and form.is_valid():
        key = request.POST.get("key", "")[:60]
        try:
            job = make_names_job(
                form.facts(),
                form.cleaned_data["names"],
                at=timezone.now(),
                by=request.user,
                key=f"keep-{key}" if key else "",
                as_many_as_fit=form.as_many_as_fit,
            )
        except WorkshopError as problem:
            form.add_error("names", str(problem))
        else:
            said = ngettext(
                "{job} is kept: {names} name, {copies} in a hooping.",
                "{job} is kept: {names} names, {copies} in a hooping.",
                job.pieces,
            )
            messages.success(request, said.format(job=job, names=job.pieces, copies=job.copies))
            return redirect("job", job.pk)
    shown = {"form": form, "key": request.POST.get("key") or new_key()}
    return render(request, "planning/names_job.html", shown, status=422 if form.is_bound else 200)


@require_safe
def job_hoopings(request: HttpRequest, pk: int) -> HttpResponse:
    """Show which pieces are stitched in which hooping, and offer the files."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    try:
        hoopings = hoopings_of(job)
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job", pk)
    return render(
        request, "planning/job_hoopings.html", {"job": job, "hoopings": hoopings, "written": WRITTEN}
    )


@require_safe
def job_hooping_files(request: HttpRequest, pk: int, extension: str) -> HttpResponse:
    """Give one stitch file for each hooping, as one archive."""
    job = get_object_or_404(Job.objects.with_everything(), pk=pk)
    try:
        content = zipped(hooping_files(job, extension=extension))
    except WorkshopError as problem:
        messages.error(request, str(problem))
        return redirect("job_hoopings", pk)
    response = HttpResponse(content, content_type="application/zip")
    response["Content-Disposition"] = f'attachment; filename="hoopings-{job.pk}-{extension}.zip"'
    return response

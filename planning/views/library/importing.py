"""Stitch files into the library through the browser: send them, see how far they are, read what was refused."""

import csv
from datetime import timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.models import LongWork
from inventory.tables.cells import guarded
from inventory.work import ask_for, ask_to_stop, do_here
from planning.library.forms import LibraryFilesForm
from planning.library.importing import GIVEN_UP_AFTER, receive_files
from planning.models import ImportedFile, ImportRun
from planning.tasks import carry_out_import

SHOWN = 100
RECENT_RUNS = 8
# A worker looks every second; after so long it has other work, or none runs.
PATIENCE = timedelta(seconds=10)


@require_http_methods(["GET", "HEAD", "POST"])
def design_import(request: HttpRequest) -> HttpResponse:
    """Take stitch files and archives, and have them imported."""
    if request.method == "POST":
        form = LibraryFilesForm(request.POST, request.FILES)
        too_large = getattr(request, "upload_refused", "")
        if too_large:
            form.errors.clear()
            form.add_error("stitch_files", too_large)
        elif form.is_valid():
            run = receive_files(form.cleaned_data["stitch_files"], at=timezone.now(), by=request.user)
            _carry_out(request, run)
            return redirect("import_run", run.pk)
    else:
        form = LibraryFilesForm()
    return render(
        request,
        "planning/design_import.html",
        {"form": form, "runs": ImportRun.objects.select_related("by")[:RECENT_RUNS]},
        status=422 if form.is_bound else 200,
    )


@require_safe
def import_run(request: HttpRequest, pk: int) -> HttpResponse:
    """Show how far an import is and what came of it; the page looks again by itself until it is through."""
    run = get_object_or_404(ImportRun, pk=pk)
    now = timezone.now()
    work = LongWork.objects.filter(key=_key(run)).first()
    if run.ended_at:
        state = "failed" if run.failure else "done"
    elif work is not None and work.ended_at:
        state = "killed"
    elif run.started_at is None:
        state = "late" if now - run.asked_at > PATIENCE else "waiting"
    elif work is not None:
        state = "stopping" if work.stop_asked_at else "working"
    else:
        state = "killed" if now - (run.alive_at or run.started_at) > GIVEN_UP_AFTER else "working"
    refused = run.files.filter(outcome=ImportedFile.Outcome.REFUSED)
    kept = run.files.filter(outcome=ImportedFile.Outcome.KEPT, design__isnull=False).select_related("design")
    return render(
        request,
        "planning/design_import_run.html",
        {
            "run": run,
            "state": state,
            "work": work,
            "is_moving": state in ("waiting", "late", "working", "stopping"),
            "refused": refused[:SHOWN],
            "kept": kept.order_by("-pk")[:SHOWN],
            "shown": SHOWN,
        },
    )


@require_POST
def import_here(request: HttpRequest, pk: int) -> HttpResponse:
    """Have this site itself go on with what no worker has taken, or what one has left unfinished."""
    run = get_object_or_404(ImportRun, pk=pk)
    do_here(_carry_out(request, run, again=True))
    return redirect("import_run", run.pk)


@require_POST
def import_stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask whoever carries the import out to end it; what was kept stays."""
    run = get_object_or_404(ImportRun, pk=pk)
    work = LongWork.objects.filter(key=_key(run)).first()
    if work is None:
        messages.info(request, _("This import was begun at the command line, and is stopped there."))
    else:
        ask_to_stop(work, at=timezone.now(), by=request.user)
    return redirect("import_run", run.pk)


def _carry_out(request: HttpRequest, run: ImportRun, *, again: bool = False) -> LongWork:
    return ask_for(
        carry_out_import,
        (run.pk,),
        key=_key(run),
        what=f"Import of {run.source}",
        page=reverse("import_run", args=[run.pk]),
        at=timezone.now(),
        by=request.user,
        again=again,
    )


def _key(run: ImportRun) -> str:
    return f"import {run.pk}"


@require_safe
def import_refused(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand out the refused files of a run with their reasons as CSV."""
    run = get_object_or_404(ImportRun, pk=pk)
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    name = slugify(f"refused {run.asked_at:%Y-%m-%d} {run.pk}")
    response["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    response.write("\ufeff")
    table = csv.writer(response, quoting=csv.QUOTE_ALL)
    table.writerow(("file", "reason"))
    for file in run.files.filter(outcome=ImportedFile.Outcome.REFUSED).iterator():
        table.writerow((guarded(file.shown), guarded(file.reason)))
    return response

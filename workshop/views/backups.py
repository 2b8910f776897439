"""The owner's page of backups: the last one, make one, download. The table of rights keeps others out."""

import re
from pathlib import Path

from django.conf import settings
from django.contrib import messages
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from inventory.compute.errors import WorkshopError
from workshop.backup.making import NAME, back_up_into, kept_backups
from workshop.doctor.examine import examine

KEEP = 14


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def backups(request: HttpRequest) -> HttpResponse:
    """Show the backups there are; make one."""
    folder = Path(settings.BACKUP_FOLDER)
    if request.method == "POST":
        try:
            path = back_up_into(
                folder, at=timezone.now(), keep=KEEP, pictures="pictures" in request.POST, why="by-hand"
            )
        except WorkshopError as problem:
            messages.error(request, str(problem))
        else:
            size = path.stat().st_size / 1e6
            messages.success(
                request, f"The backup is made and opens: {size:,.1f} MB. Download it, and keep it elsewhere."
            )
        return redirect("backups")
    return render(
        request,
        "workshop/backups.html",
        {"backups": kept_backups(folder), "folder": folder, "keep": KEEP, "now": timezone.now()},
    )


@never_cache
@require_safe
def backup_file(request: HttpRequest, name: str) -> HttpResponseBase:
    """Hand out one backup."""
    path = Path(settings.BACKUP_FOLDER) / name
    if not re.fullmatch(NAME, name) or not path.is_file():
        raise Http404("There is no such backup any more.")
    return FileResponse(path.open("rb"), as_attachment=True, filename=name, content_type="application/zip")


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def health_of_everything(request: HttpRequest) -> HttpResponse:
    """Show what the doctor finds; mend what is safe to mend."""
    examined = examine(at=timezone.now(), mend=request.method == "POST")
    return render(request, "workshop/doctor.html", {"examined": examined})

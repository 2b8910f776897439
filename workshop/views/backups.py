"""The owner's page of backups: the last one, make one, download. The table of rights keeps others out."""

import re
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

from django.conf import settings
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from inventory.models import LongWork
from inventory.work import ask_for
from workshop.backup.archive import manifest_in
from workshop.backup.making import NAME, kept_backups
from workshop.backup.wholeness import MENDED_BY, not_whole_in_words
from workshop.doctor.examine import examine
from workshop.tasks import KEEP, make_backup

BACKUP = "backup"  # how the keys of such work begin
SAID_FOR = timedelta(minutes=15)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def backups(request: HttpRequest) -> HttpResponse:
    """Show the backups there are; make one."""
    folder = Path(settings.BACKUP_FOLDER)
    if request.method == "POST":
        key = request.POST.get("key", "")[:60] or uuid4().hex
        ask_for(
            make_backup,
            ("pictures" in request.POST,),
            key=f"{BACKUP} {key}",
            what=N_("Backup"),
            page=reverse("backups"),
            at=timezone.now(),
            by=request.user,
        )
        return redirect("backups")
    ours = LongWork.objects.filter(key__startswith=f"{BACKUP} ")
    last = ours.filter(ended_at__gt=timezone.now() - SAID_FOR).first()
    kept = kept_backups(folder)
    return render(
        request,
        "workshop/backups.html",
        {
            "backups": kept, "folder": folder, "keep": KEEP, "now": timezone.now(),
            "not_whole": _not_whole_in(kept[0].path) if kept else [], "mended_by": _(MENDED_BY),
            "key": uuid4().hex, "under_way": ours.open().first(), "last": last,
        },
    )  # fmt: skip


def _not_whole_in(path: Path) -> list[str]:
    """Return what of a backup was not whole, or why the backup cannot be opened."""
    try:
        return not_whole_in_words(manifest_in(path))
    except WorkshopError as problem:
        return [str(problem)]


@never_cache
@require_safe
def backup_file(request: HttpRequest, name: str) -> HttpResponseBase:
    """Hand out one backup."""
    path = Path(settings.BACKUP_FOLDER) / name
    if not re.fullmatch(NAME, name) or not path.is_file():
        raise Http404(_("There is no such backup any more."))
    return FileResponse(path.open("rb"), as_attachment=True, filename=name, content_type="application/zip")


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def health_of_everything(request: HttpRequest) -> HttpResponse:
    """Show what the doctor finds; mend what is safe to mend."""
    examined = examine(at=timezone.now(), mend=request.method == "POST")
    return render(request, "workshop/doctor.html", {"examined": examined})

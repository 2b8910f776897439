"""A page for the machine that watches over the server."""

from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache

from workshop.doctor.database import try_a_write
from workshop.trouble.kinds import AWAY, trouble_of


@login_not_required
@never_cache
def health(request: HttpRequest) -> HttpResponse:
    """Answer ``ok`` while the database answers and takes a write, which is taken back; 503 with the reason if not."""
    try:
        try_a_write()
    except (DatabaseError, OSError) as problem:
        trouble = (trouble_of(problem) or AWAY).said()
        return HttpResponse(f"{trouble.title}: {trouble.do}\n", status=503, content_type="text/plain")
    return HttpResponse("ok\n", content_type="text/plain")

"""The owner's page of how the site stands, and the numbers for a machine that watches."""

from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from inventory.compute.spoken import N_
from workshop.watching.exposition import CONTENT_TYPE, exposition
from workshop.watching.numbers import HERE
from workshop.watching.state import state_of_workshop

SHOWN_SLOW = 20
# What is counted, as the numbers for a machine call it, in words.
CALLED = {
    "database": N_("database"),
    "system": N_("system"),
    "files": N_("files"),
    "backups": N_("backups"),
    "things": N_("things"),
    "entries": N_("entries"),
    "designs": N_("designs"),
    "sessions": N_("sessions"),
    "tokens": N_("tokens"),
    "wrong_passwords_last_hour": N_("wrong passwords within the last hour"),
    "waiting": N_("waiting"),
    "running": N_("running"),
    "failed": N_("failed"),
}


@never_cache
@require_safe
def watching(request: HttpRequest) -> HttpResponse:
    """Show versions, sizes, the queue, workers, the last backup, and what is slow."""
    state = state_of_workshop(at=timezone.now())
    shown = {
        "state": state,
        **{name: _said(getattr(state, name)) for name in ("versions", "sizes", "counts", "queue")},
        "slow": list(reversed(HERE.slow))[:SHOWN_SLOW],
        "routes": [
            (route, count, mean * 1000, queries) for route, count, mean, queries in HERE.slowest_routes()
        ],
    }
    return render(request, "workshop/watching.html", shown)


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Tell the same in the text format that Prometheus reads, to whoever has a token."""
    return HttpResponse(exposition(state_of_workshop(at=timezone.now()), HERE), content_type=CONTENT_TYPE)


def _said(counted: Mapping[str, Any]) -> list[tuple[str, Any]]:
    return [(_(CALLED.get(name, name)), value) for name, value in counted.items()]

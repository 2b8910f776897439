"""The owner's page of how the site stands, and the numbers for a machine that watches."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from workshop.watching.exposition import CONTENT_TYPE, exposition
from workshop.watching.numbers import HERE
from workshop.watching.state import state_of_workshop

SHOWN_SLOW = 20


@never_cache
@require_safe
def watching(request: HttpRequest) -> HttpResponse:
    """Show versions, sizes, the queue, workers, the last backup, and what is slow."""
    shown = {
        "state": state_of_workshop(at=timezone.now()),
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

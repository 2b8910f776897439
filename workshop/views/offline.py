"""What a device keeps for when there is no network."""

from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

SCRIPT = "text/javascript; charset=utf-8"


@require_safe
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    """Serve the script that keeps pages on a device; its address covers the whole site."""
    return HttpResponse(render_to_string("workshop/worker.js"), content_type=SCRIPT)


@require_safe
@cache_control(no_cache=True)
def earlier_worker(request: HttpRequest) -> HttpResponse:
    """Serve a script that ends itself, where devices still have the one that kept run sheets alone."""
    return HttpResponse(
        'self.addEventListener("install", () => self.skipWaiting());\n'
        'self.addEventListener("activate", (event) => event.waitUntil(self.registration.unregister()));\n',
        content_type=SCRIPT,
    )

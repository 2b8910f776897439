"""What a device keeps for when there is no network."""

import json

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils.html import escape
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

SCRIPT = "text/javascript; charset=utf-8"


@require_safe
@cache_control(no_cache=True)
def worker(request: HttpRequest) -> HttpResponse:
    """Serve the script that keeps pages on a device; its address covers the whole site."""
    # It puts them into pages as they are: what would be mark-up there is escaped here.
    says = json.dumps({name: escape(words) for name, words in _says().items()})
    return HttpResponse(render_to_string("workshop/worker.js", {"says": says}), content_type=SCRIPT)


def _says() -> dict[str, str]:
    return {
        "lang": get_language() or "en-gb",
        "now": _("just now"),
        "minutes": _("{count} min ago"),
        "hours": _("{count} h ago"),
        "days": _("{count} days ago"),
        "stood": _("No network. This is how it stood on {when}, {ago}."),
        "keeps": _("This device keeps:"),
        "keepsNothing": _(
            "This device keeps no page yet: run sheets, what to buy and the page for the shop are kept once they "
            "were looked at."
        ),
        "noNetwork": _("No network"),
        "asked": _("This page is asked of the workshop each time. Nothing was lost."),
    }


@require_safe
@cache_control(no_cache=True)
def manifest(request: HttpRequest) -> HttpResponse:
    """Serve what a device is told when the site is put on its screen like an app."""
    sizes = {"mark.svg": "any", "icon-192.png": "192x192", "icon-512.png": "512x512"}
    icons = [
        {
            "src": static(f"workshop/{name}"),
            "sizes": size,
            "type": "image/svg+xml" if name.endswith("svg") else "image/png",
        }
        for name, size in sizes.items()
    ]
    maskable = {"src": static("workshop/icon-maskable-512.png"), "sizes": "512x512", "type": "image/png"}
    says = {
        "name": "Enough Thread",
        "short_name": "Enough Thread",
        "description": _("What is on the shelf, and whether it is enough for the job"),
        "lang": get_language() or "en-gb",
        "id": reverse("today"),
        "start_url": reverse("today"),
        "scope": reverse("today"),
        "display": "standalone",
        "background_color": "#f1f2ee",
        "theme_color": "#f1f2ee",
        "icons": [*icons, {**maskable, "purpose": "maskable"}],
    }
    return JsonResponse(says, content_type="application/manifest+json")


@require_safe
@cache_control(no_cache=True)
def earlier_worker(request: HttpRequest) -> HttpResponse:
    """Serve a script that ends itself, where devices still have the one that kept run sheets alone."""
    return HttpResponse(
        'self.addEventListener("install", () => self.skipWaiting());\n'
        'self.addEventListener("activate", (event) => event.waitUntil(self.registration.unregister()));\n',
        content_type=SCRIPT,
    )

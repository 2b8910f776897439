"""Resident memory of a process that answers one page after the other, on the workshop of ``ENOUGH_THREAD_DATA``.

``python -m tests.benchmarks.large_shelf.memory_walk REQUESTS`` answers in JSON: MB after 200 requests, after every
thousand and at the end, and the most there ever were.
"""

import json
import os
import resource
import sys
from collections.abc import Callable
from importlib import import_module
from itertools import cycle
from pathlib import Path
from typing import Any

FIRST, EVERY = 200, 1_000
PAGE = os.sysconf("SC_PAGE_SIZE")


def resident_mb() -> float:
    """Return the memory in MB (10**6 bytes) that the process has now, with what it shares with others."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * PAGE / 1e6


def ask(application: Callable[..., Any], environ: dict[str, Any]) -> str:
    """Return the status of what the site answers, read to its end and closed, as a server of the web does."""
    began: list[str] = []
    answer = application(environ, lambda status, _headers: began.append(status))
    for _ in answer:
        pass
    answer.close()
    return began[0]


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    application = import_module("workshop.wsgi").application  # as a process of the site
    from django.contrib.auth.models import User
    from django.test import Client, RequestFactory
    from django.urls import reverse

    from tests.benchmarks.large_shelf.page_walk import LOOKED_AT, SLOW_BY_NATURE, Sample, asked_of

    client, sample = Client(HTTP_HOST="localhost"), Sample()
    client.force_login(User.objects.first())  # type: ignore[arg-type]
    cookies = "; ".join(f"{name}={each.value}" for name, each in client.cookies.items())
    factory = RequestFactory(HTTP_HOST="localhost", HTTP_COOKIE=cookies)
    pages = []
    for route, places in LOOKED_AT.items():
        where = places(sample)
        if where is not None and route not in SLOW_BY_NATURE:
            pages.append((route, reverse(route, kwargs=where), asked_of(route, sample)))
    told: dict[str, float] = {}
    refused: set[str] = set()
    wanted = int(sys.argv[1])
    for number, (route, address, asked) in enumerate(cycle(pages), 1):
        status = ask(application, factory.get(address, asked).environ)
        if not status.startswith(("2", "3")):
            refused.add(f"{route}: {status}")
        if number == FIRST or number % EVERY == 0:
            told[str(number)] = resident_mb()
        if number == wanted:
            break
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6
    print(json.dumps({"pages": len(pages), "mb": told, "most_mb": most, "refused": sorted(refused)}))


if __name__ == "__main__":
    main()

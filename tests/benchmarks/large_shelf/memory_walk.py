"""Resident memory of a process that answers one page after the other, on the workshop of ``ENOUGH_THREAD_DATA``.

``python -m tests.benchmarks.large_shelf.memory_walk REQUESTS`` answers in JSON: MB after 200 requests, after every
thousand and at the end, and the most there ever were.
"""

import json
import os
import resource
import sys
from importlib import import_module
from itertools import cycle
from pathlib import Path

FIRST, EVERY = 200, 1_000
PAGE = os.sysconf("SC_PAGE_SIZE")


def resident_mb() -> float:
    """Return the memory that the process has now, without what it shares with nobody else left out."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * PAGE / 1e6


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
    import_module("workshop.wsgi")  # as a process of the site
    from django.contrib.auth.models import User
    from django.test import Client
    from django.urls import reverse

    from tests.benchmarks.large_shelf.page_walk import LOOKED_AT, SLOW_BY_NATURE, Sample, asked_of

    client, sample = Client(HTTP_HOST="localhost"), Sample()
    client.force_login(User.objects.first())  # type: ignore[arg-type]
    pages = []
    for route, places in LOOKED_AT.items():
        where = places(sample)
        if where is not None and route not in SLOW_BY_NATURE:
            pages.append((reverse(route, kwargs=where), asked_of(route, sample)))
    told: dict[str, float] = {}
    wanted = int(sys.argv[1])
    for number, (address, asked) in enumerate(cycle(pages), 1):
        response = client.get(address, asked)
        if response.streaming:
            b"".join(response)
        if number == FIRST or number % EVERY == 0:
            told[str(number)] = resident_mb()
        if number == wanted:
            break
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(json.dumps({"pages": len(pages), "mb": told, "most_mb": most}))


if __name__ == "__main__":
    main()

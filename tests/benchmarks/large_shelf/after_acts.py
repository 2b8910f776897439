"""The first look at pages after an act, on the workshop of ``ENOUGH_THREAD_DATA``, a copy to write to.

``python -m tests.benchmarks.large_shelf.after_acts`` answers in JSON: for each page the seconds of processor of the
first look of all, of the first after a spool was weighed, after a rule that changes every plan, and of the next.
"""

import json
import os
import uuid
from importlib import import_module

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
import_module("workshop.wsgi")  # as a process of the site

from django.contrib.auth.models import User  # noqa: E402  the database needs Django to be set up
from django.test import Client  # noqa: E402
from django.urls import reverse  # noqa: E402
from django.utils import timezone  # noqa: E402

from inventory import ledger  # noqa: E402
from inventory.models import Entry, Spool, StockItem  # noqa: E402
from planning.models import Rules  # noqa: E402
from tests.benchmarks.large_shelf.page_walk import LOOKED_AT, Sample  # noqa: E402
from tests.benchmarks.processor import processor_s  # noqa: E402

PAGES = (
    "buying",
    "material",
    "looking_back",
    "what_if_first",
    "jobs",
    "today",
    "running_out",
    "measure_first",
)


def main() -> None:
    sample, client = Sample(), Client(HTTP_HOST="localhost")
    client.force_login(User.objects.first())  # type: ignore[arg-type]
    told = {page: _looks(client, reverse(page, kwargs=LOOKED_AT[page](sample) or {})) for page in PAGES}
    print(json.dumps(told))


def _looks(client: Client, address: str) -> dict[str, float]:
    def look() -> float:
        return processor_s(lambda: client.get(address))

    told = {"first_s": look(), "warm_s": look()}
    _weigh()
    told["weighed_s"] = look()
    rules = Rules.current()
    was, rules.colour_limit = rules.colour_limit, rules.colour_limit + 0.07
    rules.save()
    told["ruled_s"] = look()
    rules.colour_limit = was
    rules.save()
    look()
    return told


def _weigh() -> None:
    """Weigh a spool: it holds half of what was thought."""
    spool = Spool.objects.on_the_shelf().filter(label__startswith="S").order_by("-pk")[500]
    key = f"looked-{uuid.uuid4()}"
    found = ledger.Finding(500.0, StockItem.Known.WEIGHED)
    ledger.find(
        spool,
        quantity=spool.on_hand // 2,
        finding=found,
        key=key,
        at=timezone.now(),
        by=None,
        reason=Entry.Reason.WEIGH,
    )


if __name__ == "__main__":
    main()

"""The entry for WSGI servers."""

import gc
import os

from django.core.wsgi import get_wsgi_application

from inventory.processes.allocator import give_memory_back
from inventory.processes.tidying import collect_between_requests

give_memory_back()
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
application = get_wsgi_application()

from django.conf import settings  # noqa: E402

from inventory.work.site import wake  # noqa: E402  its records are ready only now
from workshop import urls as _urls  # noqa: E402, F401  every page is loaded before the first is asked for

if settings.WORK_IN == "site":
    wake()  # for what a process left that died

# What is loaded by now stays: looked through at every collection, it costs tenths of a second in the middle of a page.
gc.collect()
gc.freeze()
gc.set_threshold(10_000, 10, 10)
collect_between_requests()

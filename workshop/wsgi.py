"""The entry for WSGI servers."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "workshop.settings")
application = get_wsgi_application()

from django.conf import settings  # noqa: E402

from inventory.work.site import wake  # noqa: E402  its records are ready only now

if settings.WORK_IN == "site":
    wake()  # for what a process left that died

"""What is left of pages that were answered, collected between requests."""

import gc
from itertools import count
from typing import Any

from django.core.signals import request_finished

EVERY = 100  # requests


def collect_between_requests(every: int = EVERY) -> None:
    """Have this process look for what nothing refers to any more after every so many requests, once they are answered.

    Records refer to each other in circles, which only a collection finds. Left to itself, Python looks through all
    that it keeps only when a quarter as much has come since; of a large workshop that is 15 MB.
    """
    numbers = count(1)

    def after_a_request(**_: Any) -> None:
        if next(numbers) % every == 0:
            gc.collect()

    request_finished.connect(after_a_request, weak=False, dispatch_uid="collect between requests")

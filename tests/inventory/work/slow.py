"""Long work for tests: it makes numbered places one after the other, and can be killed between any two."""

import time

from django.db import transaction

from inventory.models import LongWork, Place
from inventory.work import Carrying, long_work


@long_work
def make_places(work: Carrying, number: int, pause_s: float, called: str = "shelf") -> str:
    """Make what is missing of so many places, and count in the name of the work how often each was made."""
    for each in range(number):
        with transaction.atomic():
            _, is_new = Place.objects.get_or_create(name=f"{called} {each}")
            if (
                is_new
            ):  # were one made twice, the constraint on names would say so; this counts across processes
                LongWork.objects.filter(pk=work.pk).update(what=f"{LongWork.objects.get(pk=work.pk).what}.")
            work.progress(each + 1, number, always=True)
        time.sleep(pause_s)
    return f"{number} places are there."


@long_work
def refuse(work: Carrying) -> str:
    """Fail as a program does."""
    raise RuntimeError("a fault")

"""The site's own hand for long work, where no worker runs: a thread of its process, there while there is work."""

import atexit
import logging
import threading

from django.db import connection

from inventory.models import WorkProcess
from inventory.work.loop import is_work_open, work_on, work_on_one

logger = logging.getLogger(__name__)

# While work is open that other processes have, the thread looks so often whether they still live.
LOOKS_EVERY_S = 10.0
LEAVE_WITHIN_S = 5.0

_wake, _ending, _changing = threading.Event(), threading.Event(), threading.Lock()
_thread: threading.Thread | None = None
_of_one: set[threading.Thread] = set()  # each carries out one piece of work alone


def wake() -> None:
    """Have this process look for work now: when some was asked for, and when the process begins."""
    global _thread
    with _changing:
        _wake.set()
        if _thread is None and not _ending.is_set():
            _thread = threading.Thread(target=_work, name="long work", daemon=True)
            _thread.start()


def take(work_id: int) -> None:
    """Have this process carry out one piece of work now, beside whatever else is done here or elsewhere."""
    with _changing:
        if not _ending.is_set():
            thread = threading.Thread(target=_work_on_one, args=(work_id,), name="one long work", daemon=True)
            _of_one.add(thread)
            thread.start()


def _work_on_one(work_id: int) -> None:
    try:
        work_on_one(work_id, kind=WorkProcess.Kind.SITE, ending=_ending)
    except Exception:
        logger.warning("Long work %s could not be carried out here.", work_id, exc_info=True)
    finally:
        with _changing:
            _of_one.discard(threading.current_thread())
        connection.close()


def _work() -> None:
    global _thread
    while True:
        try:
            _wake.clear()
            if is_work_open():
                work_on(
                    kind=WorkProcess.Kind.SITE,
                    ending=_ending,
                    wake=_wake,
                    interval_s=LOOKS_EVERY_S,
                    through=lambda: not is_work_open(),
                )
        except (
            Exception
        ):  # of a database that is not there yet, or of another version: the site says so itself
            logger.warning("Long work could not be looked for.", exc_info=True)
        with _changing:  # whoever wakes from here on starts a thread anew
            if _ending.is_set() or not _wake.is_set():
                _thread = None
                break
    connection.close()


@atexit.register
def _leave() -> None:
    """Lay work down before the process ends, so that the next one need not wait until this one is thought dead."""
    with _changing:
        _ending.set()
        threads = [*_of_one, *([_thread] if _thread is not None else [])]
    _wake.set()
    for thread in threads:
        thread.join(LEAVE_WITHIN_S)

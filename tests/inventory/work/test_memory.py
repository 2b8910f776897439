"""A process of the site gives memory back, and takes up no library of which it needs one sum."""

import subprocess
import sys

import pytest

from inventory.processes import allocator
from tests.own_database import HOUSE

# Freeing one large block has the C library keep what is freed later, unless it is told otherwise.
FREED = """
import ctypes, os, sys
from inventory.processes.allocator import give_memory_back
if "told" in sys.argv:
    assert give_memory_back()
c = ctypes.CDLL(None)
c.malloc.restype, c.free.argtypes = ctypes.c_void_p, [ctypes.c_void_p]
def resident_mb():
    return int(open("/proc/self/statm").read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
def blocks(number, size):
    found = [c.malloc(size) for _ in range(number)]
    for each in found:
        ctypes.memset(each, 1, size)
    for each in found:
        c.free(each)
before = resident_mb()
blocks(1, 30_000_000)
blocks(40, 500_000)
print(round(resident_mb() - before))
"""


def kept_mb(*words: str) -> int:
    done = subprocess.run(
        [sys.executable, "-c", FREED, *words], cwd=HOUSE, capture_output=True, text=True, check=True, env={}
    )
    return int(done.stdout)


def told_by(program: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=HOUSE, capture_output=True, text=True, check=True
    )
    return done.stdout.split()


def test_what_is_freed_goes_back_to_the_machine() -> None:
    assert kept_mb() > 10
    assert kept_mb("told") < 3


def test_a_setting_of_the_environment_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MALLOC_ARENA_MAX", "4")
    assert not allocator.give_memory_back()


def test_how_often_a_band_held_needs_no_library_of_distributions() -> None:
    program = (
        "import sys; from planning.compute.certainty.learned import InsideBand\n"
        "print(InsideBand(20, 15).is_too_few, 'scipy.stats' in sys.modules)"
    )
    assert told_by(program) == ["True", "False"]


def test_of_numpy_only_what_is_asked_for_is_loaded() -> None:
    program = (
        "import sys; from inventory.compute.later import later\n"
        "print(round(later('scipy.special', 'ndtr')(0.0), 3))\n"
        "print(*(each in sys.modules for each in ('numpy.f2py', 'numpy.testing', 'numpy.ma')))\n"
        # What somebody asks for by name is still there.
        "import numpy as np; print(len(dir(np)) > len(vars(np)), np.ma.masked is not None)\n"
    )
    assert told_by(program) == ["0.5", "False", "False", "False", "True", "True"]


def test_numpy_tells_all_of_itself_again_where_two_threads_asked_at_once() -> None:
    program = (
        "import threading, numpy as np; from inventory.compute import later\n"
        "every = sorted(dir(np)); first, second = threading.Event(), threading.Event()\n"
        "def one():\n"
        "    with later._numpy_as_it_is(): first.set(); second.wait(0.3)\n"
        "def other():\n"
        "    first.wait()\n"
        "    with later._numpy_as_it_is(): second.set(); threading.Event().wait(0.2)\n"
        "threads = [threading.Thread(target=each) for each in (one, other)]\n"
        "for each in threads: each.start()\n"
        "for each in threads: each.join()\n"
        "print(sorted(dir(np)) == every)"
    )
    assert told_by(program) == ["True"]


def test_the_least_of_a_program_is_found_without_a_library_of_everything() -> None:
    program = (
        "import sys; from planning.compute.search.linear import Rows, least_whole\n"
        "rows = Rows(); rows.add([0, 1], low=1.5)\n"
        "print(round(least_whole([1.0, 1.0], rows, upper=3, nodes=9).bound), 'scipy' in sys.modules)"
    )
    assert told_by(program) == ["2", "False"]


def test_circles_are_collected_once_requests_are_answered() -> None:
    program = (
        "import gc, weakref; from django.core.signals import request_finished\n"
        "from inventory.processes.tidying import collect_between_requests\n"
        "gc.disable(); collect_between_requests(every=3)\n"
        "class Circle: pass\n"
        "one = Circle(); one.itself = one; seen = weakref.ref(one); del one\n"
        "for _ in range(3): print(seen() is not None); request_finished.send(sender=None)\n"
        "print(seen() is not None)"
    )
    assert told_by(program) == ["True", "True", "True", "False"]

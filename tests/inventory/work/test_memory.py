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
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=HOUSE, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["True", "False"]

"""How the C library keeps memory that was freed: of a process that lives for weeks, the machine gets it back."""

import ctypes
import os

# Of glibc's malloc.h.
M_TRIM_THRESHOLD, M_MMAP_THRESHOLD, M_ARENA_MAX = -1, -3, -8
TRIM_ABOVE, MAP_FROM, ARENAS = 256 * 1024, 1024 * 1024, 2


def give_memory_back() -> bool:
    """Have this process give back what it frees, instead of keeping as much as it ever needed at once.

    Left to itself, glibc keeps ever larger blocks once one was freed, up to 64 MB at the end of its heap, and a heap
    for each of eight threads a core, though Python lets only one of them allocate at a time. Returns whether it could:
    other C libraries have no such setting, and one that stands in the environment (``MALLOC_…_``) is left alone.
    """
    if any(name.startswith("MALLOC_") for name in os.environ):
        return False
    try:
        setting = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):
        return False
    settings = ((M_TRIM_THRESHOLD, TRIM_ABOVE), (M_MMAP_THRESHOLD, MAP_FROM), (M_ARENA_MAX, ARENAS))
    taken = [setting(name, value) for name, value in settings]
    return all(each == 1 for each in taken)

"""How much memory something takes: what no busy machine changes, unlike the time it takes."""

import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def most_memory(most_bytes: int) -> Iterator[None]:
    """Fail what is done meanwhile if it has Python hold more than so many bytes at once."""
    tracemalloc.start()
    try:
        yield
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak <= most_bytes, f"{peak:,} bytes were held at once"

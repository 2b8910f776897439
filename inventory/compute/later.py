"""Names of heavy libraries, imported when they are first used: most commands and pages never use them."""

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from importlib import import_module
from threading import RLock
from typing import Any

# Pages are answered side by side, and two that told numpy and untold it at once would leave it told.
_telling = RLock()


class Later:
    """A name of a module that is imported when it is first called, or something of it is asked for.

    >>> sqrt = Later("math", "sqrt")
    >>> sqrt(9.0)
    3.0
    """

    __slots__ = ("_found", "_module", "_name")

    def __init__(self, module: str, name: str) -> None:
        self._module, self._name, self._found = module, name, None

    def _there(self) -> Any:
        if self._found is None:
            with _numpy_as_it_is() if self._module.startswith("scipy") else nullcontext():
                self._found = getattr(import_module(self._module), self._name)
        return self._found

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        return self._there()(*args, **kwargs)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._there(), name)


def later(module: str, *names: str) -> Any:
    """Return the named things of a module, to be imported when they are first used; one alone by itself."""
    found = [Later(module, name) for name in names]
    return found[0] if len(found) == 1 else tuple(found)


@contextmanager
def _numpy_as_it_is() -> Iterator[None]:
    """Tell what asks for all of numpy only what is loaded of it.

    scipy copies every name of numpy for other kinds of arrays, and so loads numpy's tools for tests, Fortran, masks
    and chance: 9 MB that nothing here uses. What asks for one of them by name still gets it.
    """
    import numpy as np

    with _telling:
        loaded = [name for name in dir(np) if name in vars(np)]
        told = {"__all__": [name for name in np.__all__ if name in vars(np)], "__dir__": lambda: loaded}
        before = {name: getattr(np, name) for name in told}
        try:
            for name, value in told.items():
                setattr(np, name, value)
            yield
        finally:
            for name, value in before.items():
                setattr(np, name, value)

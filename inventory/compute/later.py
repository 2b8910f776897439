"""Names of heavy libraries, imported when they are first used: most commands and pages never use them."""

from importlib import import_module
from typing import Any


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

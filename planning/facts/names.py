"""The record that a person names."""

from typing import TypeVar

from inventory.compute.errors import WorkshopError
from planning.models import Fabric, Hoop, Machine

Named = TypeVar("Named", Fabric, Hoop, Machine)


class NoSuchName(WorkshopError):
    """There is no machine, fabric or hoop of that name, or several that differ only in case."""


def by_name(model: type[Named], name: str) -> Named:
    """Return the record of that name: the exact one, or else the only one in another case of letters.

    Raises NoSuchName with the names there are.
    """
    wanted = name.strip()
    alike = [each for each in model.objects.all() if each.name.casefold() == wanted.casefold()]
    found = [each for each in alike if each.name == wanted] or alike
    if len(found) == 1:
        return found[0]
    called = f"{model._meta.verbose_name} called {name}"
    if found:
        names = ", ".join(each.name for each in found)
        raise NoSuchName(f"There is no {called}, but {names}. Write it with its own capitals.")
    names = ", ".join(model.objects.values_list("name", flat=True)) or "none yet"
    raise NoSuchName(f"There is no {called}. Known: {names}.")

"""The record that a person names."""

from typing import TypeVar

from django.utils.translation import gettext as _

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import N_
from planning.models import Fabric, Hoop, Machine

Named = TypeVar("Named", Fabric, Hoop, Machine)
CALLED = {
    "machine": N_("There is no machine called {name}"),
    "fabric": N_("There is no fabric called {name}"),
    "hoop": N_("There is no hoop called {name}"),
}


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
    called = _(CALLED[model._meta.model_name or ""]).format(name=name)
    if found:
        names = ", ".join(each.name for each in found)
        raise NoSuchName(
            _("{none_such}, but {names}. Write it with its own capitals.").format(
                none_such=called, names=names
            )
        )
    names = ", ".join(model.objects.values_list("name", flat=True)) or _("none yet")
    raise NoSuchName(_("{none_such}. Known: {names}.").format(none_such=called, names=names))

"""The kinds of file that can be imported and exported."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol

from inventory.compute.errors import WorkshopError
from inventory.files.importing.forms import (
    BobbinForm,
    RowForm,
    ShadeForm,
    SpoolForm,
    StabilizerForm,
    SupplierForm,
    columns_of,
)
from inventory.files.importing.items import plan_bobbins, plan_spools, plan_stabilizer
from inventory.files.importing.plan import Plan
from inventory.files.importing.rows import Row
from inventory.files.importing.shades import plan_shades
from inventory.files.importing.suppliers import plan_suppliers


class NoSuchKind(WorkshopError):
    """There are no files of the kind that was asked for."""


class Planner(Protocol):
    def __call__(self, rows: Sequence[Row], *, sha256: str) -> Plan: ...


@dataclass(frozen=True)
class Kind:
    """A kind of file: its name, what it holds in words, its form, and how its rows are planned.

    Of each tuple of ``essential`` a file must have at least one column.
    """

    name: str
    holds: str
    form: type[RowForm]
    essential: tuple[tuple[str, ...], ...]
    plan: Planner

    @property
    def columns(self) -> list[str]:
        return list(columns_of(self.form))

    @property
    def meanings(self) -> dict[str, str]:
        """What each column means, by its name."""
        return {name: str(field.help_text) for name, field in columns_of(self.form).items()}


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            Kind("spools", "spools of thread", SpoolForm, (("label", "code"),), plan_spools),
            Kind(
                "shades",
                "shades, with their ranges and put-ups",
                ShadeForm,
                (("maker",), ("range",)),
                plan_shades,
            ),
            Kind("bobbins", "bobbins, full and part-used", BobbinForm, (("label", "style"),), plan_bobbins),
            Kind(
                "stabilizer",
                "stabilizer: rolls, sheets and offcuts",
                StabilizerForm,
                (("label", "product"),),
                plan_stabilizer,
            ),
            Kind("suppliers", "suppliers with their offers", SupplierForm, (("supplier",),), plan_suppliers),
        )
    }
)


def kind_named(name: str) -> Kind:
    """Return the kind of that name, or raise NoSuchKind."""
    if name not in KINDS:
        raise NoSuchKind(f"There are no files of {name}. There are: {', '.join(KINDS)}.")
    return KINDS[name]

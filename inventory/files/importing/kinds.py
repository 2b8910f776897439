"""The kinds of file that can be imported and exported."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Protocol

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy

from inventory.compute.errors import WorkshopError
from inventory.compute.spoken import _
from inventory.files.importing.forms import (
    BobbinRowForm,
    RowForm,
    ShadeRowForm,
    SpoolRowForm,
    StabilizerRowForm,
    SupplierRowForm,
    columns_of,
)
from inventory.files.importing.items import plan_bobbins, plan_spools, plan_stabilizer
from inventory.files.importing.plan import ImportPlan
from inventory.files.importing.rows import Row
from inventory.files.importing.shades import plan_shades
from inventory.files.importing.suppliers import plan_suppliers


class NoSuchKind(WorkshopError):
    """There are no files of the kind that was asked for."""


class Planner(Protocol):
    def __call__(self, rows: Sequence[Row], *, sha256: str) -> ImportPlan: ...


@dataclass(frozen=True)
class FileKind:
    """A kind of file: its name, what it holds in words, its form, and how its rows are planned.

    Of each tuple of ``essential`` a file must have at least one column.
    """

    name: str
    holds: str | Promise
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


KINDS: Mapping[str, FileKind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            FileKind(
                "spools", gettext_lazy("spools of thread"), SpoolRowForm, (("label", "code"),), plan_spools
            ),
            FileKind(
                "shades",
                gettext_lazy("shades, with their ranges and put-ups"),
                ShadeRowForm,
                (("maker",), ("range",)),
                plan_shades,
            ),
            FileKind(
                "bobbins",
                gettext_lazy("bobbins, full and part-used"),
                BobbinRowForm,
                (("label", "style"),),
                plan_bobbins,
            ),
            FileKind(
                "stabilizer",
                gettext_lazy("stabilizer, film, adhesive, foam and fabric: rolls, sheets, offcuts and cans"),
                StabilizerRowForm,
                (("label", "product"),),
                plan_stabilizer,
            ),
            FileKind(
                "suppliers",
                gettext_lazy("suppliers with their offers"),
                SupplierRowForm,
                (("supplier",),),
                plan_suppliers,
            ),
        )
    }
)


def kind_named(name: str) -> FileKind:
    """Return the kind of that name, or raise NoSuchKind."""
    if name not in KINDS:
        raise NoSuchKind(
            _("There are no files of {name}. There are: {names}.").format(name=name, names=", ".join(KINDS))
        )
    return KINDS[name]

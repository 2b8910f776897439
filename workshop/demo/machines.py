"""The demo's machines, hoops, fabrics and rules; what is there already stays as it is."""

from decimal import Decimal
from typing import Any

from planning.models import Fabric, Hoop, Layer, Machine, Rules
from workshop.demo.catalogue import Catalogue
from workshop.demo.files import DemoFiles


def set_up_machines(files: DemoFiles, catalogue: Catalogue) -> None:
    """Make the demo's machines, hoops and fabrics, and its rules in a workshop that has none yet."""
    workshop = files.workshop
    Hoop.objects.bulk_create([Hoop(**row) for row in workshop["hoops"]], ignore_conflicts=True)
    for row in workshop["machines"]:
        _machine(row, catalogue)
    for row in workshop["fabrics"]:
        _fabric(row)
    rules = workshop["rules"]
    Rules.objects.get_or_create(
        pk=1,
        defaults=rules | {rate: Decimal(rules[rate]) for rate in ("hands_on_rate", "machine_rate")},
    )


def _machine(row: dict[str, Any], catalogue: Catalogue) -> None:
    plain = {key: value for key, value in row.items() if key not in ("name", "hoops", "bobbin_style")}
    machine, is_new = Machine.objects.get_or_create(
        name=row["name"], defaults=plain | {"bobbin_style": catalogue.styles[row["bobbin_style"]]}
    )
    if is_new:
        machine.hoops.set(Hoop.objects.filter(name__in=row["hoops"]))


def _fabric(row: dict[str, Any]) -> None:
    plain = {key: value for key, value in row.items() if key not in ("name", "layers")}
    fabric, is_new = Fabric.objects.get_or_create(name=row["name"], defaults=plain)
    if not is_new:
        return
    Layer.objects.bulk_create(
        Layer(
            fabric=fabric,
            order=order,
            kind=layer["kind"],
            weight_from_g_m2=layer["from_g_m2"],
            weight_to_g_m2=layer["to_g_m2"],
            method=layer.get("method", Layer.Method.HOOPED),
            count=layer["count"],
            grain_matters=layer.get("grain_matters", False),
        )
        for order, layer in enumerate(row["layers"], start=1)
    )

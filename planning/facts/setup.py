"""The workshop's own machines, hoops, fabrics and rules: added and changed, each with a row that tells by whom."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models

from inventory.acting import standing_at, whole_act
from inventory.compute.errors import WorkshopError
from inventory.ledger.changes import change
from inventory.models import Change
from planning.models import Fabric, Hoop, Layer, Machine, Rules


class CannotSetUp(WorkshopError):
    """The record lacks something, or one of that name is there already."""


@whole_act
def add_setting(record: models.Model, *, at: datetime, by: Any) -> models.Model:
    """Return ``record`` (a machine, hoop or fabric), now part of the workshop. Raises CannotSetUp."""
    try:
        record.full_clean()
    except ValidationError as problem:
        raise CannotSetUp(" ".join(problem.messages)) from None
    record.save()
    table = record._meta.model_name or ""
    Change.objects.create(
        table=table, record=record.pk, what=f"added {record}"[:200], at=at, by=by, station=standing_at(by)
    )
    return record


@whole_act
def edit_setting(record: models.Model, *, changes: Mapping[str, Any], at: datetime, by: Any) -> Change | None:
    """Return what was noted of an edit, before and after; None where nothing differs."""
    return change(record, changes=changes, at=at, by=by)


@whole_act
def set_rules(changes: Mapping[str, Any], *, at: datetime, by: Any) -> Rules:
    """Return the workshop's rules with these values; the first time, the stated defaults stand in for the rest."""
    rules = Rules.objects.get_or_create(pk=1)[0]
    edit_setting(rules, changes=changes, at=at, by=by)
    return rules


@whole_act
def set_hoops(machine: Machine, hoops: Iterable[Hoop]) -> None:
    """Let ``machine`` take exactly these hoops."""
    machine.hoops.set(hoops)


@whole_act
def set_recipe(fabric: Fabric, layers: Sequence[Layer], *, at: datetime, by: Any) -> None:
    """Give ``fabric`` exactly these layers, in their order."""
    before = "; ".join(map(str, fabric.layers.all()))
    fabric.layers.all().delete()
    for order, layer in enumerate(layers, 1):
        layer.pk, layer.fabric, layer.order = None, fabric, order
        layer.save(force_insert=True)
    after = "; ".join(map(str, layers))
    if before != after:
        said = {"layers": {"before": before, "after": after}}
        Change.objects.create(
            table="fabric",
            record=fabric.pk,
            what=str(fabric),
            fields=said,
            at=at,
            by=by,
            station=standing_at(by),
        )

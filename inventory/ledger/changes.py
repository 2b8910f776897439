"""Edits that move no stock, each with a row that tells what was there before."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import override

from inventory.acting import held as held_rows
from inventory.acting import standing_at, whole_act
from inventory.compute.errors import WorkshopError
from inventory.ledger.posting import key_used
from inventory.models import Change, StockItem


class CannotChange(WorkshopError):
    """The record has no such field, or the value does not suit it."""


@whole_act
def change(
    record: models.Model, *, changes: Mapping[str, Any], at: datetime, by: Any, key: str = "", what: str = ""
) -> Change | None:
    """Return the row that tells what ``changes`` altered on ``record``; None where it all was so already.

    ``key`` makes a late repetition harmless; ``what`` defaults to the record's name.
    """
    held = _held(record)
    fields = {name: _field(held, name) for name in changes}
    before = {name: _shown(getattr(held, name)) for name in fields}
    # Two records may have one name: put-ups of two ranges are both called "1000 m spool".
    ids = {name: getattr(held, field.attname) for name, field in fields.items() if field.is_relation}
    for name, value in changes.items():
        setattr(held, name, value)
    _validate(held, fields)
    after = {name: _shown(getattr(held, name)) for name in fields}
    earlier = changed_before(key)
    if earlier is not None:
        if not _is_same(earlier, held, after):
            raise key_used(key)
        return earlier
    altered = [
        name
        for name, field in fields.items()
        if before[name] != after[name] or (name in ids and ids[name] != getattr(held, field.attname))
    ]
    if not altered:
        return None
    # Only these columns: on_hand and its like belong to the ledger.
    held.save(update_fields=altered)
    for name in altered:
        setattr(record, name, getattr(held, name))
    return Change.objects.create(
        table=_table(held),
        record=held.pk,
        what=(what or in_the_books(held))[:200],
        fields={name: {"before": before[name], "after": after[name]} for name in altered},
        at=at,
        by=by,
        station=standing_at(by),
        key=key,
    )


def in_the_books(record: Any) -> str:
    """Return what a record is called in a row that stays: in the program's own language, whoever asks."""
    with override("en"):
        return str(record)


def changed_before(key: str) -> Change | None:
    """Return the edit that was made under ``key``, or None."""
    return Change.objects.filter(key=key).first() if key else None


def history_of(record: models.Model) -> models.QuerySet[Change]:
    """Return what was edited on ``record``, newest first."""
    return Change.objects.filter(table=_table(record), record=record.pk)


def _held(record: models.Model) -> models.Model:
    if not isinstance(record, StockItem):
        return held_rows(type(record)._default_manager.all()).get(pk=record.pk)
    held_rows(StockItem.objects.all()).get(pk=record.pk)
    return type(record)._default_manager.get(pk=record.pk)


def _is_same(earlier: Change, record: models.Model, after: Mapping[str, Any]) -> bool:
    if (earlier.table, earlier.record) != (_table(record), record.pk):
        return False
    # A field that the earlier edit did not name had the value then that was asked for.
    return all(field["after"] == after[name] for name, field in earlier.fields.items() if name in after)


def _table(record: models.Model) -> str:
    """Return the name that a record's edits are filed under: one for all kinds of stock."""
    name = "stockitem" if isinstance(record, StockItem) else record._meta.model_name
    assert name is not None  # every concrete model has one
    return name


def _field(record: models.Model, name: str) -> models.Field:
    for field in record._meta.concrete_fields:
        if field.name == name and not field.primary_key:
            return field
    raise CannotChange(
        _('A {record} has no "{name}" that can be changed.').format(
            record=record._meta.verbose_name, name=name
        )
    )


def _validate(record: models.Model, fields: Mapping[str, models.Field]) -> None:
    for model, constraints in record.get_constraints():
        for rule in constraints:
            if isinstance(rule, models.CheckConstraint) and not _keeps(record, rule, model):
                raise CannotChange(
                    _("{record} cannot be changed like this: {rule}, as a rule.").format(
                        record=record, rule=rule.name.replace("_", " ")
                    )
                )
    untouched = {field.name for field in record._meta.fields} - set(fields)
    try:
        record.clean_fields(exclude=untouched)
        record.clean()
        record.validate_unique()
        record.validate_constraints()
    except ValidationError as problem:
        raise CannotChange(_in_words(record, problem)) from None


def _keeps(record: models.Model, rule: models.CheckConstraint, model: type[models.Model]) -> bool:
    try:
        rule.validate(model, record)
    except ValidationError:
        return False
    return True


def _in_words(record: models.Model, problem: ValidationError) -> str:
    said = []
    for name, messages in problem.message_dict.items():
        about = "" if name == NON_FIELD_ERRORS else f"{_verbose(record, name)}: "
        said += [f"{about}{message}" for message in messages]
    return _("{record} cannot be changed like this. {problems}").format(
        record=record, problems=" ".join(said)
    )


def _verbose(record: models.Model, name: str) -> str:
    return str(getattr(record._meta.get_field(name), "verbose_name", name))


def _shown(value: Any) -> str | int | float | bool | None:
    """Return a value as JSON holds it: the name of a record, the text of a date or a price."""
    if isinstance(value, models.Model | Decimal):
        return in_the_books(value)
    if isinstance(value, date | datetime):
        return value.isoformat()
    return value

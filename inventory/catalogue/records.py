"""The catalogue grows: new records, each with a row that tells who added it, and the earlier codes of shades."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _

from inventory.acting import standing_at, whole_act
from inventory.compute.errors import WorkshopError
from inventory.ledger.changes import in_the_books
from inventory.models import Change, EarlierCode, Shade
from inventory.shelf.things import CATALOGUE


class CannotAdd(WorkshopError):
    """The record is there already, or lacks something."""


@whole_act
def add_record(record: models.Model, *, at: datetime, by: Any, key: str) -> models.Model:
    """Return ``record``, now part of the catalogue; the same key sent again adds nothing. Raises CannotAdd."""
    if not isinstance(record, CATALOGUE):
        raise CannotAdd(
            _("{record} is not part of the catalogue, so it is not added like this.").format(record=record)
        )
    table = record._meta.model_name or ""
    earlier = Change.objects.filter(key=key, table=table).first()
    if earlier is not None:
        return type(record)._default_manager.get(pk=earlier.record)
    try:
        record.full_clean()
    except ValidationError as problem:
        raise CannotAdd(" ".join(problem.messages)) from None
    record.save()
    Change.objects.create(
        table=table,
        record=record.pk,
        what=f"added {in_the_books(record)}"[:200],
        at=at,
        by=by,
        station=standing_at(by),
        key=key,
    )
    return record


@whole_act
def set_earlier_codes(shade: Shade, codes: Iterable[str], *, at: datetime, by: Any) -> Change | None:
    """Return what was noted of the earlier codes of ``shade``; None where they were these already."""
    before = list(shade.earlier_codes.values_list("code", flat=True))
    wanted = list(dict.fromkeys(code.strip() for code in codes if code.strip()))
    if sorted(before) == sorted(wanted):
        return None
    longest = EarlierCode._meta.get_field("code").max_length or 0
    too_long = [code for code in wanted if len(code) > longest]
    if too_long:
        raise CannotAdd(
            _("{code} is too long for a code; {longest} characters are the most.").format(
                code=too_long[0], longest=longest
            )
        )
    shade.earlier_codes.exclude(code__in=wanted).delete()
    EarlierCode.objects.bulk_create(
        [EarlierCode(shade=shade, code=code) for code in wanted if code not in before]
    )
    said = {"earlier codes": {"before": "; ".join(before), "after": "; ".join(wanted)}}
    return Change.objects.create(
        table="shade",
        record=shade.pk,
        what=str(shade)[:200],
        fields=said,
        at=at,
        by=by,
        station=standing_at(by),
    )

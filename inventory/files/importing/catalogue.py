"""Catalogue records as a file wants them: found by name, compared, and made or edited together."""

import math
import unicodedata
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Generic, TypeVar

from django.db.models import Model

from inventory.compute.spoken import _, as_written_here
from inventory.files.importing.rows import Row
from inventory.ledger.changes import change

Thing = TypeVar("Thing")
# Files carry a number to six decimals; less than that is no difference.
_SAME = 1e-5


def folded(*names: str) -> tuple[str, ...]:
    """Return names as they are compared: letters composed, case and runs of spaces forgiven.

    >>> folded("  Harbour   RED ")
    ('harbour red',)
    """
    return tuple(" ".join(unicodedata.normalize("NFC", name).casefold().split()) for name in names)


class Index(Generic[Thing]):
    """Things by their names: exactly as written first, else in any case where only one is meant."""

    def __init__(self, pairs: Iterable[tuple[tuple[str, ...], Thing]] = ()) -> None:
        self._exact: dict[tuple[str, ...], Thing] = {}
        self._folded: defaultdict[tuple[str, ...], list[Thing]] = defaultdict(list)
        for names, thing in pairs:
            self.add(names, thing)

    def add(self, names: tuple[str, ...], thing: Thing) -> None:
        self._exact[names] = thing
        self._folded[folded(*names)].append(thing)

    def get(self, *names: str) -> Thing | None:
        exact = self._exact.get(names)
        if exact is not None:
            return exact
        alike = self._folded.get(folded(*names), [])
        return alike[0] if len(alike) == 1 else None


@dataclass(eq=False)
class Draft:
    """A catalogue record as the file has it; ``record`` is None until it is in the catalogue.

    ``identity`` are the fields that know it again, some of them drafts themselves; ``stated`` is what the rows
    say of its other fields. A new one ``needs`` some of them: the column that each comes from, by field.
    """

    model: type[Model]
    name: str
    identity: dict[str, Any]
    record: Any = None
    needs: dict[str, str] = field(default_factory=dict)
    stated: dict[str, Any] = field(default_factory=dict)
    stated_in: dict[str, int] = field(default_factory=dict)
    rows: list[Row] = field(default_factory=list)

    @property
    def is_wanted(self) -> bool:
        return any(not row.is_bad for row in self.rows)

    @property
    def missing(self) -> dict[str, str]:
        """What a new record still needs, the column by field."""
        if self.record is not None:
            return {}
        return {name: column for name, column in self.needs.items() if name not in self.stated}

    def differences(self) -> dict[str, tuple[Any, Any]]:
        """Return the fields of the record that the file has otherwise: what it is, and what the file says."""
        if self.record is None:
            return {}
        return differing(self.record, self.stated)


Statement = tuple[Draft, str, str, Any]
"""A draft, the column that tells of it, the field told of, and the value."""


def state(row: Row, statements: Sequence[Statement]) -> None:
    """Write what ``row`` says into the drafts, or refuse the row where an earlier row says otherwise."""
    told = [each for each in statements if each[3] not in (None, "", ())]
    for draft, column, name, value in told:
        if name in draft.stated and not same(draft.stated[name], value):
            row.refuse(
                column,
                _("Row {row} says {value} of {name}. Make both rows say the same.").format(
                    row=draft.stated_in[name], value=in_words(draft.stated[name]), name=draft.name
                ),
            )
    if row.is_bad:
        return
    for draft, __, name, value in told:
        draft.stated.setdefault(name, value)
        draft.stated_in.setdefault(name, row.number)
    for draft in {id(each[0]): each[0] for each in statements}.values():
        draft.rows.append(row)


def refuse_incomplete(drafts: Iterable[Draft]) -> None:
    """Refuse every row that tells of a new record of which something needed is nowhere said."""
    for draft in drafts:
        for column in draft.missing.values():
            for row in draft.rows:
                row.refuse(
                    column,
                    _("{name} is new, and no row says its {column}.").format(name=draft.name, column=column),
                )


def tell_drafts(drafts: Iterable[Draft]) -> None:
    """Write into the rows which records they make, and what they edit."""
    for draft in drafts:
        good = {row.number: row for row in draft.rows if not row.is_bad}
        if not good:
            continue
        first = next(iter(good.values()))
        if draft.record is None:
            first.news.append(draft.name)
        for name, (before, after) in draft.differences().items():
            row = good.get(draft.stated_in[name], first)
            row.changes.append(f"{draft.name}, {name}: {in_words(before)} → {in_words(after)}")


def differing(record: Model, stated: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    """Return the fields of ``record`` that are otherwise than ``stated``: before and after."""
    before = {name: getattr(record, name) for name in stated}
    return {name: (before[name], value) for name, value in stated.items() if not same(before[name], value)}


def same(one: Any, other: Any) -> bool:
    """Return whether two values mean the same: a draft and its record, text but for spaces at its ends."""
    one, other = _bare(one), _bare(other)
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, abs_tol=_SAME)
    return bool(one == other)


def _bare(value: Any) -> Any:
    if isinstance(value, Draft):
        return value.record if value.record is not None else value
    return value.strip() if isinstance(value, str) else value


def in_words(value: Any) -> str:
    """Return a value as the preview and the record of changes show it."""
    if value is None or value == "":
        return _("nothing")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, float):
        return as_written_here(f"{value:.6f}".rstrip("0").rstrip("."))
    if isinstance(value, tuple | list):
        return ", ".join(value)
    return value.name if isinstance(value, Draft) else str(value)


def save_drafts(drafts: Iterable[Draft], *, at: datetime, by: Any) -> None:
    """Make the wanted new records, model by model in the order given, and edit the others, with their changes."""
    by_model: defaultdict[type[Model], list[Draft]] = defaultdict(list)
    for draft in drafts:
        if draft.is_wanted:
            by_model[draft.model].append(draft)
    for model, wanted in by_model.items():
        new = [draft for draft in wanted if draft.record is None]
        for draft in new:
            draft.record = model(**record_values(draft.identity | draft.stated))
        model._default_manager.bulk_create([draft.record for draft in new], batch_size=500)
        made = {id(draft) for draft in new}
        for draft in wanted:
            differences = {} if id(draft) in made else draft.differences()
            if differences:
                change(
                    draft.record,
                    changes={name: after for name, (_, after) in differences.items()},
                    at=at,
                    by=by,
                )


def record_values(values: dict[str, Any]) -> dict[str, Any]:
    """Return field values with the drafts among them replaced by their records."""
    return {name: value.record if isinstance(value, Draft) else value for name, value in values.items()}

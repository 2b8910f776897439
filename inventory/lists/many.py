"""One thing done with many: moved, relabelled, weighed or taken off the shelf in one act, and taken back as one."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.acting import held, whole_act
from inventory.compute.errors import WorkshopError
from inventory.ledger import entries_of, reverse
from inventory.ledger.changes import change
from inventory.models import ActOnMany, Entry, PartBobbin, PartOfAct, Place, StockItem
from inventory.shelf.counts import Found, note_found
from inventory.shelf.labelled import next_labels
from inventory.shelf.receipts import LabelTaken
from inventory.shelf.things import NotOnTheShelf, move, retire

Kind = ActOnMany.Kind
# As it stands in the row of the act, in the program's own language.
_DONE = {
    Kind.MOVE: "moved",
    Kind.RELABEL: "given other labels",
    Kind.FOUND: "weighed or counted",
    Kind.RETIRE: "taken off the shelf",
}


class NothingDone(WorkshopError):
    """None of the things could be done with, each for a reason of its own."""


class TakenBackAlready(WorkshopError):
    """The act does not stand any more."""


@dataclass(frozen=True)
class DoneWithMany:
    """The act, None where nothing had to be done, and what it could not do or take back, each with its reason."""

    act: ActOnMany | None
    problems: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        return self.act.parts.count() if self.act else 0


@whole_act
def move_many(
    items: Sequence[StockItem], *, place: Place | None, key: str, at: datetime, by: Any
) -> DoneWithMany:
    """Return the act that takes all ``items`` to ``place``; one that is there already is no part of it."""

    def one(item: StockItem, own: str) -> PartOfAct | None:
        before = item.place
        if move(item, place=place, at=at, by=by, key=own) is None:
            return None
        return PartOfAct(item=item, before=str(before or ""), after=str(place or ""), place_before=before)

    return _each(items, one, kind=Kind.MOVE, what=f"to {place or 'no place'}", key=key, at=at, by=by)


@whole_act
def relabel_many(
    items: Sequence[StockItem], *, labels: Mapping[int, str] | None = None, key: str, at: datetime, by: Any
) -> DoneWithMany:
    """Return the act that gives all ``items`` other labels: those in ``labels`` by their number, else the next free.

    A part bobbin that a job holds keeps its label: the run names it by that.
    """

    def one(item: StockItem, own: str) -> PartOfAct | None:
        if item.retired_at is not None:
            raise NotOnTheShelf(_("{item} has left the shelf. Put it back there first.").format(item=item))
        if item.reserved and PartBobbin.objects.filter(pk=item.pk).exists():
            raise WorkshopError(
                _("{item} is set aside for a run that names it by its label. Relabel it afterwards.").format(
                    item=item
                )
            )
        label = (labels[item.pk].strip() if labels else "") or next_labels(item.kind, 1)[0]
        before = item.label
        if StockItem.objects.filter(label__iexact=label).exclude(pk=item.pk).exists():
            raise LabelTaken(
                _("{label} is on another thing already. Choose a different code for {before}.").format(
                    label=label, before=before
                )
            )
        if change(item, changes={"label": label}, at=at, by=by, key=own, what=f"{before}: label") is None:
            return None
        return PartOfAct(item=item, before=before, after=label)

    return _each(items, one, kind=Kind.RELABEL, what="", key=key, at=at, by=by)


@whole_act
def find_many(found: Sequence[tuple[StockItem, Found]], *, key: str, at: datetime, by: Any) -> DoneWithMany:
    """Return the act that sets each thing to what was weighed, counted or judged of it."""
    by_item = {item.pk: each for item, each in found}

    def one(item: StockItem, own: str) -> PartOfAct:
        before = item.on_hand
        note_found(item, by_item[item.pk], key=own, at=at, by=by, reference="found with others")
        after = StockItem.objects.values_list("on_hand", flat=True).get(pk=item.pk)
        return PartOfAct(item=item, before=str(before), after=str(after), ledger_key=own)

    return _each([item for item, _ in found], one, kind=Kind.FOUND, what="", key=key, at=at, by=by)


@whole_act
def retire_many(
    items: Sequence[StockItem], *, key: str, at: datetime, by: Any, reference: str = ""
) -> DoneWithMany:
    """Return the act that takes all ``items`` off the shelf; what somebody wants of them is refused, one by one."""

    def one(item: StockItem, own: str) -> PartOfAct:
        before = item.on_hand
        retire(item, key=own, at=at, by=by, reference=reference)
        return PartOfAct(item=item, before=str(before), ledger_key=own)

    return _each(items, one, kind=Kind.RETIRE, what=reference, key=key, at=at, by=by)


@whole_act
def take_back_many(act: ActOnMany, *, key: str, at: datetime, by: Any) -> DoneWithMany:
    """Return ``act``, taken back: each thing as it was before, but for what has happened to it since, which is told.

    Sent again it answers with what stands. Raises WorkshopError where nothing of it can be taken back.
    """
    standing = held(ActOnMany.objects.all()).get(pk=act.pk)
    if standing.taken_back_at is not None:
        return DoneWithMany(standing)
    problems, done = [], 0
    for part in standing.parts.select_related("item", "place_before").order_by("-id"):
        try:
            with transaction.atomic():
                _take_back(standing, part, key=f"{key}:{part.pk}"[:80], at=at, by=by)
            done += 1
        except WorkshopError as problem:
            problems.append(str(problem))
    if not done:
        raise NothingDone(" ".join(problems) or _("There is nothing to take back."))
    standing.taken_back_at, standing.taken_back_by = at, by
    standing.save(update_fields=["taken_back_at", "taken_back_by"])
    return DoneWithMany(standing, tuple(problems))


def acts_on_many(*, last: int = 50) -> list[ActOnMany]:
    """Return the last acts on many things, newest first."""
    return list(ActOnMany.objects.select_related("by", "taken_back_by")[:last])


def _each(
    items: Iterable[StockItem],
    one: Callable[[StockItem, str], PartOfAct | None],
    *,
    kind: str,
    what: str,
    key: str,
    at: datetime,
    by: Any,
) -> DoneWithMany:
    """Do ``one`` with each thing under a key of its own; what is refused is told and leaves the others done."""
    if not key:
        raise WorkshopError(_("An act on many things needs a key, so that sending it twice does it once."))
    earlier = ActOnMany.objects.filter(key=key).first()
    if earlier is not None:
        return DoneWithMany(earlier)
    problems: list[str] = []
    parts: list[PartOfAct] = []
    for item in held(StockItem.objects.filter(pk__in=[each.pk for each in items])):
        try:
            with transaction.atomic():
                part = one(item, f"{key}:{item.pk}"[:80])
        except WorkshopError as problem:
            problems.append(str(problem))
        else:
            parts += [part] if part is not None else []
    if not parts:
        return DoneWithMany(None, tuple(problems))
    count = f"{len(parts)} thing{'' if len(parts) == 1 else 's'}"
    named = f"{count} {_DONE[Kind(kind)]}{f': {what}' if what else ''}"
    act = ActOnMany.objects.create(kind=kind, what=named[:200], key=key, at=at, by=by)
    for part in parts:
        part.act = act
    PartOfAct.objects.bulk_create(parts)
    return DoneWithMany(act, tuple(problems))


def _take_back(act: ActOnMany, part: PartOfAct, *, key: str, at: datetime, by: Any) -> None:
    """Put one thing back to what it was; raise WorkshopError where something else has happened to it since."""
    item = held(StockItem.objects.filter(pk=part.item_id)).get()
    if act.kind == Kind.MOVE:
        if str(item.place or "") != part.after:
            raise WorkshopError(
                _("{item} has gone to {place} since, and stays there.").format(
                    item=item, place=item.place or _("no place")
                )
            )
        change(item, changes={"place": part.place_before}, at=at, by=by, key=key)
        return
    if act.kind == Kind.RELABEL:
        if item.label != part.after:
            raise WorkshopError(
                _("{after} has got the label {label} since, and keeps it.").format(
                    after=part.after, label=item.label
                )
            )
        change(item, changes={"label": part.before}, at=at, by=by, key=key, what=f"{item.label}: label")
        return
    entries = entries_of(part.ledger_key)
    if any(getattr(entry, "reversed_by", None) is not None for entry in entries):
        return  # taken back on its own page already
    since = Entry.objects.filter(item_id=item.pk, id__gt=max(entry.pk for entry in entries))
    if since.exists():
        raise WorkshopError(_("{item} has been used or counted since, and stays as it is.").format(item=item))
    reverse(entries[0], key=key, at=at, by=by, reference="taken back with the others")

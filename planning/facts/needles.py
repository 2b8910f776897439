"""When a machine's needle is due: stitches counted since it was put in."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import IntegrityError
from django.db.models import Sum
from django.utils.translation import gettext as _

from inventory.acting import held as held_rows
from inventory.acting import whole_act
from inventory.compute.errors import WorkshopError
from inventory.ledger import KeyUsedForAnother
from inventory.models import StockItem
from inventory.shelf.needles import use_needle
from planning.models import Machine, NeedleNote


@dataclass(frozen=True)
class NeedleDue:
    """How a machine's needle stands: ``stitches`` made with it, of the ``life`` it is given."""

    stitches: int
    life: int

    @property
    def due(self) -> bool:
        return self.stitches >= self.life

    @property
    def stitches_left(self) -> int:
        return max(0, self.life - self.stitches)


def note_stitches(machine: Machine, *, stitches: int, key: str, at: datetime, by: Any) -> NeedleDue:
    """Return how the needle stands once ``machine`` has made ``stitches`` more."""
    if stitches < 0:
        raise WorkshopError(
            _("{stitches} stitches is below zero; give how many were made.").format(stitches=stitches)
        )

    def note(held: Machine) -> NeedleNote:
        held.stitches_since_needle += stitches
        return NeedleNote(machine=held, stitches=stitches, at=at, by=by, key=key)

    return _noted(machine, note, key=key, same=lambda earlier: earlier.stitches == stitches)


def needle_changed(
    machine: Machine, *, key: str, at: datetime, by: Any, pack: StockItem | None = None, count: int = 1
) -> NeedleDue:
    """Return how the needle stands once it was changed: new. ``count`` needles leave ``pack``, if there is one."""

    def note(held: Machine) -> NeedleNote:
        if pack is not None:
            use_needle(pack, count=count, key=key, at=at, by=by, reference=f"needle of {held}")
        lasted, held.stitches_since_needle = held.stitches_since_needle, 0
        return NeedleNote(machine=held, lasted_stitches=lasted, at=at, by=by, key=key)

    return _noted(machine, note, key=key, same=lambda earlier: earlier.stitches is None)


def take_stitches_back(machine: Machine, *, key_begins: str) -> None:
    """Take back from the needle that is in now the stitches noted under keys that begin so.

    What a needle before it made stays: that one is gone, with what it had come to.
    """
    held = held_rows(Machine.objects.all()).get(pk=machine.pk)
    notes = NeedleNote.objects.filter(machine=held)
    changed = notes.filter(stitches__isnull=True).order_by("id").values_list("id", flat=True).last() or 0
    own = notes.filter(stitches__isnull=False, key__startswith=key_begins, id__gt=changed)
    stitched = own.aggregate(total=Sum("stitches"))["total"] or 0
    held.stitches_since_needle = max(0, held.stitches_since_needle - stitched)
    held.save(update_fields=["stitches_since_needle"])
    own.delete()


def needle_due(machine: Machine) -> NeedleDue:
    """Return how the needle of ``machine`` stands."""
    held = Machine.objects.get(pk=machine.pk)
    return NeedleDue(stitches=held.stitches_since_needle, life=held.needle_life_stitches)


def _noted(
    machine: Machine,
    note: Callable[[Machine], NeedleNote],
    *,
    key: str,
    same: Callable[[NeedleNote], bool],
) -> NeedleDue:
    if not key:
        raise KeyUsedForAnother("A note on a needle needs a key, so that sending it twice counts once.")
    try:
        _write(machine, note)
    except (IntegrityError, WorkshopError):
        earlier = NeedleNote.objects.filter(key=key).first()
        if earlier is None:
            raise
        if earlier.machine_id != machine.pk or not same(earlier):
            raise KeyUsedForAnother(
                _("The key {key} belongs to another note. Open the page again and repeat the step.").format(
                    key=key
                )
            ) from None
    machine.refresh_from_db(fields=["stitches_since_needle"])
    return needle_due(machine)


@whole_act
def _write(machine: Machine, note: Callable[[Machine], NeedleNote]) -> None:
    held = held_rows(Machine.objects.all()).get(pk=machine.pk)
    note(held).save(force_insert=True)
    held.save(update_fields=["stitches_since_needle"])

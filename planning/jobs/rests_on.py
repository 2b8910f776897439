"""Marks of all that the standings of jobs rest on: the same marks, the same standings.

They are made of what the tables hold, not of when somebody wrote: whatever changes a row, an act, a command or a hand
in the database, changes the mark; what is put back as it was has its old mark again.
"""

import hashlib
from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from django.db.models import Exists, Model, OuterRef, QuerySet

from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Entry,
    Offcut,
    Offer,
    PartBobbin,
    Place,
    PriceBreak,
    PutUp,
    Reservation,
    Shade,
    SheetPack,
    Spool,
    SprayCan,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
    Supplier,
    ThreadRange,
)
from inventory.schema.plain_rows import plain_rows
from inventory.schema.unchanged import read_as, while_unchanged
from planning.models import (
    Applique,
    AppliqueStop,
    Block,
    Design,
    Fabric,
    FactorReset,
    Hoop,
    Job,
    JobCut,
    Layer,
    LeftOutShade,
    Machine,
    NamedPiece,
    Observation,
    PinnedShade,
    PlacedDesign,
    Promise,
    PromisedThread,
    RememberedColour,
    Rules,
    StitchOutNote,
    ToldChange,
)

# Of a kept design, what plans are made from, and its name; its outline and notes move no standing.
_OF_DESIGNS = ("id", "name", "sha256", "format", "width_mm", "height_mm", "stitches", "trims", "stops")
CATALOGUE: tuple[type[Model], ...] = (
    ThreadRange, Shade, PutUp, Supplier, Offer, PriceBreak, StabilizerProduct, BobbinStyle, Place,
)  # fmt: skip
STOCK: tuple[type[Model], ...] = (
    StockItem, Spool, BobbinBatch, PartBobbin, StabilizerRoll, SheetPack, Offcut, SprayCan, Reservation,
)  # fmt: skip
# What records of jobs have with them beside the catalogue and what is theirs alone.
BESIDE_JOBS: tuple[type[Model], ...] = (
    Machine, Machine.hoops.through, Hoop, Fabric, Layer, StitchOutNote, AppliqueStop,
)  # fmt: skip
# With these they are the facts.
SAID_AND_LEARNED: tuple[type[Model], ...] = (Rules, Observation, FactorReset, ToldChange, RememberedColour)


@dataclass(frozen=True)
class RestsOn:
    """A mark of each thing that standings rest on, and of each waiting job, by its number, in the turn they claim.

    The ``language`` is among them: why a job cannot be planned is told in it.
    """

    stock: bytes
    catalogue: bytes
    facts: bytes
    beside_jobs: bytes
    jobs: tuple[tuple[int, bytes], ...]
    read_as: Hashable = ()

    @property
    def every(self) -> bytes:
        """One mark of all of it."""
        return mark(self)

    @property
    def records_of_jobs(self) -> Hashable:
        """The mark of the records of all waiting jobs, whatever the rules say and whatever is on the shelf."""
        return (self.jobs, self.beside_jobs, self.catalogue, self.read_as)

    def record_of(self, pk: int) -> Hashable:
        """Return the mark of a job's records, whatever the rules say and whatever is on the shelf."""
        return (pk, self._by_job[pk], self.beside_jobs, self.catalogue)

    def question_of(self, pk: int) -> Hashable:
        """Return the mark of what a job asks, whatever is on the shelf."""
        return (pk, self._by_job[pk], self.facts, self.catalogue, self.read_as)

    @cached_property
    def _by_job(self) -> dict[int, bytes]:
        return dict(self.jobs)


def marks_now() -> RestsOn:
    """Return the marks as the database stands, in a number of queries that does not grow; none if nothing moved."""
    return replace(while_unchanged("marks", _marks), read_as=read_as())


def _marks() -> RestsOn:
    beside_jobs = mark_of(BESIDE_JOBS)
    return RestsOn(
        stock=mark_of(STOCK),
        catalogue=mark_of(CATALOGUE),
        facts=mark_of(SAID_AND_LEARNED) + beside_jobs,
        beside_jobs=beside_jobs,
        jobs=_jobs(),
    )


def mark_of(models: Sequence[type[Model]]) -> bytes:
    """Return the mark of all rows of these tables."""
    return while_unchanged(("mark", *models), lambda: _mark_of(models))


def _mark_of(models: Iterable[type[Model]]) -> bytes:
    hashed = hashlib.blake2b(digest_size=16)
    for model in models:
        hashed.update(model._meta.db_table.encode())
        for chunk in _rows(model._default_manager.all(), own_columns(model)):
            hashed.update(chunk)
    return hashed.digest()


def mark(value: Any) -> bytes:
    """Return the mark of a value that is written out whole."""
    return hashlib.blake2b(repr(value).encode(), digest_size=16).digest()


def own_columns(model: type[Model]) -> tuple[str, ...]:
    """Return the columns of a model's own table."""
    return tuple(field.attname for field in model._meta.local_concrete_fields)


def _rows(query: QuerySet[Any], columns: Sequence[str], *, at_a_time: int = 1_000) -> Iterable[bytes]:
    for rows in plain_rows(query.order_by("pk").values_list(*columns), at_a_time=at_a_time):
        yield repr(rows).encode()


def _plain(query: QuerySet[Any]) -> Iterable[tuple[Any, ...]]:
    for rows in plain_rows(query):
        yield from rows


def _jobs() -> tuple[tuple[int, bytes], ...]:
    """Return the mark of each waiting job in its turn: of its row and of all that hangs on it, its designs too."""
    waiting = Job.objects.waiting()
    parts: dict[int, list[Any]] = defaultdict(list)
    for model in (NamedPiece, PlacedDesign, PinnedShade, LeftOutShade):
        columns = own_columns(model)
        of = columns.index("job_id")
        for row in _plain(
            model._default_manager.filter(job__in=waiting).order_by("pk").values_list(*columns)
        ):
            parts[row[of]].append(row)
    for pk, *about in (
        Promise.objects.filter(job__in=waiting).order_by("pk").values_list("job_id", "id", "verdict")
    ):
        parts[pk].append(about)
    promised = PromisedThread.objects.filter(promise__job__in=waiting).order_by("pk")
    for pk, *about in promised.values_list("promise__job_id", "order", "shade_id", "blocks"):
        parts[pk].append(about)
    cuts = list(JobCut.objects.filter(job__in=waiting).order_by("pk").values_list("job_id", "key", "pieces"))
    taken_back = Entry.objects.filter(reverses=OuterRef("pk"))
    standing = set(
        Entry.objects.filter(
            ~Exists(taken_back), key__in=[key for _, key, _ in cuts], reason=Entry.Reason.CUT
        )
        .order_by()
        .values_list("key", flat=True)
    )
    for pk, *about in cuts:
        parts[pk].append((about, about[0] in standing))
    designs = _designs(waiting)
    for model in (PlacedDesign, NamedPiece):
        pairs = (
            model._default_manager.filter(job__in=waiting).order_by("pk").values_list("job_id", "design_id")
        )
        for pk, design in pairs:
            parts[pk].append(designs[design])
    columns = own_columns(Job)
    rows = _plain(waiting.in_turn().values_list("pk", *columns))
    return tuple((row[0], mark((row, parts[row[0]]))) for row in rows)


def _designs(waiting: QuerySet[Job]) -> dict[int, bytes]:
    ids = {
        design
        for model in (PlacedDesign, NamedPiece)
        for design in model._default_manager.filter(job__in=waiting)
        .order_by()
        .values_list("design_id", flat=True)
    }
    found: dict[int, list[Any]] = defaultdict(list)
    for row in _plain(Design.objects.filter(pk__in=ids).values_list(*_OF_DESIGNS)):
        found[row[0]].append(row)
    columns = own_columns(Applique)
    of = columns.index("design_id")
    for row in _plain(Applique.objects.filter(design__in=ids).order_by("pk").values_list(*columns)):
        found[row[of]].append(row)
    columns = own_columns(Block)
    of = columns.index("design_id")
    for row in _plain(Block.objects.filter(design__in=ids).order_by("pk").values_list(*columns)):
        found[row[of]].append(row)
    return {pk: mark(rows) for pk, rows in found.items()}

"""One search over all that has a name: labels, threads, stabilizers, designs, jobs, orders, places, suppliers."""

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from django.db.models import Model, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from inventory.catalogue.owning import Kept, do_i_own
from inventory.compute.errors import WorkshopError
from inventory.compute.names.plain import basic_colours
from inventory.compute.spoken import N_
from inventory.models import Order, Place, Shade, StabilizerProduct, Supplier
from inventory.shelf.reads import item_by_label
from inventory.shelf.scan_box import read_code
from planning.library.search import DesignSearch, find_designs
from planning.models import Design, Fabric, Job, Machine

# A page is looked over at a glance; the rest stays behind a link. Common practice, no source.
MOST = 6
# A word this like one that is known here was probably meant. Common practice, no source.
ALIKE = 0.72
# How well a name may answer, beside 0 wholly, 1 it begins so, 2 a word of it does.
IN_A_WORD, BY_ITS_WORDS = 3, 4

_NUMBERED = re.compile(r"(?P<word>[^\W\d]*)\s*(?P<sign>#?)\s*(?P<number>\d{1,15})")


HEADINGS = {
    "threads": N_("Threads"),
    "designs": N_("Designs"),
    "jobs": N_("Jobs"),
    "orders": N_("Orders"),
    "places": N_("Places"),
    "stabilizers": N_("Stabilizers"),
    "suppliers": N_("Suppliers"),
    "machines": N_("Machines"),
    "fabrics": N_("Fabrics"),
}


@dataclass(frozen=True)
class Thread:
    """A shade that was found: what is kept of it, and how near it is to the colour asked for, where one was."""

    shade: Shade
    kept: Kept
    how_near: str = ""
    earlier_code: bool = False


@dataclass(frozen=True)
class Labelled:
    """A thing that carries the very label, and what was typed after it."""

    label: str
    rest: str


@dataclass(frozen=True)
class Group:
    """Things of one kind, best first; ``more`` of them are not shown."""

    kind: str
    rows: Sequence[Any]
    more: int = 0
    fit: int = 0

    @property
    def heading(self) -> str:
        """What stands above them."""
        return _(HEADINGS[self.kind])


@dataclass(frozen=True)
class Findings:
    """What was found of ``asked``, the group with the best fit first; ``read_as`` where it was read as another word."""

    asked: str
    groups: tuple[Group, ...]
    read_as: str = ""
    very: Labelled | Model | None = None

    @property
    def is_empty(self) -> bool:
        return not self.groups

    @property
    def in_words(self) -> str:
        """How many of each kind, such as "4 threads, 1 job"."""
        counted = ((len(group.rows) + group.more, group.kind) for group in self.groups)
        return ", ".join(_counted(kind, count) for count, kind in counted)


@dataclass(frozen=True)
class KindByName:
    """A kind of record that is found by its name: what it is called, the field of the name, the order of its list."""

    kind: str
    model: type[Model]
    field: str
    order: tuple[str, ...]


BY_NAME = (
    KindByName("jobs", Job, "what", ("ended_at", "needed_on", "pk")),
    KindByName("orders", Order, "supplier__name", ("-number",)),
    KindByName("places", Place, "name", ("name",)),
    KindByName("stabilizers", StabilizerProduct, "name", ("name",)),
    KindByName("suppliers", Supplier, "name", ("name",)),
    KindByName("machines", Machine, "name", ("name",)),
    KindByName("fabrics", Fabric, "name", ("name",)),
)


def _counted(kind: str, count: int) -> str:
    said = {
        "threads": ngettext("{n} thread", "{n} threads", count),
        "designs": ngettext("{n} design", "{n} designs", count),
        "jobs": ngettext("{n} job", "{n} jobs", count),
        "orders": ngettext("{n} order", "{n} orders", count),
        "places": ngettext("{n} place", "{n} places", count),
        "stabilizers": ngettext("{n} stabilizer", "{n} stabilizers", count),
        "suppliers": ngettext("{n} supplier", "{n} suppliers", count),
        "machines": ngettext("{n} machine", "{n} machines", count),
        "fabrics": ngettext("{n} fabric", "{n} fabrics", count),
    }
    return said[kind].format(n=count)


def find(text: str) -> Findings:
    """Return everything that ``text`` may mean, and under ``very`` the one thing that it names wholly, if it does.

    A label (or the address in its code) comes before all else, then numbers of jobs and orders. Where nothing goes by
    the words, the nearest spelling of a name known here is looked for instead.
    """
    asked = " ".join(text.split())
    if not asked:
        return Findings("", ())
    very = _labelled(asked) or _numbered(asked)
    if very is not None:
        return Findings(asked, (), very=very)
    groups = _groups(asked)
    if groups:
        return Findings(asked, groups, very=_only_one(asked, groups))
    for meant in _alike(asked):
        groups = _groups(meant)
        if groups:
            return Findings(asked, groups, read_as=meant)
    return Findings(asked, ())


def _labelled(asked: str) -> Labelled | None:
    read = read_code(asked)
    found = item_by_label(read.code)
    return None if found is None else Labelled(found.item.label, read.rest)


def _numbered(asked: str) -> Model | None:
    read = _NUMBERED.fullmatch(asked)
    if read is None:
        return None
    word, number = read["word"].casefold(), int(read["number"])
    if word in ("job", pgettext("typed before a number", "job").casefold()) or (read["sign"] and not word):
        return Job.objects.filter(pk=number).first()
    if word in ("order", pgettext("typed before a number", "order").casefold()) and number < 10**9:
        return Order.objects.filter(number=number).first()
    return None


def _groups(asked: str) -> tuple[Group, ...]:
    groups = [_threads(asked), _designs(asked), *(_called(asked, each) for each in BY_NAME)]
    return tuple(sorted((group for group in groups if group.rows), key=lambda group: group.fit))


def _threads(asked: str) -> Group:
    try:
        owned = do_i_own(asked, limit=MOST)
    except WorkshopError:  # it reads as a colour that is none: no thread goes by it
        return Group("threads", ())
    very = [Thread(each.shade, each.kept, earlier_code=each.by_earlier_code) for each in owned.very]
    very.sort(key=lambda each: (_fit(each.shade.name, asked), each.kept.spools == 0))
    near = [Thread(each.near.shade, each.kept, how_near=each.near.seen) for each in owned.near]
    seen = {each.shade.pk for each in very}
    rows = [*very, *(each for each in near if each.shade.pk not in seen)]
    if not rows:
        return Group("threads", ())
    by_code = any(each.earlier_code or each.shade.code.casefold() == asked.casefold() for each in very)
    fit = 0 if by_code else _fit(very[0].shade.name, asked) if very else 1
    return Group("threads", rows[:MOST], max(0, len(rows) - MOST), fit)


def _designs(asked: str) -> Group:
    found: Any = find_designs(DesignSearch(words=" ".join(re.split(r"[\s_-]+", asked))))
    rows = sorted(found[: 4 * MOST], key=lambda design: (_fit(design.name, asked), design.name.casefold()))
    if not rows:
        return Group("designs", ())
    return Group("designs", rows[:MOST], max(0, found.count() - MOST), _fit(rows[0].name, asked))


def _called(asked: str, named: KindByName) -> Group:
    records: QuerySet[Any] = named.model._default_manager.order_by(*named.order)
    for word in asked.split():
        records = records.filter(**{f"{named.field}__icontains": word})
    records = records.select_related("supplier") if named.model is Order else records
    found = [
        (_fit(attrgetter(named.field.replace("__", "."))(each), asked), each) for each in records[: 4 * MOST]
    ]
    if not found:
        return Group(named.kind, ())
    found.sort(key=lambda pair: pair[0])
    rows = [record for _fits, record in found[:MOST]]
    return Group(named.kind, rows, max(0, records.count() - MOST), found[0][0])


def _fit(name: str, asked: str) -> int:
    """Return how well a name answers: 0 wholly, 1 it begins so, 2 a word of it does, 3 somewhere, 4 not in one piece.

    >>> _fit("Harbour pennant", "harbour pennant"), _fit("Harbour pennant", "pen"), _fit("Harbour pennant", "nant")
    (0, 2, 3)
    """
    called, typed = _plain(name), _plain(asked)
    if called == typed:
        return 0
    if called.startswith(typed):
        return 1
    if any(word.startswith(typed) for word in re.split(r"[\s,;()/-]+", called)):
        return 2
    return IN_A_WORD if typed in called else BY_ITS_WORDS


def _plain(name: str) -> str:
    """Return a name in small letters, its words parted by spaces: files part theirs by other signs."""
    return " ".join(re.split(r"[\s_-]+", name.casefold()))


def _only_one(asked: str, groups: Sequence[Group]) -> Model | None:
    """Return the one record that is called so, where nothing else is found at all."""
    if len(groups) != 1 or len(groups[0].rows) != 1 or groups[0].fit != 0:
        return None
    row = groups[0].rows[0]
    return row if isinstance(row, Model) else None


def _alike(asked: str) -> list[str]:
    """Return names known here that are spelt nearly like ``asked``, wholly or word by word, nearest first."""
    names = _names()
    by_folded = {name.casefold(): name for name in names}
    near = difflib.get_close_matches(asked.casefold(), list(by_folded), n=3, cutoff=ALIKE)
    meant = [by_folded[each] for each in near]
    words = sorted({word for name in by_folded for word in re.split(r"[\s,;()/-]+", name) if len(word) > 2})
    read = []
    for word in asked.casefold().split():
        close = difflib.get_close_matches(word, words, n=1, cutoff=ALIKE)
        if not close:
            return meant
        read.append(close[0])
    return [*meant, " ".join(read)]


def _names() -> list[str]:
    fields: set[tuple[type[Model], str]] = {
        (Shade, "name"),
        (Design, "name"),
        *((each.model, each.field) for each in BY_NAME),
    }
    called = (
        name
        for model, field in fields
        for name in model._default_manager.values_list(field, flat=True).distinct()
    )
    return sorted({name for name in called if name} | {*basic_colours(), *map(_, basic_colours())})

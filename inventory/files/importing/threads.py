"""The thread catalogue as a row names it: ranges, put-ups, shades by their present and earlier codes."""

import difflib
from collections import defaultdict
from dataclasses import dataclass, field

from inventory.compute.spoken import _
from inventory.files.importing.catalogue import Index, folded
from inventory.files.importing.rows import Row
from inventory.models import EarlierCode, PutUp, Shade, ThreadRange


@dataclass
class ThreadIndex:
    """Every range, put-up and shade there is, by name."""

    ranges: Index[ThreadRange]
    put_ups: Index[PutUp]
    shades: Index[Shade]
    earlier: defaultdict[tuple[str, ...], list[Shade]]
    ranges_named: defaultdict[tuple[str, ...], list[ThreadRange]]
    shades_coded: defaultdict[tuple[str, ...], list[Shade]]
    put_ups_of: defaultdict[int, list[str]]
    _hints: dict[tuple[str, str], str] = field(default_factory=dict)

    def hint(self, maker: str, name: str) -> str:
        """Return what to say of a range that is not there: the one that was probably meant."""
        asked = (maker, name)
        if asked not in self._hints:
            names = [str(ranges[0]) for ranges in self.ranges_named.values()]
            near = difflib.get_close_matches(f"{maker} {name}".strip(), names, n=1)
            self._hints[asked] = (
                _("Is it {name}?").format(name=near[0]) if near else _("Import the shades first.")
            )
        return self._hints[asked]


def see_threads() -> ThreadIndex:
    """Return the thread catalogue as it stands."""
    ranges = list(ThreadRange.objects.all())
    shades = list(Shade.objects.select_related("range"))
    put_ups = list(PutUp.objects.select_related("range"))
    threads = ThreadIndex(
        ranges=Index(((each.maker, each.name), each) for each in ranges),
        put_ups=Index(((str(each.range_id), each.name), each) for each in put_ups),
        shades=Index(((str(each.range_id), each.code), each) for each in shades),
        earlier=defaultdict(list),
        ranges_named=defaultdict(list),
        shades_coded=defaultdict(list),
        put_ups_of=defaultdict(list),
    )
    for each in ranges:
        threads.ranges_named[folded(each.name)].append(each)
    for shade in shades:
        threads.shades_coded[folded(shade.code)].append(shade)
    for put_up in put_ups:
        threads.put_ups_of[put_up.range_id].append(put_up.name)
    by_pk = {shade.pk: shade for shade in shades}
    for shade_id, code in EarlierCode.objects.values_list("shade_id", "code"):
        shade = by_pk[shade_id]
        threads.earlier[folded(str(shade.range_id), code)].append(shade)
        if shade not in threads.shades_coded[folded(code)]:
            threads.shades_coded[folded(code)].append(shade)
    return threads


def range_named(row: Row, threads: ThreadIndex) -> ThreadRange | None:
    """Return the range that the row names by maker and name, or by name alone where that is enough."""
    maker, name = row["maker"], row["range"]
    if not name:
        if maker and not row.refused("range"):
            row.refuse("range", _("The row names the maker {maker}; name the range too.").format(maker=maker))
        return None
    if maker:
        found = threads.ranges.get(maker, name)
    else:
        named = threads.ranges_named.get(folded(name), [])
        found = named[0] if len(named) == 1 else None
        if len(named) > 1:
            row.refuse(
                "maker",
                _("Several makers have a range {name}: {names}.").format(
                    name=name, names=", ".join(each.maker for each in named)
                ),
            )
            return None
    if found is None:
        row.refuse(
            "range",
            _("There is no range {range}. {hint}").format(
                range=f"{maker} {name}".strip(), hint=threads.hint(maker or "", name)
            ),
        )
    return found


def shade_coded(row: Row, threads: ThreadIndex, *, range: ThreadRange | None) -> Shade | None:
    """Return the shade that carries the row's code in ``range``, or anywhere where only one does."""
    code = row["code"]
    if not code or row.refused("maker", "range"):
        return None
    if range is not None:
        found = threads.shades.get(str(range.pk), code)
        candidates = [found] if found else threads.earlier.get(folded(str(range.pk), code), [])
    else:
        candidates = threads.shades_coded.get(folded(code), [])
    if len(candidates) == 1:
        return candidates[0]
    if candidates:
        told = (
            _(
                "Several shades carry this code in {range}: {names}. Name maker and range, or the present "
                "code."
            )
            if range is not None
            else _("Several shades carry this code: {names}. Name maker and range, or the present code.")
        )
        row.refuse("code", told.format(range=range, names="; ".join(map(str, candidates[:5]))))
    else:
        told = (
            _("There is no shade {code} in {range}. Import the shades first.")
            if range is not None
            else _("There is no shade {code}. Import the shades first.")
        )
        row.refuse("code", told.format(code=code, range=range))
    return None


def put_up_named(row: Row, threads: ThreadIndex, *, range: ThreadRange | None) -> PutUp | None:
    """Return the put-up of ``range`` that the row names."""
    name = row["put_up"]
    if not name or (range is None and row.refused("maker", "range", "code")):
        return None
    if range is None:
        row.refuse("put_up", _("A put-up belongs to a range. Name maker and range too."))
        return None
    found = threads.put_ups.get(str(range.pk), name)
    if found is None:
        there = ", ".join(threads.put_ups_of.get(range.pk, [])) or _("none yet")
        row.refuse(
            "put_up",
            _("{range} has no put-up {name}. It has: {there}.").format(range=range, name=name, there=there),
        )
    return found

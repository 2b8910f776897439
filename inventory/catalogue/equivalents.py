"""The nearest shade of every other range, found from colours alone: no list says which code stands for which."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext_lazy as _

from inventory.catalogue.owning import Kept, kept_of
from inventory.compute.colour.grade import grade_between
from inventory.compute.colour.knowing import difference_between
from inventory.compute.colour.lab import delta_e_00
from inventory.compute.errors import WorkshopError
from inventory.compute.names.weight_labels import same_weight
from inventory.models import Shade, ThreadRange

ONE_WAY = _(
    "Each holds one way: the shade named is the nearest of its range to this one. Asked the "
    "other way round, another shade may be nearer to it."
)


class NoOneShade(WorkshopError):
    """No shade, or more than one, goes by what was written."""


@dataclass(frozen=True)
class Equivalent:
    """The nearest shade of one range: how far off, as far as that is known, and what is kept of it."""

    shade: Shade
    delta_e_00: float
    between: tuple[float, float]
    grade: str
    same_fibre: bool
    same_weight: bool
    kept: Kept

    @property
    def is_owned(self) -> bool:
        return self.kept.spools > 0


def one_shade(text: str) -> Shade:
    """Return the shade that goes by a code (earlier ones too) or by maker, range and code. Raises NoOneShade."""
    typed = " ".join(text.split())
    known = Shade.objects.select_related("range").order_by("range__maker", "range__name", "code")
    found = list(known.by_code(typed)[:9]) if typed else []
    if not found and typed:
        code = typed.split()[-1]
        words = typed.casefold()
        found = [
            shade
            for shade in known.filter(code__iexact=code)
            if words
            in (f"{shade.range} {shade.code}".casefold(), f"{shade.range.name} {shade.code}".casefold())
        ]
    if len(found) == 1:
        return found[0]
    if not found:
        raise NoOneShade(
            _('No shade is called "{typed}". Write its code, or maker, range and code.').format(typed=typed)
        )
    names = ", ".join(f"{shade.range} {shade.code}" for shade in found[:8])
    raise NoOneShade(_('"{typed}" may be {names}. Write one of them.').format(typed=typed, names=names))


def by_earlier_code(shade: Shade, text: str) -> bool:
    """Tell whether what was written is a code that the shade no longer goes by."""
    said = " ".join(text.split()).casefold()
    return said != shade.code.casefold() and any(
        code.code.casefold() == said for code in shade.earlier_codes.all()
    )


def equivalents(shade: Shade) -> list[Equivalent]:
    """Return the nearest shade of each other range of the same purpose, the nearest first.

    Of shades equally near, one that is owned comes before one that is not. Raises NoOneShade where the colour of
    ``shade`` is not known.
    """
    lab = shade.lab
    if lab is None:
        raise NoOneShade(
            _("Nobody has said yet what the colour of {shade} is, so nothing can be near it.").format(
                shade=shade
            )
        )
    # As rows: a record of every shade of a large catalogue would be most of the work, and of the memory.
    others = list(
        Shade.objects.filter(
            range__purpose=shade.range.purpose, lab_l__isnull=False, lab_a__isnull=False, lab_b__isnull=False
        )
        .exclude(range=shade.range)
        .order_by("range__maker", "range__name", "code")
        .values_list("pk", "range_id", "lab_l", "lab_a", "lab_b")
    )
    differences = delta_e_00(
        tuple(lab), np.array([labs for _pk, _range, *labs in others], dtype=float).reshape(-1, 3)
    ).tolist()
    nearest: dict[int, tuple[float, int]] = {}
    owned = set(Shade.objects.owned().values_list("pk", flat=True))
    for (pk, range_id, *_labs), difference in zip(others, differences, strict=True):
        best = nearest.get(range_id)
        rank = (round(difference, 6), pk not in owned)
        if best is None or rank < (round(best[0], 6), best[1] not in owned):
            nearest[range_id] = (difference, pk)
    chosen = sorted(nearest.values(), key=lambda each: each[0])
    shades = Shade.objects.select_related("range").in_bulk([pk for _, pk in chosen])
    kept = kept_of(shades)
    return [_equivalent(shade, shades[pk], difference, kept[pk]) for difference, pk in chosen if pk in shades]


def _equivalent(shade: Shade, other: Shade, difference: float, kept: Kept) -> Equivalent:
    lab, other_lab = shade.lab, other.lab
    assert lab is not None  # only shades of a known colour are chosen for such
    assert other_lab is not None
    grade = grade_between(tuple(lab), tuple(other_lab))
    return Equivalent(
        shade=other,
        delta_e_00=difference,
        between=difference_between(difference, shade.sigma, other.sigma),
        grade=grade,
        same_fibre=other.range.fibre == shade.range.fibre,
        same_weight=same_weight(other.range.weight_label, shade.range.weight_label) is True
        or other.range.weight_label == shade.range.weight_label,
        kept=kept,
    )


def ranges_without(shade: Shade, found: Iterable[Equivalent]) -> Sequence[ThreadRange]:
    """Return the other ranges of its purpose of which no shade's colour is known: nothing can be said of them."""
    said = {each.shade.range_id for each in found} | {shade.range_id}
    return list(ThreadRange.objects.filter(purpose=shade.range.purpose).exclude(pk__in=said))

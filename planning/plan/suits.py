"""Whether the threads of a plan suit the work: one line each, where common practice would say something.

All of it is common practice, no source; the maker's word for a range, where it is entered, goes before it.
"""

import re
from collections.abc import Collection, Iterable, Sequence

from inventory.compute.names.weight_labels import same_weight
from inventory.compute.spoken import _
from inventory.models import Fibre, Shade, ThreadRange, Washing
from planning.compute.batch.needle_thread import PlannedThread
from planning.models import Fabric

_HOT: dict[str, int] = {Washing.NOT: 0, Washing.COOL: 1, Washing.WARM: 2, Washing.BOILED: 3}
# What a fibre bears where nobody has said it of the range.
_BEARS: dict[str, str] = {
    Fibre.RAYON: Washing.WARM,
    Fibre.SILK: Washing.COOL,
    Fibre.WOOL: Washing.COOL,
    Fibre.METALLIC: Washing.COOL,
}
# Metallic thread is cut by the eye of a finer needle than this.
METALLIC_NEEDLE = 90
_SIZE = re.compile(r"\b(\d{2,3})(?:/\d{1,2})?\b")


def suiting_notes(threads: Sequence[PlannedThread], fabric: Fabric) -> list[str]:
    """Return what a person should think of before these threads go on one piece of ``fabric``."""
    shades = [thread.choice.shade for thread in threads if thread.choice.near_enough and thread.choice.shade]
    ranges = list(ThreadRange.objects.filter(pk__in={shade.range_id for shade in shades}))
    notes = [*_mixed(ranges), *_washed(ranges, fabric), *_metallic(ranges, fabric)]
    return [_("{note} (common practice).").format(note=note) for note in notes]


def ranges_without_a_weight(
    wanted: Iterable[Shade], held: Collection[int], *, weight_label: str
) -> tuple[str, ...]:
    """Say of which ranges on the shelf nobody has written down the weight: they are considered all the same."""
    if not weight_label:
        return ()
    ranges = {
        str(shade.range)
        for shade in wanted
        if shade.pk in held and same_weight(shade.range.weight_label, weight_label) is None
    }
    said = _(
        "Nobody has written down which weight {range} is; it is taken to be {weight}. Say it with the range."
    )
    return tuple(said.format(range=range, weight=weight_label) for range in sorted(ranges))


def _mixed(ranges: Sequence[ThreadRange]) -> list[str]:
    fibres = sorted({str(range.fibre) for range in ranges if range.fibre != Fibre.METALLIC})
    if len(fibres) < 2:
        return []
    said = _("One piece mixes {fibres}: they shine, shrink and fade differently")
    return [said.format(fibres=_(" and ").join(str(Fibre(each).label) for each in fibres))]


def _washed(ranges: Sequence[ThreadRange], fabric: Fabric) -> list[str]:
    if not fabric.washing:
        return []
    notes = []
    for range in ranges:
        bears = range.washing or _BEARS.get(range.fibre, Washing.BOILED)
        if _HOT[bears] < _HOT[fabric.washing]:
            notes.append(
                _("{range} ({fibre}) bears washing: {bears}; {fabric} is washed: {washing}").format(
                    range=range,
                    fibre=range.get_fibre_display(),
                    bears=Washing(bears).label,
                    fabric=fabric,
                    washing=Washing(fabric.washing).label,
                )
            )
    return notes


def _metallic(ranges: Sequence[ThreadRange], fabric: Fabric) -> list[str]:
    size = _SIZE.search(fabric.needle)
    if size is None or int(size[1]) >= METALLIC_NEEDLE:
        return []
    said = _("{range} is metallic and wants a needle of {size} or more; {fabric} asks for {needle}")
    return [
        said.format(range=range, size=METALLIC_NEEDLE, fabric=fabric, needle=fabric.needle)
        for range in ranges
        if range.fibre == Fibre.METALLIC
    ]

"""The pieces of stabilizer that a recipe asks for: which sizes, how many, and how they lie to the grain."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from planning.compute.stabilizer.cutting import PieceNeed

Size = tuple[int, int]


@dataclass(frozen=True)
class LayerNeed:
    """One kind of layer a fabric asks for, ``count`` pieces of it a hooping.

    Of ``crossed`` layers every second one is turned by a quarter; one alone is turned. A layer ``by_extent`` covers
    what is stitched and not the hoop: a topping. ``words`` say the ``method`` to a person.
    """

    kind: str
    weight_from_g_m2: float
    weight_to_g_m2: float
    method: str
    count: int
    grain_matters: bool = False
    crossed: bool = False
    by_extent: bool = False
    words: str = ""

    @property
    def name(self) -> str:
        return f"{self.kind}, {self.words or self.method}"


@dataclass(frozen=True)
class CutBefore:
    """Pieces of a layer, told by its kind and method, that were cut for the job already."""

    kind: str
    method: str
    piece_mm: Size
    count: int


@dataclass(frozen=True)
class JobLayers:
    """What one job asks for: every layer in one piece a hooping.

    ``extents`` are the sizes of pieces by what is stitched, each with its number of hoopings; without them such
    layers are cut like the others. ``piece_mm`` is None where no hoop holds the design.
    """

    layers: tuple[LayerNeed, ...]
    piece_mm: Size | None
    hoopings: int
    extents: tuple[tuple[Size, int], ...] = ()
    job: str = ""
    cut_before: tuple[CutBefore, ...] = ()


@dataclass(frozen=True)
class LayerPieces:
    """The pieces of one size for one layer of a job; ``before`` of them are cut already."""

    job: str
    layer: LayerNeed
    piece_mm: Size
    hoopings: int
    before: int = 0

    @property
    def to_cut(self) -> int:
        return max(0, self.layer.count * self.hoopings - self.before)

    def needs(self, *, has_grain: bool) -> tuple[PieceNeed, ...]:
        """Return what is cut for them from a product with or without a grain.

        >>> crossed = LayerNeed("tear-away", 30, 60, "hooped", 2, crossed=True)
        >>> pieces = LayerPieces("", crossed, (180, 240), 10)
        >>> [(each.width_mm, each.height_mm, each.count) for each in pieces.needs(has_grain=True)]
        [(180, 240, 10), (240, 180, 10)]
        >>> [(each.count, each.may_turn) for each in pieces.needs(has_grain=False)]
        [(20, True)]
        """
        width_mm, height_mm = self.piece_mm
        label = f"{self.job}: {self.layer.name}" if self.job else self.layer.name
        keeps_grain = has_grain and (self.layer.grain_matters or self.layer.crossed)
        if not (has_grain and self.layer.crossed):
            return (PieceNeed(width_mm, height_mm, self.to_cut, not keeps_grain, label),)
        turned = self.layer.count // 2 or 1
        across = -(-self.to_cut * turned // self.layer.count)
        upright = self.to_cut - across
        found = (
            PieceNeed(width_mm, height_mm, upright, False, label),
            PieceNeed(height_mm, width_mm, across, False, f"{label}, across the grain"),
        )
        return tuple(each for each in found if each.count) or found[:1]


def pieces_of(job: JobLayers) -> Iterator[LayerPieces]:
    """Yield the pieces of each layer of a job, size by size; none where its piece size is not known.

    >>> topping = LayerNeed("topping", 10, 40, "laid on top", 1, by_extent=True)
    >>> caps = JobLayers((topping,), (190, 240), 26, extents=(((90, 70), 24), ((120, 70), 2)))
    >>> [(each.piece_mm, each.to_cut) for each in pieces_of(caps)]
    [((90, 70), 24), ((120, 70), 2)]
    """
    if job.piece_mm is None:
        return
    before: Counter[tuple[str, str, Size]] = Counter()
    for each in job.cut_before:
        before[each.kind, each.method, each.piece_mm] += each.count
    for layer in job.layers:
        sizes = job.extents if layer.by_extent and job.extents else ((job.piece_mm, job.hoopings),)
        for size, hoopings in sizes:
            # Two layers of one kind and method share what was cut for them: the first takes all that it needs.
            done = min(before[layer.kind, layer.method, size], layer.count * hoopings)
            before[layer.kind, layer.method, size] -= done
            yield LayerPieces(job.job, layer, size, hoopings, done)


def only_hoopings(job: JobLayers, hoopings: int | None) -> JobLayers:
    """Return what the first ``hoopings`` of a job ask for; None means all of them.

    >>> caps = JobLayers((), (190, 240), 26, extents=(((90, 70), 24), ((120, 70), 2)))
    >>> only_hoopings(caps, 25).extents
    (((90, 70), 24), ((120, 70), 1))
    """
    if hoopings is None or hoopings >= job.hoopings:
        return job
    left, extents = hoopings, []
    for size, count in job.extents:
        taken = min(count, left)
        left -= taken
        if taken:
            extents.append((size, taken))
    return replace(job, hoopings=hoopings, extents=tuple(extents))

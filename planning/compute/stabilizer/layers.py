"""The pieces that layers and applique ask for: which sizes, how many, and how they lie to the grain."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from planning.compute.stabilizer.cutting import PieceNeed
from planning.compute.stabilizer.sentences import ACROSS_THE_GRAIN

Size = tuple[int, int]


@dataclass(frozen=True)
class LayerNeed:
    """One kind of layer a fabric asks for, ``count`` pieces of it a hooping.

    Of ``crossed`` layers every second one is turned by a quarter; one alone is turned. A layer ``by_extent`` covers
    what is stitched and not the hoop: a topping. ``words`` say the ``method`` to a person. ``product_id`` is the very
    product that a person named; 0 leaves it to kind and weight.
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
    product_id: int = 0

    @property
    def is_sprayed(self) -> bool:
        """Whether it comes out of a can, and is not cut."""
        return self.kind == "spray"

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
class FabricPieces:
    """The fabric of one applique: pieces of one size, so many in each hooping.

    ``by_hooping`` has runs of hoopings in their order: pieces in each, and how many such hoopings follow.
    """

    layer: LayerNeed
    piece_mm: Size
    by_hooping: tuple[tuple[int, int], ...]

    @property
    def count(self) -> int:
        return sum(pieces * times for pieces, times in self.by_hooping)

    def first(self, hoopings: int) -> "FabricPieces":
        """Return those of the first ``hoopings`` alone.

        >>> star = FabricPieces(LayerNeed("fabric", 0, 0, "star", 1), (40, 40), ((4, 2), (1, 1)))
        >>> star.count, star.first(1).count, star.first(9).count
        (9, 4, 9)
        """
        left, kept = hoopings, []
        for pieces, times in self.by_hooping:
            taken = min(times, left)
            left -= taken
            if taken:
                kept.append((pieces, taken))
        return replace(self, by_hooping=tuple(kept))


@dataclass(frozen=True)
class JobLayers:
    """What one job asks for: every layer in one piece a hooping, and the fabric of its appliques.

    ``extents`` are the sizes of pieces by what is stitched, each with its number of hoopings; without them such
    layers are cut like the others. ``piece_mm`` is None where no hoop holds the design.
    """

    layers: tuple[LayerNeed, ...]
    piece_mm: Size | None
    hoopings: int
    extents: tuple[tuple[Size, int], ...] = ()
    job: str = ""
    cut_before: tuple[CutBefore, ...] = ()
    fabric: tuple[FabricPieces, ...] = ()


@dataclass(frozen=True)
class LayerPieces:
    """The pieces of one size for one layer of a job; ``before`` of them are cut already.

    Of fabric for applique each piece counts as a hooping of its own.
    """

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
            PieceNeed(height_mm, width_mm, across, False, ACROSS_THE_GRAIN.format(piece=label)),
        )
        return tuple(each for each in found if each.count) or found[:1]


def pieces_of(job: JobLayers) -> Iterator[LayerPieces]:
    """Yield the pieces of each layer of a job, size by size, then those of its appliques.

    Layers whose piece size is not known have none.

    >>> topping = LayerNeed("topping", 10, 40, "laid on top", 1, by_extent=True)
    >>> caps = JobLayers((topping,), (190, 240), 26, extents=(((90, 70), 24), ((120, 70), 2)))
    >>> [(each.piece_mm, each.to_cut) for each in pieces_of(caps)]
    [((90, 70), 24), ((120, 70), 2)]
    """
    before: Counter[tuple[str, str, Size]] = Counter()
    for each in job.cut_before:
        before[each.kind, each.method, each.piece_mm] += each.count
    wanted: list[tuple[LayerNeed, Sequence[tuple[Size, int]]]] = []
    for layer in job.layers if job.piece_mm is not None else ():
        by_extent = layer.by_extent and job.extents
        sizes = job.extents if by_extent else ((job.piece_mm or (0, 0), job.hoopings),)
        wanted.append((layer, sizes))
    wanted += [(each.layer, ((each.piece_mm, each.count),)) for each in job.fabric]
    for layer, own in wanted:
        for size, hoopings in own:
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
    fabric = tuple(each.first(hoopings) for each in job.fabric)
    return replace(job, hoopings=hoopings, extents=tuple(extents), fabric=fabric)

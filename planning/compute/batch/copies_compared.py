"""One copy a hooping against many: what each takes of time, hands and stabilizer."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from planning.compute.batch.asked import AskedDesign, Terms
from planning.compute.batch.carrying import Carried
from planning.compute.hooping.copies import HoopField, most_copies, smallest_hoop
from planning.compute.hooping.timing import hands_on_minutes, machine_minutes
from planning.compute.spools.bobbins import run_of_bobbins
from planning.compute.stitches.placing import field_needed


@dataclass(frozen=True)
class CopiesOption:
    """So many copies a hooping in the smallest hoop that holds them, and what that comes to over the batch.

    ``stabilizer_mm2`` is the area of all pieces of all layers, 0 where no layer or no piece size is known.
    """

    copies: int
    hoop: HoopField
    hoopings: int
    thread_changes: int
    rethreads: int
    machine_min: float
    hands_on_min: float
    stabilizer_pieces: int
    stabilizer_mm2: int
    is_planned: bool


@dataclass(frozen=True)
class SpoolHands:
    """Spools that end in the batch: how many are threaded for it alone, and how often the machine stands for one."""

    threaded: int = 0
    stops: int = 0

    def for_share(self, share: float) -> "SpoolHands":
        """Return as many of them as a batch has that is so many times as large, to the nearest whole.

        >>> SpoolHands(3, 1).for_share(2.5)
        SpoolHands(threaded=8, stops=2)
        """
        return SpoolHands(round(self.threaded * share), round(self.stops * share))


NO_SPOOLS = SpoolHands()


def boxes_needed(designs: Sequence[AskedDesign]) -> list[tuple[float, float]]:
    """Return width and height in mm of what each hooping of a piece stitches; of letterings, the largest counts."""
    numbers = sorted({design.hooping for design in designs})
    return [
        field_needed(
            (each.width_mm, each.height_mm, each.placement) for each in designs if each.hooping == number
        )
        for number in numbers
    ]


def compare_copies(
    carried: Carried, terms: Terms, *, bobbin_mm: float | None, spools: SpoolHands = NO_SPOOLS
) -> tuple[CopiesOption, ...]:
    """Return one copy a hooping beside the most that each hoop holds, and what is planned, fewest copies first.

    ``spools`` that end are the same however many are hooped together.
    Hoops that hold no more copies than a smaller one are left out. Nothing without a hoop that holds the designs.
    """
    boxes = boxes_needed(carried.designs)
    pieces = len(carried.pieces)
    counts = {min(most_copies(boxes, hoop), pieces) for hoop in terms.hoops} | {1, terms.copies_per_hooping}
    found = []
    for copies in sorted(counts - {0}):
        hoop = smallest_hoop(boxes, terms.hoops, copies=copies)
        if hoop is not None:
            found.append(_option(replace(carried, copies=copies), hoop, terms, bobbin_mm, spools))
    return tuple(found)


def batch_minutes(
    carried: Carried, terms: Terms, *, bobbin_changes: int, spools: SpoolHands = NO_SPOOLS
) -> tuple[float, float]:
    """Return the minutes that the batch holds the machine, and those that it holds the person."""
    carriers = list(zip(carried.designs, carried.counts, strict=True))
    machine_min = machine_minutes(
        terms.times,
        stitches=sum(count * design.stitches for design, count in carriers),
        trims=sum(count * design.trims for design, count in carriers),
        stops=sum(count * design.stops for design, count in carriers) + spools.stops,
        thread_changes=carried.thread_changes(),
    )
    hands_on_min = hands_on_minutes(
        terms.times,
        hoopings=carried.hoopings(),
        rethreads=carried.rethreads(needles=terms.times.needles) + spools.threaded,
        bobbin_changes=bobbin_changes,
    )
    hands_on_min += carried.fabric_pieces() * terms.applique_s / 60
    return machine_min, hands_on_min


def _option(
    carried: Carried, hoop: HoopField, terms: Terms, bobbin_mm: float | None, spools: SpoolHands
) -> CopiesOption:
    changes = 0
    if bobbin_mm:
        run = run_of_bobbins(carried.bobbin_loads(median=terms.bobbin_factor.median), bobbin_mm=bobbin_mm)
        changes = len(run.changes) + run.inside_blocks
    machine_min, hands_on_min = batch_minutes(carried, terms, bobbin_changes=changes, spools=spools)
    layers = sum(layer.count for layer in terms.layers if not layer.is_sprayed) if hoop.piece_mm else 0
    pieces = layers * carried.hoopings()
    width_mm, height_mm = hoop.piece_mm or (0, 0)
    return CopiesOption(
        copies=carried.copies,
        hoop=hoop,
        hoopings=carried.hoopings(),
        thread_changes=carried.thread_changes(),
        rethreads=carried.rethreads(needles=terms.times.needles),
        machine_min=machine_min,
        hands_on_min=hands_on_min,
        stabilizer_pieces=pieces,
        stabilizer_mm2=pieces * width_mm * height_mm,
        is_planned=carried.copies == terms.copies_per_hooping,
    )

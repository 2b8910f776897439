"""What a batch is asked for: its designs, the shelf it may use, and the terms it is planned on."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from inventory.compute.colour.lab import Lab
from inventory.compute.left_out import LeftOut
from planning.compute.buying.packs import PackOffer
from planning.compute.certainty.enough import BOBBIN_PRIOR, NEEDLE_PRIOR, Factor
from planning.compute.certainty.learned import Taught
from planning.compute.colour.choice import OwnedShade, OwnedSpool
from planning.compute.colour.sources import is_wish
from planning.compute.hooping.copies import HoopField
from planning.compute.hooping.timing import MachineTimes
from planning.compute.stabilizer.layers import CutBefore, LayerNeed
from planning.compute.stabilizer.supply import NO_LOSSES, Losses, StabilizerStock
from planning.compute.stitches.applique import AskedApplique
from planning.compute.stitches.placing import AS_DRAWN, Placement, scaled_sums
from planning.compute.stitches.thread_length import (
    BlockSums,
    ThreadSettings,
    bobbin_laid_mm,
    bobbin_per_kappa_mm,
    needle_laid_mm,
    needle_per_kappa_mm,
)
from planning.compute.stitches.warnings import FileWarning, graded


@dataclass(frozen=True)
class AskedBlock:
    """A colour block of a design: the colour it asks for (``hex`` empty and ``lab`` None: none) and its sums."""

    number: int
    hex: str
    lab: Lab | None
    name: str
    sums: BlockSums
    # How far ``lab`` may be off, where it is a shade's; zero where it is the colour itself that is asked for.
    sigma: float = 0.0
    # The block at which its thread was put on, where that one stays on; None where it is put on for this block.
    stays_from: int | None = None
    # Where the colour comes from: see planning.compute.colour.sources.
    source: str = ""
    # The fibre of the shade that a person named for it; empty where none was named.
    fibre: str = ""

    @property
    def is_wish(self) -> bool:
        """Whether the colour is one that a file carries, and that no person has asked for."""
        return self.lab is not None and is_wish(self.source)

    @property
    def threaded_at(self) -> int:
        """The number of the block for which its thread is put on.

        >>> sums = BlockSums(0.0, 0, 0.0, (), 0, 0, 0, 0.0)
        >>> AskedBlock(3, "", None, "", sums, stays_from=2).threaded_at, AskedBlock(4, "", None, "", sums).threaded_at
        (2, 4)
        """
        return self.number if self.stays_from is None else self.stays_from


@dataclass(frozen=True)
class AskedDesign:
    name: str
    sha256: str
    format: str
    width_mm: float
    height_mm: float
    stitches: int
    trims: int
    stops: int
    warnings: tuple[str, ...]
    blocks: tuple[AskedBlock, ...]
    placement: Placement = AS_DRAWN
    # Designs of one number are stitched in one hooping.
    hooping: int = 0
    # One a warning: see planning.compute.stitches.warnings.
    warning_grades: tuple[str, ...] = ()
    appliques: tuple[AskedApplique, ...] = ()

    @property
    def graded_warnings(self) -> tuple[FileWarning, ...]:
        return graded(self.warnings, self.warning_grades)


@dataclass(frozen=True)
class BobbinStock:
    """Full bobbins that fit the machine, all with ``length_mm`` on them."""

    thread: str
    count: int
    length_mm: float
    offers: tuple[PackOffer, ...] = ()
    price_each: float | None = None
    range_id: int = 0
    style_id: int = 0
    shade_id: int = 0
    parts: tuple[OwnedSpool, ...] = ()  # part-used bobbins of the same thread
    wind_from: tuple[OwnedSpool, ...] = ()  # spools of the same thread
    sigma: float = 0.0  # of the count, where it was reckoned by what jobs took


@dataclass(frozen=True)
class Shelf:
    """What is free to be used, and what can be bought."""

    shades: tuple[OwnedShade, ...]
    bobbins: BobbinStock | None
    stabilizer: tuple[StabilizerStock, ...]
    thread_offers: dict[int, tuple[PackOffer, ...]] = field(default_factory=dict)  # by shade
    on_offer: tuple[OwnedShade, ...] = ()  # shades that are not owned but sold by somebody
    left_out: tuple[LeftOut, ...] = ()  # what is on the shelf, or known, and is not among them
    notes: tuple[str, ...] = ()  # what of it is considered though not all is known of it


@dataclass(frozen=True)
class Terms:
    """The workshop's rules, its machine and its cloth, as far as a plan needs them."""

    thread: ThreadSettings
    times: MachineTimes
    layers: tuple[LayerNeed, ...]
    piece_mm: tuple[int, int] | None
    topping_margin_mm: int = 20
    losses: Losses = NO_LOSSES
    cut_before: tuple[CutBefore, ...] = ()
    test_pieces: int = 1
    spoilage: float = 0.03
    enough_at: float = 0.95
    tight_at: float = 0.5
    strictness: str = "picture"
    colour_limit: float = (
        5.0  # beyond this difference a thread is off colour; what it is depends on the strictness
    )
    currency: str = "EUR"
    machine_rate: float = 0.0
    hands_on_rate: float = 0.0
    working_minutes_a_day: float = 360.0
    applique_s: float = 0.0  # of hands, for each piece of fabric
    needle_factor: Factor = NEEDLE_PRIOR
    bobbin_factor: Factor = BOBBIN_PRIOR
    # ∂ ln length / ∂κ of the bobbin thread of all that is stitched, where the factors above were reckoned for it.
    bobbin_slope: float | None = None
    # What was learned of needle thread, by the id of its range; others are as before anything was learned.
    range_factors: Mapping[int, Factor] = field(default_factory=dict)
    # What the machine taught, which knows how satin and fill differ; without it the factors above stand as they are.
    taught: Taught | None = None
    bobbin_range: int = 0
    # (design, block number) to the id of the shade it is to have; a colour that several blocks ask for stays one.
    pinned: Mapping[tuple[int, int], int] = field(default_factory=dict)
    # Of the pinned, those that were said once for a colour of files.
    remembered: frozenset[tuple[int, int]] = frozenset()
    excluded: frozenset[int] = frozenset()  # ids of shades that are not to be used
    # Whether the needle threads of one piece are of one fibre: see planning.compute.colour.fibres.
    one_fibre: bool = False
    # Whether to look for what could be bought instead, and for runners-up: a page shows them, a queue does not.
    with_advice: bool = True
    copies_per_hooping: int = 1
    # The hoops a grid of copies may lie in; the plan sets them beside one another.
    hoops: tuple[HoopField, ...] = ()
    # The most stitches a minute that thread bears, by the id of its range; others bear whatever the machine does.
    borne_by_range: Mapping[int, int] = field(default_factory=dict)

    def at_speed_of(self, shades: Iterable[OwnedShade | None]) -> "Terms":
        """Return the terms with the machine no faster than the slowest of these threads bears."""
        borne = [self.borne_by_range.get(shade.range_id) for shade in shades if shade]
        slowest = min([self.times.stitches_per_minute, *filter(None, borne)])
        return replace(self, times=replace(self.times, stitches_per_minute=slowest))

    def factor_of(self, shade: OwnedShade | None, *, slope: float | None = None) -> Factor:
        """Return what is believed of thread of this shade, in blocks that change with κ by this ``slope``."""
        if self.taught is not None:
            return self.taught.factor(0, shade.range_id if shade else 0, slope=slope)
        return self.range_factors.get(shade.range_id, self.needle_factor) if shade else self.needle_factor

    def for_designs(self, designs: Sequence[AskedDesign]) -> "Terms":
        """Return the terms with the factors that such stitches have on this machine, where it taught any."""
        if self.taught is None:
            return self
        needle, bobbin = kappa_slopes(
            [scaled_sums(block.sums, each.placement) for each in designs for block in each.blocks],
            self.thread,
        )
        ranges = [range for kind, range in self.taught.ranges if kind == 0]
        return replace(
            self,
            needle_factor=self.taught.factor(0, 0, slope=needle),
            range_factors={range: self.taught.factor(0, range, slope=needle) for range in ranges},
            bobbin_factor=self.taught.factor(1, self.bobbin_range, slope=bobbin),
            bobbin_slope=bobbin,
        )


def kappa_slopes(blocks: Sequence[BlockSums], settings: ThreadSettings) -> tuple[float, float]:
    """Return ∂ ln length / ∂κ of the needle and the bobbin thread of ``blocks`` together; 0 where there is none."""
    needle, bobbin = (
        (sum(per_kappa(each, settings) for each in blocks), sum(length(each, settings) for each in blocks))
        for per_kappa, length in (
            (needle_per_kappa_mm, needle_laid_mm),
            (bobbin_per_kappa_mm, bobbin_laid_mm),
        )
    )
    return needle[0] / needle[1] if needle[1] else 0.0, bobbin[0] / bobbin[1] if bobbin[1] else 0.0

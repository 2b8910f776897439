"""What a batch is asked for: its designs, the shelf it may use, and the terms it is planned on."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from inventory.compute.colour import Lab
from planning.compute.certainty import BOBBIN_PRIOR, NEEDLE_PRIOR, Factor
from planning.compute.choosing import OwnedShade
from planning.compute.packs import PackOffer
from planning.compute.placing import AS_DRAWN, Placement
from planning.compute.stabilizing import LayerNeed, StabilizerStock
from planning.compute.thread_length import BlockSums, ThreadSettings
from planning.compute.timing import MachineTimes


@dataclass(frozen=True)
class AskedBlock:
    """A colour block of a design: the colour it asks for (``hex`` empty and ``lab`` None: none) and its sums."""

    number: int
    hex: str
    lab: Lab | None
    name: str
    sums: BlockSums
    # The block at which its thread was put on, where that one stays on; None where it is put on for this block.
    stays_from: int | None = None

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


@dataclass(frozen=True)
class BobbinStock:
    """Full bobbins that fit the machine, all with ``length_mm`` on them."""

    thread: str
    count: int
    length_mm: float
    offers: tuple[PackOffer, ...] = ()
    price_each: float | None = None


@dataclass(frozen=True)
class Shelf:
    """What is free to be used, and what can be bought."""

    shades: tuple[OwnedShade, ...]
    bobbins: BobbinStock | None
    stabilizer: tuple[StabilizerStock, ...]
    thread_offers: dict[int, tuple[PackOffer, ...]] = field(default_factory=dict)  # by shade
    on_offer: tuple[OwnedShade, ...] = ()  # shades that are not owned but sold by somebody


@dataclass(frozen=True)
class Terms:
    """The workshop's rules, its machine and its cloth, as far as a plan needs them."""

    thread: ThreadSettings
    times: MachineTimes
    layers: tuple[LayerNeed, ...]
    piece_mm: tuple[int, int] | None
    test_pieces: int = 1
    spoilage: float = 0.03
    enough_at: float = 0.95
    tight_at: float = 0.5
    colour_limit: float = 5.0
    currency: str = "EUR"
    machine_rate: float = 0.0
    hands_on_rate: float = 0.0
    needle_factor: Factor = NEEDLE_PRIOR
    bobbin_factor: Factor = BOBBIN_PRIOR
    # (design, block number) to the id of the shade it is to have; a colour that several blocks ask for stays one.
    pinned: Mapping[tuple[int, int], int] = field(default_factory=dict)
    excluded: frozenset[int] = frozenset()  # ids of shades that are not to be used

"""What is asked of the shelf: one value for a kept job and for a typed question alike, made of records."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

from inventory.compute.spoken import _
from inventory.models import ThreadRange
from planning.compute.batch.asked import AskedDesign
from planning.compute.hooping.pieces import PiecesToStitch, pieces_to_stitch
from planning.compute.stabilizer.layers import CutBefore, LayerNeed
from planning.facts.layers import layer_needs
from planning.facts.learning import Learned, learned_of
from planning.facts.remembered import NOTHING_REMEMBERED, Remembered, remembered_for_plans
from planning.models import Fabric, Hoop, Machine, Rules, Strictness, no_cloth
from planning.plan.pins import NO_PINS, JobPins

Copies = int | Literal["most"]


@dataclass(frozen=True)
class JobAsked:
    """Everything that a plan is made from, but the shelf.

    ``hoop`` is the one asked for, None for the smallest that does, and ``hoops`` are those of the machine, the
    smallest first. ``lettering`` is one design for each ordered piece, or none. What is set aside for ``holder``
    counts as free.
    """

    designs: tuple[AskedDesign, ...]
    lettering: tuple[AskedDesign, ...]
    pieces: int
    machine: Machine
    fabric: Fabric
    layers: tuple[LayerNeed, ...]
    hoop: Hoop | None
    hoops: tuple[Hoop, ...]
    rules: Rules
    known: Learned
    test_pieces: int
    copies: Copies = 1
    needed_on: date | None = None
    strictness: str = Strictness.PICTURE
    holder: str = ""
    # Shades as a person types them, which only the shelf tells apart: BLOCK=SHADE, and SHADE.
    typed_pins: tuple[str, ...] = ()
    typed_left_out: tuple[str, ...] = ()
    # What a job keeps to, and what it was promised with, by (design, block number) and id of the shade.
    pins: JobPins = NO_PINS
    settled: tuple[tuple[tuple[int, int], int], ...] = ()
    cut_before: tuple[CutBefore, ...] = ()
    # Those of other machines as well, to say which would hold what no hoop of this one does.
    every_hoop: tuple[Hoop, ...] = ()
    # Which shades stand for colours of files, as the workshop has said.
    remembered: Remembered = NOTHING_REMEMBERED
    # The most stitches a minute that thread bears, by the id of its range.
    borne_by_range: Mapping[int, int] = field(default_factory=dict)

    @property
    def every_design(self) -> tuple[AskedDesign, ...]:
        """The designs and, each once, the letterings, in the order in which a plan numbers them."""
        return (*self.designs, *dict.fromkeys(self.lettering))

    @property
    def to_stitch(self) -> PiecesToStitch:
        return pieces_to_stitch(self.pieces, test_pieces=self.test_pieces, spoilage=self.rules.spoilage)


@dataclass(frozen=True)
class WorkshopFacts:
    """What all that is asked has in common: the rules, the first machine, every hoop, what machines have taught."""

    rules: Rules
    first_machine: Machine | None
    every_hoop: tuple[Hoop, ...]
    known: Mapping[int, Learned] = field(default_factory=dict)
    remembered: Remembered = NOTHING_REMEMBERED
    borne_by_range: Mapping[int, int] = field(default_factory=dict)

    def machine(self, own: Machine | None) -> Machine:
        """Return ``own``, or else the workshop's first machine, or one with stated defaults where none is kept."""
        return own or self.first_machine or Machine(name=_("a usual machine"))

    def asked(
        self,
        designs: Iterable[AskedDesign],
        lettering: Iterable[AskedDesign] = (),
        *,
        pieces: int,
        machine: Machine | None,
        fabric: Fabric | None,
        tests: int | None,
        **particulars: Any,
    ) -> JobAsked:
        """Return what is asked; None means the first machine, the plain cloth, tests as the rules say."""
        machine, fabric = self.machine(machine), fabric or no_cloth()
        return JobAsked(
            designs=tuple(designs),
            lettering=tuple(lettering),
            pieces=pieces,
            machine=machine,
            fabric=fabric,
            layers=layer_needs(fabric),
            hoops=self._hoops_of(machine),
            every_hoop=self.every_hoop,
            remembered=self.remembered,
            borne_by_range=self.borne_by_range,
            rules=self.rules,
            known=self.known.get(machine.pk, Learned()),
            test_pieces=self.rules.test_pieces if tests is None else tests,
            **particulars,
        )

    def _hoops_of(self, machine: Machine) -> tuple[Hoop, ...]:
        if machine.pk is None:
            return self.every_hoop
        own = {hoop.pk for hoop in machine.hoops.all()}
        return tuple(hoop for hoop in self.every_hoop if hoop.pk in own)


def workshop_facts(machines: Sequence[Machine | None]) -> WorkshopFacts:
    """Return what is known for these ``machines`` (None: the first), in a number of queries that does not grow."""
    first = Machine.objects.select_related("bobbin_style").prefetch_related("hoops").first()
    own = {each.pk: each for each in (first, *machines) if each is not None and each.pk is not None}
    return WorkshopFacts(
        rules=Rules.current(),
        first_machine=first,
        every_hoop=tuple(Hoop.objects.smallest_first().prefetch_related("machines")),
        known=learned_of(own.values()),
        remembered=remembered_for_plans(),
        borne_by_range=_speeds_borne(),
    )


def _speeds_borne() -> dict[int, int]:
    """Return the most stitches a minute that thread bears, by the id of its range, where anybody has said so."""
    asking = ThreadRange.objects.filter(most_stitches_per_minute__isnull=False)
    return {pk: speed for pk, speed in asking.values_list("pk", "most_stitches_per_minute") if speed}

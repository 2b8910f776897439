"""A season of invented jobs in a workshop that is really there: some follow the sheet and weigh, some do not."""

import random
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pyembroidery

from inventory.models import BobbinBatch, PartBobbin, Shade, Spool, StabilizerRoll
from inventory.shelf.bobbins import wind_bobbins
from planning.compute.run.state import spool_on
from planning.cutting.cuts import jobs_to_cut, plan_cuts, post_cut
from planning.jobs.jobs import JobFacts, make_job
from planning.library.designs import keep_design
from planning.models import Design, Fabric, Hoop, Job, Layer, Machine, RunEvent
from planning.run.finish import Ending, WeighedBack, finish
from planning.run.promise import promise
from planning.run.stabilizer import stabilizer_use
from planning.run.standing import Run, run_of, spools_of
from planning.run.ticks import Happening, begin, note, take_back
from planning.stitch_files.reading import read_design_file
from tests.factories import (
    NOW,
    a_bobbin_style,
    a_key,
    a_range,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    some_bobbins,
)
from tests.planning.run.seasons.true_workshop import (
    Block,
    TrueMachine,
    TrueWorkshop,
    fill,
    laid_mm,
    satin,
)

COLOURS = [
    "#b01c2e", "#1c2b8d", "#1f5a39", "#e8bf72", "#202020", "#f2f2ee", "#7a3b8f", "#e8761c", "#57a8d8", "#8a5a2b",
]  # fmt: skip
Kind = RunEvent.Kind


@dataclass(frozen=True)
class Habit:
    """How somebody works: whether the sheet is followed and things are told, and what is weighed and counted."""

    share: float
    follows_sheet: bool
    tells: float
    weighs: float
    scale_mg: int
    counts_bobbins: float


HABITS = (
    Habit(0.4, True, 1.0, 1.0, 100, 1.0),
    Habit(0.4, True, 0.9, 0.6, 1_000, 0.3),
    Habit(0.2, False, 0.7, 0.0, 1_000, 0.0),
)


@dataclass(frozen=True)
class Piece:
    """A design as it is drawn: the points of each block, with its colour."""

    design: Design
    blocks: tuple[tuple[str, Block], ...]


class Season:
    """A workshop, its shelf and sixty jobs; ``truth`` is what is really there."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.rng = random.Random(seed)
        self.truth = TrueWorkshop(self.rng)
        self.now = NOW
        self.winder = self.rng.uniform(0.92, 1.08)
        self.cloth = [
            self._fabric("twill", 0.6, "tear-away"),
            self._fabric("jersey", 0.9, "cut-away"),
        ]
        self.machines = [self._machine("one needle", 1), self._machine("six needles", 6)]
        self.ranges = [a_range("Skerry", "Forty"), a_range("Brough", "Strand", tex=30.0)]
        self.shades = [
            a_shade(f"{range.maker[0]}{number}", hex=colour, range=range)
            for range, colours in zip(self.ranges, (COLOURS[:5], COLOURS[5:]), strict=True)
            for number, colour in enumerate(colours)
        ]
        for shade in self.shades:
            for _ in range(4):
                self.buy(shade)
        self.truth.batch_came(some_bobbins(count=250, metres=80), off=0.035)
        for _ in range(3):
            self._wind()
        for product in ("tear-away", "cut-away"):
            weight = 50.0 if product == "tear-away" else 70.0
            for _ in range(4):
                self.truth.roll_came(a_roll(a_stabilizer(product, weight_g_m2=weight), metres=25))
        self.pieces = [self._piece(number, folder) for number in range(7)]
        self.told: dict[str, int] = {
            "jobs": 0,
            "swaps": 0,
            "breaks": 0,
            "spoiled": 0,
            "tension": 0,
            "weighed": 0,
            "bobbins": 0,
        }

    def _fabric(self, name: str, thickness: float, kind: str) -> Fabric:
        fabric = Fabric.objects.create(name=name, thickness_mm=thickness)
        Layer.objects.create(fabric=fabric, kind=kind, count=1)
        return fabric

    def _machine(self, name: str, needles: int) -> tuple[Machine, TrueMachine]:
        hoop = Hoop.objects.get_or_create(
            name="medium",
            defaults={
                "field_width_mm": 130,
                "field_height_mm": 180,
                "ring_width_mm": 150,
                "ring_height_mm": 200,
            },
        )[0]
        machine = Machine.objects.create(name=name, needles=needles, bobbin_style=a_bobbin_style())
        machine.hoops.add(hoop)
        rng = self.rng
        true = TrueMachine(
            kappa=rng.uniform(0.18, 0.33),
            thickness_mm=rng.uniform(0.8, 1.25),
            interlock=rng.uniform(0.65, 0.85),
            needle_tails_mm=rng.uniform(40, 75),
            bobbin_tails_mm=rng.uniform(35, 65),
            path_mm=rng.uniform(450, 800),
            needles=needles,
            bobbin_drag=rng.uniform(0.93, 1.07),
        )
        return machine, true

    def buy(self, shade: Shade) -> Spool:
        made = a_spool(shade, metres=1000)
        spool = Spool.objects.select_related("shade__range", "put_up").get(pk=made.pk)
        self.truth.spool_came(spool)
        return spool

    def _wind(self) -> BobbinBatch:
        """Wind bobbins from a cone, as far as the winder's stop really lets them."""
        under = a_range("Skerry", "Under", purpose="bobbin", tex=16.67, weight_label="60")
        shade = under.shades.first() or a_shade("W", hex="#ffffff", range=under, name="white")
        cone = Spool.objects.filter(shade=shade, on_hand__gt=3_000_000).first()
        if cone is None:
            made = a_spool(shade, metres=10_000)
            cone = Spool.objects.select_related("shade__range", "put_up").get(pk=made.pk)
            self.truth.spool_came(cone)
        about = {"key": a_key(), "at": self.now, "by": None}
        batch = wind_bobbins(cone, style=a_bobbin_style(), count=40, length_mm=78_000, **about)
        self.truth.bobbins[batch.pk] = batch.on_hand
        self.truth.bobbin_mm[batch.pk] = batch.length_mm * self.winder
        self.truth.mm[cone.pk] -= 40 * self.truth.bobbin_mm[batch.pk]
        return batch

    def _piece(self, number: int, folder: Path) -> Piece:
        """Return a design of some satin columns and fills, written as a stitch file and read back by the program."""
        rng = self.rng
        blocks: list[tuple[str, Block]] = []
        for block, colour in enumerate(rng.sample(COLOURS, rng.randint(1, 4))):
            at = (rng.uniform(0, 20), 25.0 * block)
            points: Block = []
            for _ in range(rng.randint(3, 7)):
                if rng.random() < 0.5:
                    points += satin(rng.uniform(2, 7), rng.uniform(30, 120), at=at)
                else:
                    points += fill(rng.uniform(20, 60), rng.uniform(5, 20), at=at)
            blocks.append((colour, points))
        pattern = pyembroidery.EmbPattern()
        for block, (colour, points) in enumerate(blocks):
            if block:
                pattern.color_change()
            pattern.add_thread({"hex": colour})
            for x, y in points:
                pattern.stitch_abs(round(10 * x), round(10 * y))
            pattern.trim()
        pattern.end()
        path = folder / f"season-{number}.pes"
        pyembroidery.write(pattern, str(path), {"pes version": 6})
        design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
        return Piece(design, tuple(blocks))

    def through(self, jobs: int) -> None:
        """Do so many jobs, one after another, over most of a year."""
        for number in range(jobs):
            self.now += timedelta(days=self.rng.uniform(2, 6))
            self._one_job(number)

    def _one_job(self, number: int) -> None:
        rng = self.rng
        machine, true = rng.choice(self.machines)
        piece = rng.choice(self.pieces)
        habit = rng.choices(HABITS, weights=[each.share for each in HABITS])[0]
        facts = JobFacts(
            what=f"season {number}",
            pieces=rng.randint(2, 12),
            tests=rng.randint(0, 1),
            machine=machine,
            fabric=rng.choice(self.cloth),
        )
        made = make_job(facts, designs=[piece.design], at=self.now, by=None)
        job = Job.objects.with_everything().get(pk=made.pk)
        promise(job, at=self.now, by=None, although_short=True)
        cut_before = rng.random() < 0.4
        if cut_before:
            self._cut(job)
        begin(job, at=self.now)
        JobAtMachine(self, job, piece, machine, true, habit).stitch()
        self.told["jobs"] += 1

    def _cut(self, job: Job) -> None:
        cut = plan_cuts(jobs_to_cut([job.pk]))
        if cut.cuts:
            self.scissors(cut)
            post_cut([job], shown=None, key=a_key(), at=self.now, by=None)

    def scissors(self, cut) -> None:
        """Cut what the sheet says, as far as a hand with scissors does; now and then a strip goes wrong."""
        truth, rng = self.truth, self.rng
        for product in cut.cuts:
            for source in product.plan.sources:
                if not source.is_roll or not source.roll_mm:
                    continue
                roll = StabilizerRoll.objects.get(label=source.label)
                truth.mm[roll.pk] -= source.roll_mm
                for strip in source.strips:
                    truth.mm[roll.pk] -= truth.hand_mm + rng.gauss(0, 2.0)
                    if rng.random() < 0.02:
                        truth.mm[roll.pk] -= strip.height_mm


class JobAtMachine:
    """One job at one machine, piece by piece, with what really happens to thread and bobbins."""

    def __init__(
        self,
        season: Season,
        job: Job,
        piece: Piece,
        machine: Machine,
        true: TrueMachine,
        habit: Habit,
    ) -> None:
        self.season, self.job, self.piece, self.machine, self.true, self.habit = (
            season, job, piece, machine, true, habit,
        )  # fmt: skip
        self.rng, self.truth = season.rng, season.truth
        self.scatter = self.rng.triangular(0.86, 1.16, 1.0)
        self.bobbin_scatter = self.rng.triangular(0.86, 1.16, 1.0)
        self.bobbins_in = 0.0
        self.pieces_on = 0
        self.begun = season.now

    def tell(self, kind: str, **more) -> RunEvent:
        self.season.now += timedelta(minutes=self.rng.uniform(1, 15))
        return note(self.job, Happening(kind, key=a_key(), **more), at=self.season.now, by=None)

    def stitch(self) -> None:
        self._first_bobbin()
        while (run := run_of(self.job)).left:
            self._one_piece(run)
            if self.rng.random() < 0.02:
                self._tension()
        self._finish()

    def _first_bobbin(self) -> None:
        if not self.habit.follows_sheet and self.true.in_case_mm > 0:
            return  # goes on with what is in the case, whatever the sheet says
        label = run_of(self.job).promise.first_bobbin
        part = PartBobbin.objects.filter(label=label).first() if label else None
        if part is None:
            self._full_in()
        else:
            self.true.in_case_mm = self.truth.mm.get(part.pk, 0.0)
            self.truth.mm[part.pk] = 0.0

    def _full_in(self) -> bool:
        """Put a full bobbin in, out of the box that is open; return whether there was one."""
        kept = run_of(self.job).promise.bobbin_mm
        boxes = BobbinBatch.objects.filter(pk__in=self.truth.bobbins).order_by("label")
        of_kind = [each for each in boxes if each.length_mm == kept and self.truth.bobbins[each.pk] > 0]
        for box in of_kind or [each for each in boxes if self.truth.bobbins[each.pk] > 0]:
            self.truth.bobbins[box.pk] -= 1
            self.true.in_case_mm = self.truth.bobbin_mm[box.pk] * self.rng.uniform(0.98, 1.02)
            self.bobbins_in += 1
            return True
        return False

    def _one_piece(self, run: Run) -> None:
        rng, position = self.rng, run.left[0]
        due = [each for each in run.bobbins.coming if each.position <= self.pieces_on + 1]
        if self.habit.follows_sheet:
            for change in due:
                part = PartBobbin.objects.filter(label=change.label).first() if change.label else None
                if part is None:
                    self._full_in()
                else:
                    self.true.in_case_mm, self.truth.mm[part.pk] = self.truth.mm.get(part.pk, 0.0), 0.0
        taken = self._thread_of_a_piece(run)
        for order, needle_mm in taken.items():
            self._off_spool(run, order, position, needle_mm)
        self._bobbin(sum(self.bobbin_mm.values()), position)
        spoiled = position > run.promise.tests and rng.random() < 0.03
        if rng.random() < 0.12:
            self._mishap(run, position)
        event = self.tell(Kind.SPOILED if spoiled else Kind.PIECE)
        if rng.random() < 0.02:
            take_back(event, key=a_key(), at=self.season.now, by=None)
            self.tell(Kind.SPOILED if spoiled else Kind.PIECE)
        self.season.told["spoiled"] += spoiled
        self.pieces_on += 1

    def _thread_of_a_piece(self, run: Run) -> dict[int, float]:
        """Return the needle thread that the piece takes of each thread of the run; the bobbin's is kept beside."""
        needle: dict[int, float] = {}
        self.bobbin_mm: dict[int, float] = {}
        rng, true = self.rng, self.true
        for record in run.records:
            drag = self.truth.drag.get(record.shade.range_id, 1.0) if record.shade else 1.0
            for _, number in record.blocks:
                key = (self.piece.design.pk, number, true.kappa)
                if key not in true.known:
                    true.known[key] = laid_mm(self.piece.blocks[number - 1][1], true)
                up, under = true.known[key]
                up = up * drag * self.scatter * rng.uniform(0.97, 1.03) + true.needle_tails_mm
                under = under * true.bobbin_drag * self.bobbin_scatter * rng.uniform(0.97, 1.03)
                needle[record.order] = needle.get(record.order, 0.0) + up
                self.bobbin_mm[record.order] = (
                    self.bobbin_mm.get(record.order, 0.0) + under + true.bobbin_tails_mm
                )
            if true.needles == 1 and len(run.records) > 1:
                needle[record.order] += true.path_mm
        return needle

    def _off_spool(self, run: Run, order: int, position: int, needle_mm: float) -> None:
        """Take thread off the spool that is on; where it really runs out, another goes on, and that is told."""
        thread = next(each for each in run.threads if each.order == order)
        on = spool_on(thread, position, run_of(self.job).swaps)
        if on is None:
            on = self._another(run, order, without=None)
            self.tell(Kind.SPOOL, position=position, thread=order, label=Spool.objects.get(pk=on).label)
        have = self.truth.mm[on]
        self.truth.mm[on] = max(0.0, have - needle_mm)
        if have < needle_mm:
            other = self._another(run, order, without=on)
            spool = Spool.objects.get(pk=other)
            self.tell(Kind.SPOOL, position=position, thread=order, label=spool.label, left="nothing")
            self.truth.mm[other] -= needle_mm - have
            self.season.told["swaps"] += 1

    def _another(self, run: Run, order: int, *, without: int | None) -> int:
        record = next(each for each in run.records if each.order == order)
        shade = record.shade or self.season.shades[0]
        others = Spool.objects.on_the_shelf().filter(shade=shade).exclude(pk=without)
        fullest = max(others, key=lambda each: self.truth.mm.get(each.pk, 0.0), default=None)
        if fullest is None or self.truth.mm[fullest.pk] < 100_000:
            fullest = self.season.buy(shade)
        return fullest.pk

    def _bobbin(self, mm: float, position: int) -> None:
        while mm > self.true.in_case_mm:
            mm -= self.true.in_case_mm
            self.true.in_case_mm = 0.0
            if not self._full_in():
                return
            if self.rng.random() < self.habit.tells and self.habit.follows_sheet:
                self.tell(Kind.BOBBIN, position=position, again=True)
                self.season.told["bobbins"] += 1
        self.true.in_case_mm -= mm

    def _mishap(self, run: Run, position: int) -> None:
        rng = self.rng
        record = rng.choice(run.records)
        on = spool_on(
            next(each for each in run.threads if each.order == record.order), position, run_of(self.job).swaps
        )
        if on is None:
            return
        if rng.random() < 0.6:
            lost = self.true.path_mm * rng.uniform(0.6, 1.8)
            kind, more = Kind.BREAK, {}
        else:
            told = rng.choice([0.25, 0.5, 0.75])
            really = min(1.0, told * rng.uniform(0.7, 1.3))
            geometry = self._thread_of_a_piece(run)
            lost, kind, more = geometry[record.order] * really, Kind.RESTITCH, {"share": told}
            self._bobbin(self.bobbin_mm[record.order] * really, position)
        self.truth.mm[on] = max(0.0, self.truth.mm[on] - lost)
        if rng.random() < self.habit.tells:
            self.tell(kind, position=position, thread=record.order, again=True, **more)
            self.season.told["breaks"] += 1

    def _tension(self) -> None:
        """Somebody turns the screw, and says so."""
        before = self.true.kappa
        self.true.kappa = self.rng.uniform(0.15, 0.36)
        self.tell(Kind.TENSION, again=True, showing="more" if self.true.kappa < before else "less")
        self.season.told["tension"] += 1

    def _finish(self) -> None:
        rng, habit = self.rng, self.habit
        run = run_of(self.job)
        weighed = tuple(
            WeighedBack(
                spool.label,
                self.truth.on_scale(spool, step_mg=habit.scale_mg),
                sure=True,
            )
            for spool in Spool.objects.filter(pk__in=spools_of(run)).select_related("shade__range")
            if rng.random() < habit.weighs
        )
        bobbins = None
        if self.bobbins_in and rng.random() < habit.counts_bobbins:
            bobbins = max(0.0, self.bobbins_in - self._share_left())
        self.season.told["weighed"] += len(weighed)
        cut = stabilizer_use(run).cut
        if cut is not None:
            self.season.scissors(cut)
        self.season.now += timedelta(minutes=10)
        finish(self.job, Ending(weighed=weighed, bobbins=bobbins), at=self.season.now, by=None)

    def _share_left(self) -> float:
        """Return what a person sees on the last bobbin, as a share of a full one."""
        full = run_of(self.job).promise.bobbin_mm or 1
        return min(0.9, max(0.0, round((self.true.in_case_mm / full + self.rng.gauss(0, 0.1)) * 4) / 4))

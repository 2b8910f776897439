"""Whatever happens at the machine, in whatever order and however much of it is taken back, all accounts agree.

What must be on every spool is worked out here anew after each step, from a list of what was done and nothing else.
"""

import math
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.db import transaction
from hypothesis import seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.compute.errors import WorkshopError
from inventory.ledger import ledger_problems
from inventory.models import BobbinBatch, Entry, Reservation, Spool, StockItem
from inventory.shelf.counts import count_item
from planning.models import Job, RunEvent
from planning.run.finish import Ending, finish
from planning.run.promise import promise
from planning.run.reopen import reopen
from planning.run.report import report_facts
from planning.run.standing import run_of, spools_of, used_so_far
from planning.run.ticks import Happening, begin, note, take_back
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins
from tests.planning.run.jobs import BLUE, RED, a_job

Kind = RunEvent.Kind
threads = st.integers(min_value=1, max_value=2)
which = st.integers(min_value=0, max_value=30)


@dataclass
class Done:
    """One thing done, as this test remembers it."""

    kind: str
    position: int
    event: RunEvent | None
    thread: int = 0
    spool: int = 0
    share: float = 1.0
    # A spool and what was found on it.
    found: tuple[int, int] | None = None
    is_back: bool = field(default=False)


class AnyRun(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.transaction = transaction.atomic()
        self.transaction.__enter__()

    @initialize()
    def workshop(self) -> None:
        red, blue = a_shade(hex=RED), a_shade(hex=BLUE)
        self.spools = [a_spool(shade, left_m=900) for shade in (red, blue)]
        self.spools += [a_spool(shade, left_m=left) for shade in (red, blue) for left in (40, 6)]
        some_bobbins(count=20)
        a_roll()
        self.job = a_job(TestAnyRun.file)
        self.start = {spool.pk: spool.on_hand for spool in self.spools}
        promise(self.job, at=NOW, by=None)
        begin(self.job, at=NOW)
        run = run_of(self.job)
        self.planned = {record.order: record.spools.get().item_id for record in run.records}
        self.done: list[Done] = []
        # The full bobbins that are gone as a person counted them at the end; None: as they were ticked.
        self.bobbins_counted: float | None = None

    def _note(self, kind: str, *, twice: bool = False, **more: Any) -> RunEvent | None:
        happening = Happening(kind, key=a_key(), again=True, **more)
        try:
            event = note(self.job, happening, at=NOW, by=None)
        except WorkshopError:
            return None
        if twice:
            assert note(self.job, happening, at=NOW, by=None) == event
        return event

    def is_running(self) -> bool:
        return self.job.state == Job.State.RUNNING

    @precondition(is_running)
    @rule(
        spoiled=st.sampled_from([False, False, True]),
        ahead=st.sampled_from([0, 0, 0, 2]),
        twice=st.booleans(),
    )
    def tick(self, spoiled: bool, ahead: int, twice: bool) -> None:
        left = run_of(self.job).left
        kind = Kind.SPOILED if spoiled else Kind.PIECE
        if not left:
            return
        event = self._note(kind, position=left[min(ahead, len(left) - 1)], twice=twice)
        if event:
            self.done.append(Done(kind, event.position, event))

    @precondition(is_running)
    @rule(thread=threads)
    def breaks(self, thread: int) -> None:
        event = self._note(Kind.BREAK, thread=thread)
        if event:
            self.done.append(Done(Kind.BREAK, event.position, event, thread))

    @precondition(is_running)
    @rule(thread=threads, share=st.sampled_from([0.5, 1.0]), twice=st.booleans())
    def stitched_again(self, thread: int, share: float, twice: bool) -> None:
        event = self._note(Kind.RESTITCH, thread=thread, share=share, twice=twice)
        if event:
            self.done.append(Done(Kind.RESTITCH, event.position, event, thread, share=share))

    @precondition(is_running)
    @rule(thread=threads, spool=which, left=st.sampled_from(["", "", "nothing", "little"]), at=which)
    def swap(self, thread: int, spool: int, left: str, at: int) -> None:
        chosen = self.spools[spool % len(self.spools)]
        run = run_of(self.job)
        position = None if at > 12 else at % (run.promise.to_stitch) + 1
        event = self._note(Kind.SPOOL, thread=thread, label=chosen.label, left=left, position=position)
        if event is None:
            return
        off = self._on(thread, event.position)
        found = (off, {"nothing": 0, "little": 10_000}[left]) if left else None
        self.done.append(Done(Kind.SPOOL, event.position, event, thread, chosen.pk, found=found))

    @precondition(is_running)
    @rule()
    def bobbin(self) -> None:
        event = self._note(Kind.BOBBIN)
        if event:
            self.done.append(Done(Kind.BOBBIN, event.position, event))

    @precondition(is_running)
    @rule(showing=st.sampled_from(["more", "thirds", "less"]))
    def tension(self, showing: str) -> None:
        event = self._note(Kind.TENSION, showing=showing)
        if event:
            self.done.append(Done(Kind.TENSION, event.position, event))

    @precondition(is_running)
    @rule(kind=st.sampled_from([Kind.NEEDLE, Kind.STOP]))
    def needle_or_stop(self, kind: str) -> None:
        event = self._note(kind)
        # A needle that was changed stays changed: it is not among what is taken back.
        if event and kind == Kind.STOP:
            self.done.append(Done(kind, event.position, event))

    @precondition(is_running)
    @rule(verdict=st.sampled_from(["go on", "change"]))
    def test_judged(self, verdict: str) -> None:
        event = self._note(Kind.TEST, test_verdict=verdict, note="tension")
        if event:
            self.done.append(Done(Kind.TEST, event.position, event))

    @rule(spool=which, metres=st.sampled_from([30, 200, 700]))
    def measured_on_the_shelf(self, spool: int, metres: int) -> None:
        chosen = self.spools[spool % len(self.spools)]
        count_item(chosen, quantity=metres * 1000, key=a_key(), at=NOW, by=None)
        self.done.append(Done("measured", 0, None, found=(chosen.pk, metres * 1000)))

    @precondition(is_running)
    @rule(number=which, twice=st.booleans())
    def taken_back(self, number: int, twice: bool) -> None:
        standing = [each for each in self.done if each.event and not each.is_back]
        if not standing:
            return
        chosen = standing[number % len(standing)]
        key = a_key()
        try:
            take_back(chosen.event, key=key, at=NOW, by=None)
        except WorkshopError:
            return
        if twice:
            take_back(chosen.event, key=key, at=NOW, by=None)
        chosen.is_back = True

    @precondition(is_running)
    @rule(counted=st.sampled_from([None, None, 0.0, 1.0, 1.5, 2.25]), keeps_rest=st.booleans())
    def finished(self, counted: float | None, keeps_rest: bool) -> None:
        keeps_rest = keeps_rest and counted is not None and counted != math.floor(counted)
        ending = Ending(although_unfinished=True, bobbins=counted, keep_bobbin=keeps_rest)
        report = finish(self.job, ending, at=NOW, by=None)
        if counted is not None:
            self.bobbins_counted = counted if keeps_rest else math.ceil(counted)
        used = {}
        for thread in report.facts["threads"]:
            for spool in thread["spools"]:
                used[spool["label"]] = used.get(spool["label"], 0) + spool["used_mm"]
        ledger = used_so_far(self.job)
        for spool in self.spools:
            assert used.get(spool.label, 0) == ledger.get(spool.pk, 0)
        assert not Reservation.objects.filter(holder=self.job.holder).exists()

    @precondition(lambda self: self.job.state == Job.State.FINISHED)
    @rule()
    def opened_again(self) -> None:
        reopen(self.job, why="one more came back", at=NOW, by=None)
        self.bobbins_counted = None

    def _on(self, thread: int, position: int, before: Done | None = None) -> int:
        on, best = self.planned[thread], (0, -1)
        for number, each in enumerate(self.done):
            if each.kind != Kind.SPOOL or each.is_back or each.thread != thread or each.position > position:
                continue
            if before is not None and each.position == position and number > self.done.index(before):
                continue
            if (each.position, number) >= best:
                on, best = each.spool, (each.position, number)
        return on

    def _reckoned(self) -> tuple[dict[int, int], dict[int, int]]:
        """Return what must be on each spool, and what the run must have taken of it."""
        run = run_of(self.job)
        held, used = dict(self.start), dict.fromkeys(self.start, 0)

        def take(spool: int, length_mm: int) -> None:
            taken = min(length_mm, held[spool])
            held[spool] -= taken
            used[spool] += taken

        lost = round(run.machine.threaded_path_mm + run.machine.needle_tail_start_mm)
        for each in self.done:
            if each.is_back:
                continue
            if each.kind in (Kind.PIECE, Kind.SPOILED):
                for thread in run.threads:
                    take(self._on(thread.order, each.position), round(thread.length_at(each.position)))
            elif each.kind == Kind.BREAK:
                take(self._on(each.thread, each.position, each), lost)
            elif each.kind == Kind.RESTITCH:
                thread = run.threads[each.thread - 1]
                length_mm = thread.geometry_at(each.position) * each.share * thread.median
                take(self._on(each.thread, each.position, each), round(length_mm))
            elif each.found:
                spool, quantity = each.found
                if each.kind == Kind.SPOOL:
                    used[spool] += held[spool] - quantity
                held[spool] = quantity
        return held, used

    @invariant()
    def all_accounts_agree(self) -> None:
        if not hasattr(self, "done"):
            return
        assert not ledger_problems()
        held, used = self._reckoned()
        shelf = dict(StockItem.objects.filter(pk__in=held).values_list("pk", "on_hand"))
        assert shelf == held
        booked = used_so_far(self.job)
        assert {pk: booked.get(pk, 0) for pk in used} == used
        run = run_of(self.job)
        on_page = spools_of(run)
        assert {pk: each.estimated_mm for pk, each in on_page.items() if each.estimated_mm} == {
            pk: quantity for pk, quantity in used.items() if quantity
        }
        facts = report_facts(run, weighed=[], machine_min=None, bobbins=0, found_under=[])
        reported: dict[str, int] = {}
        for thread in facts["threads"]:
            for spool in thread["spools"]:
                reported[spool["label"]] = reported.get(spool["label"], 0) + spool["used_mm"]
        labels = dict(Spool.objects.filter(pk__in=used).values_list("pk", "label"))
        assert {label: each for label, each in reported.items() if each} == {
            labels[pk]: quantity for pk, quantity in used.items() if quantity
        }
        full, part = (
            sum(each.quantity for each in Entry.objects.filter(item__kind=kind).exclude(reason="receive"))
            for kind in ("bobbins", "part_bobbin")
        )
        each_mm = BobbinBatch.objects.get().length_mm
        gone = run.bobbins.full if self.bobbins_counted is None else self.bobbins_counted
        assert -full - part / each_mm == gone

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.transaction.__exit__(None, None, None)


class TestAnyRun:
    file: Any = None

    @pytest.mark.django_db
    @pytest.mark.parametrize(
        ("runs", "steps", "drawn"),
        [
            (6, 15, 0),
            # Two hundred runs of forty steps, in five parts for as many cores as there are.
            *(pytest.param(40, 40, number, marks=pytest.mark.thorough) for number in range(1, 6)),
            pytest.param(200, 40, None, marks=pytest.mark.exhaustive),
        ],
    )
    def test_any_order_of_events_leaves_all_accounts_agreeing(
        self, runs: int, steps: int, drawn: int | None, workshop, stitch_file
    ) -> None:
        TestAnyRun.file = stitch_file(RED, BLUE, name="badge.pes", stitches=400)
        few = settings(max_examples=runs, stateful_step_count=steps, derandomize=False, print_blob=True)
        any_run = type("AnyRun", (AnyRun,), {})
        run_state_machine_as_test(any_run if drawn is None else seed(drawn)(any_run), settings=few)

    @pytest.mark.django_db
    def test_a_part_taken_back_below_a_finding_stays_taken_back_without_it(
        self, workshop, stitch_file
    ) -> None:
        TestAnyRun.file = stitch_file(RED, BLUE, name="badge.pes", stitches=400)
        run = AnyRun()
        run.workshop()
        run.stitched_again(share=1.0, thread=1, twice=True)
        run.stitched_again(share=0.5, thread=1, twice=True)
        run.swap(thread=1, spool=2, left="nothing", at=22)
        run.taken_back(number=0, twice=False)
        run.all_accounts_agree()

        run.taken_back(number=1, twice=True)

        run.all_accounts_agree()
        run.teardown()

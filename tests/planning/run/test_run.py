"""A job from its promise to its report: stock set aside, ticks, mishaps, weighing back, and what is learned."""

from decimal import Decimal

import pytest

from inventory.compute.lengths import ScaleReading
from inventory.ledger import ledger_problems, set_aside, use
from inventory.models import Reservation, Spool, StockItem
from planning.cutting.cuts import fingerprint, jobs_to_cut, plan_cuts, post_cut
from planning.cutting.outlook import stabilizer_outlooks
from planning.facts.learning import learned, machine_learned
from planning.jobs.jobs import JobFacts, NotInThisState, change_job, delete_job, make_job, plan_of
from planning.library.designs import keep_design
from planning.models import Fabric, Job, Machine, Observation, RunEvent
from planning.run.finish import Ending, WeighedBack, drop, finish
from planning.run.promise import CannotPromise, pick_up, promise, same_again, take_promise_back
from planning.run.standing import run_of, used_so_far
from planning.run.ticks import AlreadyTicked, Happening, begin, note, stop_before_the_first, take_back
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#1c2b8d"
Kind = RunEvent.Kind


@pytest.fixture
def red(workshop) -> Spool:
    return a_spool(a_shade("R", hex=RED, name="harbour red"), left_m=900)


@pytest.fixture
def blue(workshop) -> Spool:
    return a_spool(a_shade("B", hex=BLUE, name="deep blue"), left_m=900)


@pytest.fixture
def bobbins(workshop):
    return some_bobbins(count=20)


@pytest.fixture
def job(stitch_file, red, blue, bobbins) -> Job:
    a_roll()
    path = stitch_file(RED, BLUE, name="badge.pes", stitches=400)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    wanted = JobFacts(what="crew caps", pieces=6, tests=1, machine=Machine.objects.first())
    made = make_job(wanted, designs=[design], at=NOW, by=None)
    return again(made)


def again(job: Job) -> Job:
    return Job.objects.with_everything().get(pk=job.pk)


def held(item: StockItem) -> StockItem:
    return StockItem.objects.get(pk=item.pk)


def running(job: Job) -> Job:
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    return job


def tick(job: Job, position: int | None = None, kind: str = Kind.PIECE, **more) -> RunEvent:
    return note(job, Happening(kind, key=a_key(), position=position, **more), at=NOW, by=None)


def test_a_promise_sets_aside_what_the_plan_chose(job, red, blue, bobbins):
    plan = plan_of(job)
    made = promise(job, at=NOW, by=None)
    assert job.state == Job.State.PROMISED
    assert held(red).reserved >= plan.threads[0].needed_mm
    assert held(red).reserved <= plan.threads[0].needed_mm * 1.3
    assert held(bobbins).reserved == plan.bobbins.sure_count
    assert [thread.code for thread in made.threads.all()] == ["R", "B"]
    assert not ledger_problems()


def test_a_promised_job_is_planned_with_what_it_holds(job, red):
    before = plan_of(job)
    promise(job, at=NOW, by=None)
    after = plan_of(again(job))
    assert [thread.free_mm for thread in after.threads] == [thread.free_mm for thread in before.threads]
    assert after.verdict == before.verdict


def test_a_promise_takes_stock_from_other_jobs(job, red):
    other = again(same_again(job, pieces=6, at=NOW, by=None))
    free_before = plan_of(other).threads[0].free_mm
    promise(job, at=NOW, by=None)
    assert plan_of(other).threads[0].free_mm == free_before - held(red).reserved


def test_promising_twice_sets_aside_once(job, red):
    promise(job, at=NOW, by=None)
    first = held(red).reserved
    promise(job, at=NOW, by=None)
    assert held(red).reserved == first


def test_a_short_job_is_not_promised_by_accident(job, red):
    use(red, quantity=899_000, key=a_key(), at=NOW, by=None)
    with pytest.raises(CannotPromise):
        promise(job, at=NOW, by=None)
    assert again(job).state == Job.State.DRAFT
    promise(job, at=NOW, by=None, although_short=True)
    assert held(red).reserved <= held(red).on_hand


def test_a_promise_taken_back_frees_everything(job):
    promise(job, at=NOW, by=None)
    take_promise_back(job, at=NOW)
    assert not Reservation.objects.exists()
    assert again(job).state == Job.State.DRAFT


def test_a_promised_job_cannot_be_changed_in_what_its_plan_rests_on(job):
    promise(job, at=NOW, by=None)
    with pytest.raises(NotInThisState, match="Take the promise back"):
        change_job(job, JobFacts(what="crew caps", pieces=7, tests=1, machine=job.machine))
    with pytest.raises(NotInThisState):
        delete_job(job)


def test_a_dropped_job_holds_nothing_and_can_be_picked_up(job):
    promise(job, at=NOW, by=None)
    drop(job, at=NOW)
    assert not Reservation.objects.exists()
    pick_up(job, at=NOW)
    assert again(job).state == Job.State.DRAFT


def test_each_tick_takes_one_piece_of_every_thread(job, red, blue):
    running(job)
    before = held(red).on_hand, held(blue).on_hand
    tick(job)
    tick(job)
    used = used_so_far(job)
    assert before[0] - held(red).on_hand == used[red.pk] > 0
    assert before[1] - held(blue).on_hand == used[blue.pk] > 0
    run = run_of(job)
    assert sorted(run.done) == [1, 2]
    assert used[red.pk] == pytest.approx(2 * run.threads[0].length_at(1), abs=2)


def test_the_first_piece_takes_the_first_bobbin(job, bobbins):
    running(job)
    before = held(bobbins).on_hand
    tick(job)
    assert held(bobbins).on_hand == before - 1


def test_a_tick_sent_twice_counts_once(job, red):
    running(job)
    same = Happening(Kind.PIECE, key="phone-1", position=1)
    first = note(job, same, at=NOW, by=None)
    left = held(red).on_hand
    assert note(job, same, at=NOW, by=None) == first
    assert held(red).on_hand == left


def test_a_piece_is_ticked_once(job):
    running(job)
    tick(job, 2)
    with pytest.raises(AlreadyTicked):
        tick(job, 2)


def test_a_tick_taken_back_restores_shelf_and_reservation(job, red, bobbins):
    running(job)
    before = held(red)
    bobbins_before = held(bobbins)
    event = tick(job)
    take_back(event, key=a_key(), at=NOW, by=None)
    after = held(red)
    assert (after.on_hand, after.sigma) == (before.on_hand, before.sigma)
    assert after.reserved == pytest.approx(before.reserved, abs=10)
    assert held(bobbins).on_hand == bobbins_before.on_hand
    assert not run_of(job).done
    tick(job)  # the position is free again
    assert not ledger_problems()


def test_a_spoiled_piece_is_stitched_again_on_a_spare(job):
    running(job)
    tick(job)  # the test
    tick(job, kind=Kind.SPOILED)
    run = run_of(job)
    assert (run.good, run.spoiled, len(run.left)) == (0, 1, 6)
    for _ in range(6):
        tick(job)
    assert run_of(job).left == []
    assert run_of(job).good == 6


def test_a_break_costs_the_threaded_path(job, red):
    running(job)
    tick(job)
    before = held(red).on_hand
    event = tick(job, kind=Kind.BREAK, thread=1)
    assert before - held(red).on_hand == round(
        job.machine.threaded_path_mm + job.machine.needle_tail_start_mm
    )
    assert event.minutes > 0


def test_half_a_colour_stitched_again_takes_half_its_thread(job, blue):
    running(job)
    tick(job)
    one = used_so_far(job)[blue.pk]
    lost = run_of(job).threads[1].path_at(1)  # at the change of thread, which is not stitched again
    tick(job, kind=Kind.RESTITCH, thread=2, share=0.5)
    assert used_so_far(job)[blue.pk] - one == pytest.approx((one - lost) / 2, abs=1)


def test_a_swapped_spool_serves_from_then_on(job, red):
    second = a_spool(red.shade)
    running(job)
    tick(job)
    tick(job, kind=Kind.SPOOL, thread=1, label=second.label.lower())
    assert held(red).reserved == 0
    assert held(second).reserved > 0
    left = held(red).on_hand
    tick(job)
    assert held(red).on_hand == left
    assert second.pk in used_so_far(job)


def test_a_spool_that_ran_out_is_empty_on_the_shelf(job, red):
    second = a_spool(red.shade)
    running(job)
    tick(job)
    event = tick(job, kind=Kind.SPOOL, thread=1, label=second.label, left="nothing")
    assert held(red).on_hand == 0
    take_back(event, key=a_key(), at=NOW, by=None)
    assert held(red).on_hand > 0
    assert not ledger_problems()


def test_a_tick_takes_no_more_than_the_spool_holds(job, red):
    running(job)
    for reservation in Reservation.objects.filter(item=red):
        reservation.delete()
    StockItem.objects.filter(pk=red.pk).update(reserved=0)
    use(red, quantity=held(red).on_hand - 100, key=a_key(), at=NOW, by=None)
    tick(job)
    assert held(red).on_hand == 0
    assert not ledger_problems()


def test_begun_by_mistake_goes_back_to_promised(job):
    running(job)
    stop_before_the_first(job, at=NOW)
    assert again(job).state == Job.State.PROMISED
    begin(job, at=NOW)
    tick(job)
    with pytest.raises(NotInThisState, match="ticks"):
        stop_before_the_first(job, at=NOW)


def ticked_through(job: Job) -> Job:
    running(job)
    while run_of(job).left:
        tick(job)
    return job


def test_a_job_with_pieces_left_does_not_finish_by_accident(job):
    running(job)
    tick(job)
    with pytest.raises(Exception, match="not ticked"):
        finish(job, Ending(), at=NOW, by=None)
    report = finish(job, Ending(although_unfinished=True), at=NOW, by=None)
    assert report.facts["pieces"]["good"] == 0


def test_a_finished_job_holds_nothing_and_reports_planned_against_actual(job, red):
    ticked_through(job)
    report = finish(job, Ending(bobbins=2, machine_min=40), at=NOW, by=None)
    assert again(job).state == Job.State.FINISHED
    assert not Reservation.objects.exists()
    first = report.facts["threads"][0]
    assert first["planned_mm"] > first["used_mm"] > 0  # one spare piece was never stitched
    assert report.facts["pieces"] == {"ordered": 6, "good": 6, "tests": 1, "spoiled": 0}
    assert report.facts["bobbins"]["used"] == 2
    assert not ledger_problems()


def gross_for(spool: StockItem, mm: float) -> int:
    own = Spool.objects.select_related("shade__range", "put_up").get(pk=spool.pk)
    return round(own.empty_weight_mg + mm * own.shade.range.tex / 1000)


def test_weighing_back_corrects_the_shelf_and_teaches_the_factor(job, red):
    ticked_through(job)
    used = used_so_far(job)[red.pk]
    left = held(red).on_hand
    # Twelve in a hundred more thread went into the work than was thought.
    really_left = left - 0.12 * used
    weighed = WeighedBack(red.label, ScaleReading(gross_for(red, really_left), resolution_mg=10))
    finish(job, Ending(weighed=(weighed,)), at=NOW, by=None)
    assert held(red).on_hand == pytest.approx(really_left, abs=50)
    seen = Observation.objects.get(kind="needle")
    # All that is not the path lost at thread changes, which is known, went into the stitches.
    thread = run_of(job).threads[0]
    lost = sum(thread.path_at(position) for position in run_of(job).done)
    assert lost > 0
    assert seen.actual / seen.estimated == pytest.approx((1.12 * used - lost) / (used - lost), abs=0.005)
    factor = learned(job.machine).needle[red.shade.range_id]
    assert 1.0 < factor.median <= 1.12
    assert machine_learned(job.machine).factors[0].counted == 1
    assert not ledger_problems()


def test_what_was_learned_changes_the_next_plan(job, red):
    before = plan_of(job).threads[0].needed_mm
    Observation.objects.create(
        kind="needle", machine=job.machine, range=red.shade.range, estimated=1000, actual=1200, sigma=10,
        at=NOW, key=a_key(),
    )  # fmt: skip
    after = plan_of(job)
    assert after.threads[0].needed_mm > before * 1.05
    blocks = sum(each.needle_mm for each in after.blocks if each.block.hex == RED) * after.pieces.total
    assert blocks == pytest.approx(after.threads[0].needed_mm, rel=1e-3)


def test_a_refused_weight_leaves_the_job_running_and_the_shelf_alone(job, red):
    ticked_through(job)
    left = held(red).on_hand
    with pytest.raises(ValueError, match="weigh"):
        finish(
            job,
            Ending(weighed=(WeighedBack(red.label, ScaleReading(1, resolution_mg=1000)),)),
            at=NOW,
            by=None,
        )
    assert again(job).state == Job.State.RUNNING
    assert held(red).on_hand == left
    assert held(red).reserved > 0


def test_fewer_bobbins_than_planned_come_back_to_the_shelf(job, bobbins):
    ticked_through(job)
    before = held(bobbins).on_hand
    taken = used_so_far(job)[bobbins.pk]
    finish(job, Ending(bobbins=taken + 1.5), at=NOW, by=None)
    assert held(bobbins).on_hand == before - 2


def test_minutes_at_the_machine_teach_its_speed(job):
    machine_min = plan_of(job).machine_min
    ticked_through(job)
    finish(job, Ending(machine_min=machine_min * 1.3), at=NOW, by=None)
    other = again(same_again(job, pieces=6, at=NOW, by=None))
    assert plan_of(other).machine_min > machine_min


def test_finishing_twice_is_finishing_once(job):
    ticked_through(job)
    first = finish(job, Ending(), at=NOW, by=None)
    assert finish(job, Ending(), at=NOW, by=None) == first


def test_the_same_again_is_a_draft_with_the_same_designs(job):
    Job.objects.filter(pk=job.pk).update(strictness="brand", copies=2)
    made = same_again(again(job), pieces=30, at=NOW, by=None)
    assert (made.strictness, made.copies) == ("brand", 2)
    assert (made.pieces, made.state, made.repeats) == (30, Job.State.DRAFT, job)
    assert [placed.design for placed in made.placed.all()] == [placed.design for placed in job.placed.all()]


def test_a_run_is_read_in_as_many_queries_whatever_was_ticked(job, django_assert_max_num_queries):
    running(job)
    tick(job)
    with django_assert_max_num_queries(8):
        run_of(job)
    tick(job)
    tick(job)
    with django_assert_max_num_queries(8):
        run_of(job)


@pytest.fixture
def on_twill(job) -> Job:
    """The job on a cloth whose recipe asks for tear-away, of which there is one roll."""
    Job.objects.filter(pk=job.pk).update(fabric=Fabric.objects.get(name="twill"))
    return again(job)


def cut(job: Job) -> None:
    sheet = plan_cuts(jobs_to_cut([job.pk]))
    post_cut(sheet.jobs, shown=fingerprint(sheet.cuts), key=a_key(), at=NOW, by=None)


def test_the_stabilizer_of_a_promised_job_is_cut_from_what_is_set_aside_for_it(on_twill):
    promise(on_twill, at=NOW, by=None)
    roll = StockItem.objects.get(kind="roll")
    assert roll.reserved > 0
    # Everything else on the roll goes to others.
    set_aside(roll, quantity=roll.free, holder="somebody else", key=a_key(), at=NOW, by=None)
    cut(on_twill)
    after = held(roll)
    assert after.on_hand < roll.on_hand
    assert not Reservation.objects.filter(holder=on_twill.holder, item=roll).exists()
    assert all(layer.cut_before for layer in plan_of(again(on_twill)).stabilizer)
    assert not ledger_problems()


def test_what_was_cut_is_part_of_what_a_job_used(on_twill):
    roll = StockItem.objects.get(kind="roll")
    roll.price_paid, roll.quantity_paid = Decimal("500.00"), roll.on_hand
    roll.save(update_fields=["price_paid", "quantity_paid"])
    promise(on_twill, at=NOW, by=None)
    cut(on_twill)
    taken = roll.on_hand - held(roll).on_hand
    begin(on_twill, at=NOW)
    while run_of(on_twill).left:
        tick(on_twill)
    report = finish(on_twill, Ending(), at=NOW, by=None)
    used = Decimal(report.facts["material"]["used"])
    assert used == (Decimal(500) * taken / roll.on_hand).quantize(Decimal("0.01"))


def test_what_is_set_aside_for_a_job_is_there_for_it_when_stabilizer_runs_out(on_twill):
    def balance() -> int:
        (outlook,), _ = stabilizer_outlooks(list(Job.objects.waiting().with_everything()), at=NOW)
        return outlook.free_mm

    before = balance()
    promise(on_twill, at=NOW, by=None)
    assert balance() == before


def test_a_job_is_promised_although_there_is_no_spool_for_it_at_all(stitch_file, workshop):
    path = stitch_file(RED, name="badge.pes")
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    wanted = JobFacts(what="crew caps", pieces=6, machine=Machine.objects.first())
    job = again(make_job(wanted, designs=[design], at=NOW, by=None))
    made = promise(job, at=NOW, by=None, although_short=True)
    assert [thread.spools.count() for thread in made.threads.all()] == [0]

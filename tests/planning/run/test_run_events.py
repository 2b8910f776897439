"""What was seen to go wrong between the machine and the shelf, each as a test of its own."""

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from inventory.compute.lengths import ScaleReading
from inventory.ledger import ledger_problems, release
from inventory.models import Offcut, Reservation, Spool, StockItem
from inventory.shelf.things import put_back_on_shelf, retire
from inventory.shelf.weights import weigh_spool
from planning.cutting.cuts import fingerprint, jobs_to_cut, plan_cuts, post_cut
from planning.facts.needles import needle_changed, needle_due
from planning.jobs.jobs import NotInThisState
from planning.models import Fabric, Job, Machine, NeedleNote, Observation, Reopening, RunEvent, ToldChange
from planning.run.finish import Ending, WeighedBack, drop, finish
from planning.run.promise import promise
from planning.run.reopen import reopen
from planning.run.sheet import due_notes, threading_order
from planning.run.standing import run_of, spools_of, spools_to_swap_in, used_so_far
from planning.run.ticks import Happening, OnceMore, WhatIsLeft, begin, note, take_back
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED, a_job

pytestmark = pytest.mark.django_db
Kind = RunEvent.Kind


@pytest.fixture
def red(workshop) -> Spool:
    return a_spool(a_shade("R", hex=RED, name="harbour red"), left_m=900)


@pytest.fixture
def running(stitch_file, red) -> Job:
    a_spool(a_shade("B", hex=BLUE, name="deep blue"), left_m=900)
    some_bobbins(count=20)
    a_roll()
    job = a_job(
        stitch_file(RED, BLUE, name="badge.pes", stitches=400), fabric=Fabric.objects.get(name="twill")
    )
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    return job


def held(item: StockItem) -> StockItem:
    return StockItem.objects.get(pk=item.pk)


def tick(job: Job, kind: str = Kind.PIECE, *, at=NOW, key: str = "", **more) -> RunEvent:
    return note(job, Happening(kind, key=key or a_key(), **more), at=at, by=None)


def tick_all(job: Job) -> None:
    while run_of(job).left:
        tick(job)


def roll() -> StockItem:
    return StockItem.objects.get(kind="roll")


def test_finishing_takes_the_stabilizer_of_what_was_ticked(running):
    before = roll().on_hand
    for _ in range(4):
        tick(running)
    report = finish(running, Ending(although_unfinished=True), at=NOW, by=None)
    taken = before - roll().on_hand
    assert taken > 0
    (layer,) = report.facts["stabilizer"]
    # Four of the eight that were planned (six pieces, a test and a spare) were stitched.
    assert (layer["planned_pieces"], layer["used_pieces"]) == (run_of(running).promise.to_stitch, 4)
    assert layer["used_mm"] == taken < layer["planned_mm"]
    assert report.facts["not_booked"] == []
    assert not ledger_problems()


def test_what_was_cut_before_is_not_taken_twice(running):
    sheet = plan_cuts(jobs_to_cut([running.pk]))
    post_cut([running], shown=fingerprint(sheet.cuts), key=a_key(), at=NOW, by=None)
    left = roll().on_hand
    tick(running)
    report = finish(running, Ending(although_unfinished=True), at=NOW, by=None)
    assert roll().on_hand == left
    assert any("were cut and not stitched on" in each for each in report.facts["not_booked"])


def test_offcuts_that_come_off_at_the_finish_are_on_the_shelf(running):
    tick_all(running)
    before = set(Offcut.objects.values_list("pk", flat=True))
    proposed = page_offcuts(running)
    finish(running, Ending(), at=NOW, by=None)
    came = Offcut.objects.exclude(pk__in=before)
    assert sorted((each.width_mm, each.height_mm) for each in came) == sorted(proposed)


def page_offcuts(job: Job) -> list[tuple[int, int]]:
    from planning.run.stabilizer import stabilizer_use

    return [(width, height) for _, width, height in stabilizer_use(run_of(job)).offcuts]


def test_stabilizer_that_is_taken_by_hand_is_told_as_not_booked(running):
    before = roll().on_hand
    tick_all(running)
    report = finish(running, Ending(stabilizer_as_proposed=False), at=NOW, by=None)
    assert roll().on_hand == before
    assert "Stabilizer: it was said that it is taken by hand." in report.facts["not_booked"]


def test_a_swap_taken_back_gives_the_later_pieces_to_the_spool_before(running, red):
    second = a_spool(red.shade)
    start, start_second = held(red).on_hand, held(second).on_hand
    for _ in range(3):
        tick(running)
    swap = tick(running, Kind.SPOOL, thread=1, label=second.label, left="nothing")
    assert held(red).on_hand == 0
    for _ in range(4):
        tick(running)
    take_back(swap, key=a_key(), at=NOW, by=None)
    run = run_of(running)
    pieces_mm = sum(round(run.threads[0].length_at(position)) for position in run.done)
    assert held(red).on_hand == start - pieces_mm
    assert held(second).on_hand == start_second
    assert used_so_far(running)[red.pk] == pieces_mm
    assert {pk: each.estimated_mm for pk, each in spools_of(run).items()}[red.pk] == pieces_mm
    report = finish(running, Ending(although_unfinished=True), at=NOW, by=None)
    spools = {spool["label"]: spool["used_mm"] for spool in report.facts["threads"][0]["spools"]}
    assert spools == {red.label: pieces_mm}
    assert not ledger_problems()


def test_the_very_first_event_taken_back_after_others_puts_back_all_it_took(running, red):
    start = held(red).on_hand
    broke = tick(running, Kind.BREAK, thread=1)
    tick(running, position=3)
    take_back(broke, key=a_key(), at=NOW, by=None)
    run = run_of(running)
    assert held(red).on_hand == start - round(run.threads[0].length_at(3))
    assert used_so_far(running)[red.pk] == start - held(red).on_hand


def test_a_swap_noted_late_moves_the_pieces_ticked_since(running, red):
    second = a_spool(red.shade)
    for _ in range(4):
        tick(running)
    tick(running, Kind.SPOOL, thread=1, label=second.label, position=3)
    run = run_of(running)
    each_mm = round(run.threads[0].length_at(3))
    assert used_so_far(running)[red.pk] == pytest.approx(2 * each_mm, abs=2)
    assert used_so_far(running)[second.pk] == pytest.approx(2 * each_mm, abs=2)


def test_a_weighing_in_between_holds_when_an_earlier_piece_is_taken_back(running, red):
    first = tick(running)
    tick(running)
    put_up = Spool.objects.select_related("shade__range", "put_up").get(pk=red.pk)
    gross_mg = round(put_up.empty_weight_mg + 500_000 * put_up.shade.range.tex / 1000)
    weigh_spool(red, gross_mg=gross_mg, scale_resolution_mg=10, key=a_key(), at=NOW, by=None)
    shown = held(red).on_hand
    take_back(first, key=a_key(), at=NOW, by=None)
    assert held(red).on_hand == shown
    assert not ledger_problems()


def test_ran_out_asks_what_is_left_before_it_writes_off(running, red):
    second = a_spool(red.shade)
    tick(running)
    left = held(red).on_hand
    with pytest.raises(WhatIsLeft, match="By the books"):
        tick(running, Kind.SPOOL, thread=1, label=second.label, ran_out=True)
    assert held(red).on_hand == left
    tick(running, Kind.SPOOL, thread=1, label=second.label, left="little")
    assert held(red).on_hand == 10_000
    assert held(red).known == StockItem.Known.JUDGED


def test_ran_out_can_be_weighed(running, red):
    second = a_spool(red.shade)
    own = Spool.objects.select_related("shade__range", "put_up").get(pk=red.pk)
    gross_mg = round(own.empty_weight_mg + 120_000 * own.shade.range.tex / 1000)
    reading = ScaleReading(gross_mg, resolution_mg=10)
    tick(running, Kind.SPOOL, thread=1, label=second.label, left="weighed", gross=reading)
    assert held(red).on_hand == pytest.approx(120_000, abs=100)
    assert held(red).known == StockItem.Known.WEIGHED


def test_a_second_tap_is_asked_about(running):
    tick(running)
    tick(running, Kind.BREAK, thread=1)
    with pytest.raises(OnceMore, match="counts once"):
        tick(running, Kind.BREAK, thread=1, at=NOW + timedelta(seconds=0.25))
    tick(running, Kind.BREAK, thread=2)
    tick(running, Kind.BREAK, thread=1, at=NOW + timedelta(seconds=0.25), again=True)
    tick(running, Kind.BREAK, thread=1, at=NOW + timedelta(minutes=1))
    assert RunEvent.objects.filter(kind=Kind.BREAK).count() == 4


def test_a_second_tap_is_asked_about_on_the_page_and_can_be_meant(signed_in, running):
    def broke(key: str, **more):
        sent = {"kind": "break", "key": key, "position": 1, "thread": 1} | more
        return signed_in.post(reverse("happened", args=[running.pk]), sent)

    assert broke("one").status_code == 302
    asked = broke("two")
    assert asked.status_code == 422
    assert "It happened again" in page_text(asked)
    assert broke("two", again="yes").status_code == 302
    assert RunEvent.objects.count() == 2


def test_a_tap_keeps_its_time_though_it_is_sent_later(running):
    begun = NOW - timedelta(hours=2)
    running.promise.begun_at = begun
    running.promise.save()
    tapped = NOW - timedelta(minutes=40)
    assert tick(running, tapped_at=tapped).at == tapped
    # Neither what has not been yet nor what was before the run is believed.
    assert tick(running, tapped_at=NOW + timedelta(hours=1)).at == NOW
    assert tick(running, tapped_at=begun - timedelta(hours=1)).at == NOW


def test_more_times_than_there_are_pieces_ticks_what_there_is_and_says_so(running, capsys):
    call_command("tick_job", str(running.pk), "--times", "20")
    told = capsys.readouterr()
    assert "were not" in told.err
    assert run_of(running).left == []
    assert run_of(running).good == 6


def test_an_early_bobbin_moves_the_next_one(stitch_file, workshop):
    a_spool(a_shade(hex=RED), metres=5000)
    some_bobbins(count=20, metres=6)
    job = a_job(stitch_file(RED, name="badge.pes", stitches=400), pieces=20, tests=0)
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    run = run_of(job)
    first, *_ = [change.position for change in run.bobbins.coming]
    assert first > 2
    for _ in range(first - 2):
        tick(job)
    tick(job, Kind.BOBBIN)
    moved = [change.position for change in run_of(job).bobbins.coming]
    assert moved[0] == first + first - 2
    assert first not in due_notes(run_of(job))


def test_a_spool_is_swapped_by_the_address_its_label_carries(running, red):
    second = a_spool(red.shade)
    tick(running, Kind.SPOOL, thread=1, label=f"HTTPS://THREAD.WORKSHOP.EXAMPLE/S/{second.label}")
    assert run_of(running).swaps[0].item == second.pk


def test_the_page_takes_the_whole_of_a_scanned_label(signed_in, running, red):
    second = a_spool(red.shade)
    address = f"https://a-rather-long-workshop-name.example/s/{second.label}"
    sent = {"kind": "spool", "key": "s", "thread": 1, "label": address}
    signed_in.post(reverse("happened", args=[running.pk]), sent)
    assert run_of(running).swaps[0].item == second.pk


def test_the_sheet_names_a_spool_of_another_shade_that_was_swapped_in(running):
    other = a_spool(a_shade("G", hex="#118833"))
    tick(running, Kind.SPOOL, thread=1, label=other.label)
    run = run_of(running)
    assert threading_order(run, spare=spools_to_swap_in(run))[0].label == other.label


@pytest.mark.parametrize("showing", ["more", "thirds", "less"])
def test_a_change_of_tension_is_told_at_the_machine(signed_in, running, showing):
    sent = {"kind": "tension", "key": "t", "showing": showing}
    signed_in.post(reverse("happened", args=[running.pk]), sent)
    assert RunEvent.objects.get().showing == showing
    assert str(RunEvent.Showing(showing).label) in page_text(
        signed_in.get(reverse("run_sheet", args=[running.pk]))
    )


def test_a_change_of_tension_begins_a_new_stretch_for_learning_until_it_is_taken_back(running):
    event = tick(running, Kind.TENSION, showing="more")
    told = ToldChange.objects.get()
    assert (told.machine, told.at) == (running.machine, NOW)
    assert "more bobbin showing" in told.what
    take_back(event, key=a_key(), at=NOW, by=None)
    assert not ToldChange.objects.exists()


def test_a_needle_changed_after_four_pieces_is_charged_with_the_rest(running):
    machine = Machine.objects.get()
    for _ in range(4):
        tick(running)
    tick(running, Kind.NEEDLE)
    lasted = NeedleNote.objects.get(stitches__isnull=True).lasted_stitches
    tick_all(running)
    finish(running, Ending(), at=NOW, by=None)
    machine.refresh_from_db()
    run = run_of(running)
    a_piece = run.promise.stitches / run.promise.to_stitch
    assert lasted == round(4 * a_piece)
    assert machine.stitches_since_needle == round(3 * a_piece)


def test_a_needle_is_foreseen_before_the_piece_at_which_it_is_due(signed_in, running):
    run = run_of(running)
    a_piece = run.promise.stitches / run.promise.to_stitch
    Machine.objects.update(needle_life_stitches=round(3.5 * a_piece))
    tick(running)
    shown = page_text(signed_in.get(reverse("run_sheet", args=[running.pk])))
    assert "The needle will be due before piece 3" in shown


def test_a_finished_job_is_opened_again_with_its_reason_and_finished_anew(running, red):
    tick_all(running)
    shelf = roll().on_hand
    first = finish(running, Ending(bobbins=1), at=NOW, by=None)
    reopen(running, why="a cap was forgotten", at=NOW, by=None)
    assert Job.objects.get(pk=running.pk).state == Job.State.RUNNING
    assert roll().on_hand == shelf
    kept = Reopening.objects.get()
    assert (kept.why, kept.facts) == ("a cap was forgotten", first.facts)
    take_back(run_of(running).events[-1], key=a_key(), at=NOW, by=None)
    tick(running)
    again = finish(running, Ending(bobbins=1), at=NOW, by=None)
    assert again.facts["threads"] == first.facts["threads"]
    assert again.facts["stabilizer"] == first.facts["stabilizer"]
    assert not Reservation.objects.exists()
    assert not ledger_problems()


def test_a_job_opened_again_teaches_once(running, red):
    tick_all(running)
    own = Spool.objects.select_related("shade__range", "put_up").get(pk=red.pk)
    gross = round(own.empty_weight_mg + held(red).on_hand * own.shade.range.tex / 1000)
    weighed = (WeighedBack(red.label, ScaleReading(gross, resolution_mg=10)),)
    finish(running, Ending(weighed=weighed), at=NOW, by=None)
    reopen(running, why="weighed the wrong spool", at=NOW, by=None)
    finish(running, Ending(weighed=weighed), at=NOW, by=None)
    left_out, counts = Observation.objects.filter(kind="needle").order_by("id")
    assert (left_out.said, counts.said) == (False, None)
    assert left_out.actual == pytest.approx(counts.actual)


def test_only_what_is_finished_is_opened_again_and_only_with_a_reason(running):
    with pytest.raises(NotInThisState):
        reopen(running, why="early", at=NOW, by=None)
    tick_all(running)
    finish(running, Ending(), at=NOW, by=None)
    with pytest.raises(WorkshopError, match="reason"):
        reopen(running, why=" ", at=NOW, by=None)


def test_the_pages_of_the_end_show_what_is_taken_and_what_was_not(signed_in, running):
    tick(running)
    page = signed_in.get(reverse("finish_job", args=[running.pk]))
    assert "Taken now:" in page_text(page)
    ends = {"although_unfinished": "on", "shown": page.context["shown"]}
    signed_in.post(reverse("finish_job", args=[running.pk]), ends)
    report = page_text(signed_in.get(reverse("job_report", args=[running.pk])))
    assert "Stabilizer, planned against used" in report
    assert "Not booked" in report
    signed_in.post(reverse("reopen_job", args=[running.pk]), {"why": "more to stitch"})
    assert Job.objects.get(pk=running.pk).state == Job.State.RUNNING


def test_a_second_device_learns_that_something_was_noted(signed_in, running):
    def last() -> int:
        return signed_in.get(reverse("run_state", args=[running.pk])).json()["last"]

    before = last()
    event = tick(running)
    assert before < last() == event.pk


def test_a_job_dropped_at_the_machine_takes_its_stabilizer_and_charges_its_needle(running):
    before = roll().on_hand
    for _ in range(4):
        tick(running)
    drop(running, at=NOW, by=None)
    assert roll().on_hand < before
    assert needle_due(running.machine).stitches == round(run_of(running).promise.stitches / 2)
    assert not Reservation.objects.filter(holder=running.holder).exists()
    assert not ledger_problems()


def test_a_piece_taken_back_after_the_job_was_opened_again_is_not_charged_to_the_needle(running):
    tick_all(running)
    finish(running, Ending(), at=NOW, by=None)
    seven = needle_due(running.machine).stitches
    reopen(running, why="three were never stitched", at=NOW, by=None)
    for event in list(running.events.standing())[-3:]:
        take_back(event, key=a_key(), at=NOW, by=None)
    finish(running, Ending(although_unfinished=True), at=NOW, by=None)
    assert needle_due(running.machine).stitches == round(seven * 4 / 7)


def test_a_needle_changed_between_two_endings_is_not_charged_with_what_the_one_before_made(running):
    tick_all(running)
    finish(running, Ending(), at=NOW, by=None)
    needle_changed(running.machine, key=a_key(), at=NOW + timedelta(minutes=1), by=None)
    reopen(running, why="the bobbins were not counted", at=NOW + timedelta(minutes=2), by=None)
    finish(running, Ending(), at=NOW + timedelta(minutes=3), by=None)
    assert needle_due(running.machine).stitches == 0


def shown_by_the_scale(spool: Spool, used_mm: float) -> ScaleReading:
    """Return what a fine scale shows of ``spool``, of which ``used_mm`` of its 900 m are gone: 27 tex on 12 g."""
    return ScaleReading(mg=round(12_000 + (900_000 - used_mm) / 1000 * 27), resolution_mg=1)


def of_the_job(job: Job, spool: Spool) -> int:
    return spools_of(run_of(job))[spool.pk].estimated_mm


def taught(job: Job) -> float:
    """Return the thread that the last weighing back taught, with what is lost at changes and breaks."""
    return Observation.objects.filter(job=job, said__isnull=True).latest("id").actual


def test_a_spool_weighed_in_the_middle_teaches_what_the_whole_job_used(running, red):
    for _ in range(3):
        tick(running)
    middle = shown_by_the_scale(red, 1.5 * of_the_job(running, red))
    weigh_spool(red, gross_mg=middle.mg, scale_resolution_mg=1, key=a_key(), at=NOW, by=None)
    tick_all(running)
    used_mm = 1.5 * of_the_job(running, red)
    ending = Ending(weighed=(WeighedBack(red.label, shown_by_the_scale(red, used_mm)),))
    finish(running, ending, at=NOW, by=None)
    assert taught(running) == pytest.approx(used_mm - spools_of(run_of(running))[red.pk].beyond_mm, rel=0.01)


def test_a_piece_taken_back_between_two_weighings_leaves_what_the_scale_showed(running, red):
    tick_all(running)
    used_mm = 1.2 * of_the_job(running, red)
    ending = Ending(
        weighed=(WeighedBack(red.label, shown_by_the_scale(red, used_mm)),), although_unfinished=True
    )
    finish(running, ending, at=NOW, by=None)
    reopen(running, why="the last was never stitched", at=NOW, by=None)
    take_back(running.events.standing().last(), key=a_key(), at=NOW, by=None)
    report = finish(running, ending, at=NOW, by=None)
    assert taught(running) == pytest.approx(used_mm - spools_of(run_of(running))[red.pk].beyond_mm, rel=0.01)
    spools = [spool for thread in report.facts["threads"] for spool in thread["spools"]]
    (told,) = [spool["used_mm"] for spool in spools if spool["label"] == red.label]
    assert told == 900_000 - held(red).on_hand == pytest.approx(used_mm, rel=0.01)


def test_a_spool_that_left_the_shelf_in_the_middle_does_not_stop_the_ticks(running, red):
    for _ in range(3):
        tick(running)
    so_far = of_the_job(running, red)
    release(list(Reservation.objects.filter(item=red)))
    retire(red, key=a_key(), at=NOW, by=None)
    assert red.label in tick(running).note
    put_back_on_shelf(red, key=a_key(), at=NOW, by=None)
    assert 900_000 - held(red).on_hand == used_so_far(running)[red.pk] == so_far
    report = finish(running, Ending(although_unfinished=True), at=NOW, by=None)
    assert any(red.label in why for why in report.facts["not_booked"])
    assert not ledger_problems()

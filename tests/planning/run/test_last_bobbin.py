"""What is left on the last bobbin of a run: kept as a part bobbin, in the machine again when the job is reopened."""

import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from inventory.ledger import CannotReverse, ledger_problems
from inventory.models import PartBobbin, StockItem
from inventory.shelf.bobbins import put_back_part_bobbin
from planning.models import Job
from planning.run.finish import Ending, finish
from planning.run.promise import promise
from planning.run.reopen import reopen
from planning.run.standing import run_of, used_so_far
from planning.run.ticks import Happening, begin, note
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED, a_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def bobbins(workshop):
    return some_bobbins(count=20)


@pytest.fixture
def stitched(stitch_file, bobbins) -> Job:
    for colour in (RED, BLUE):
        a_spool(a_shade(hex=colour), left_m=900)
    a_roll()
    job = a_job(stitch_file(RED, BLUE, name="badge.pes", stitches=400))
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    while run_of(job).left:
        note(job, Happening("piece", key=a_key()), at=NOW, by=None)
    return job


def on_the_shelf(item: StockItem) -> int:
    return StockItem.objects.get(pk=item.pk).on_hand


def test_the_rest_of_the_last_bobbin_is_kept_with_what_is_on_it(stitched, bobbins):
    began = on_the_shelf(bobbins) + used_so_far(stitched)[bobbins.pk]
    report = finish(stitched, Ending(bobbins=2.75, keep_bobbin=True), at=NOW, by=None)
    part = PartBobbin.objects.get()
    assert on_the_shelf(bobbins) == began - 3
    assert part.on_hand == pytest.approx(0.25 * bobbins.length_mm, abs=1)
    assert (part.style, part.shade) == (bobbins.style, bobbins.shade)
    assert part.known == StockItem.Known.JUDGED
    assert part.sigma
    assert report.facts["bobbins"]["kept"] == part.label
    assert report.facts["bobbins"]["used"] == 2.75
    assert not ledger_problems()


def test_only_what_was_used_of_the_last_bobbin_is_charged(stitched, bobbins):
    StockItem.objects.filter(pk=bobbins.pk).update(price_paid="20.00", quantity_paid=20)
    whole = finish(stitched, Ending(bobbins=3), at=NOW, by=None).facts["material"]["used"]
    reopen(stitched, why="half of the last is left", at=NOW, by=None)
    part = finish(stitched, Ending(bobbins=2.5, keep_bobbin=True), at=NOW, by=None).facts["material"]["used"]
    assert float(whole) - float(part) == pytest.approx(0.5, abs=0.011)


def test_a_rest_needs_a_bobbin_that_is_not_empty(stitched, bobbins):
    before = on_the_shelf(bobbins)
    for told, says in ((2.0, "write 1.5"), (0.0, "No bobbin was used"), (None, "such as 3.5")):
        with pytest.raises(WorkshopError, match=says):
            finish(stitched, Ending(bobbins=told, keep_bobbin=True), at=NOW, by=None)
    assert Job.objects.get(pk=stitched.pk).state == Job.State.RUNNING
    assert on_the_shelf(bobbins) == before


def test_a_job_opened_again_has_its_last_bobbin_in_the_machine(stitched, bobbins):
    before = on_the_shelf(bobbins)
    for _ in range(2):
        finish(stitched, Ending(bobbins=1.5, keep_bobbin=True), at=NOW, by=None)
        assert StockItem.objects.filter(partbobbin__isnull=False).on_the_shelf().count() == 1
        reopen(stitched, why="one more", at=NOW, by=None)
        assert not StockItem.objects.filter(partbobbin__isnull=False).on_the_shelf().exists()
        assert on_the_shelf(bobbins) == before
    assert not ledger_problems()


def test_a_job_stays_finished_while_the_rest_of_its_bobbin_is_used_elsewhere(stitched, bobbins):
    finish(stitched, Ending(bobbins=1.5, keep_bobbin=True), at=NOW, by=None)
    part = PartBobbin.objects.get()
    put_back_part_bobbin(part, left_mm=part.on_hand // 2, key=a_key(), at=NOW, by=None)
    with pytest.raises(CannotReverse, match="used or set aside since"):
        reopen(stitched, why="one more", at=NOW, by=None)
    assert Job.objects.get(pk=stitched.pk).state == Job.State.FINISHED


def test_the_page_and_the_command_keep_it_too(signed_in, stitched, capsys):
    answer = signed_in.post(
        reverse("finish_job", args=[stitched.pk]),
        {"scale_resolution": "1", "bobbins": "1.5", "keep_bobbin": "on", **shown(signed_in, stitched)},
        follow=True,
    )
    label = PartBobbin.objects.get().label
    assert f"the rest of the last is part bobbin {label}" in " ".join(page_text(answer).split())
    reopen(stitched, why="one more", at=NOW, by=None)
    capsys.readouterr()
    call_command("finish_job", str(stitched.pk), "--bobbins", "1.5", "--keep-bobbin")
    assert "The rest of the last bobbin is part bobbin" in capsys.readouterr().out


def shown(client, job: Job) -> dict[str, str]:
    page = client.get(reverse("finish_job", args=[job.pk]))
    return {"shown": page.context["shown"]}


def test_a_run_goes_on_with_the_kind_of_bobbin_it_began_with(stitch_file, workshop):
    for colour in (RED, BLUE):
        a_spool(a_shade(hex=colour), left_m=900)
    a_roll()
    begun, other = some_bobbins(count=20, metres=80), some_bobbins(count=20, metres=79)
    job = a_job(stitch_file(RED, BLUE, name="badge.pes", stitches=400))
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    while run_of(job).left:
        note(job, Happening("piece", key=a_key()), at=NOW, by=None)
    for _ in range(3):  # more than were set aside; by now the other kind has more thread
        note(job, Happening("bobbin", key=a_key(), again=True), at=NOW, by=None)
    taken = used_so_far(job)
    assert taken[begun.pk] >= 4
    assert other.pk not in taken
    finish(job, Ending(bobbins=taken[begun.pk] + 1), at=NOW, by=None)
    assert on_the_shelf(other) == 20

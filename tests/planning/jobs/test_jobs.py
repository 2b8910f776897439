"""Jobs: kept questions whose designs have places and whose pieces may carry names."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from planning.compute.stitches.placing import Placement, ScaledTooFar
from planning.jobs.jobs import JobFacts, UnclearNames, list_names, make_job, place_design, plan_of
from planning.library.designs import asked_from_record, keep_design
from planning.models import Design, Job
from planning.plan.ask import Question, plan
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#1c2b8d"


@pytest.fixture
def full_shelf(workshop):
    a_spool(a_shade("R", hex=RED, name="harbour red"))
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    some_bobbins(count=20)
    a_roll()


@pytest.fixture
def keep(stitch_file, full_shelf):
    def kept(*colours: str, name: str, stitches: int = 200) -> Design:
        path = stitch_file(*colours, name=f"{name}.pes", stitches=stitches)
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

    return kept


def a_job(*designs: Design, pieces: int = 4, **facts) -> Job:
    made = make_job(JobFacts(what="crew caps", pieces=pieces, **facts), designs=designs, at=NOW, by=None)
    return Job.objects.with_everything().get(pk=made.pk)


def again(job: Job) -> Job:
    return Job.objects.with_everything().get(pk=job.pk)


def test_a_job_is_planned_as_its_question_was(keep):
    design = keep(RED, BLUE, name="badge")
    asked = plan([asked_from_record(design)], Question(pieces=4))
    kept = plan_of(a_job(design))
    assert kept.threads == asked.threads
    assert kept.bobbins == asked.bobbins


def test_motif_and_lettering_in_one_hooping_are_hooped_once(keep):
    job = a_job(keep(RED, name="motif"), keep(BLUE, name="letters", stitches=100))
    assert plan_of(job).hoopings == 2 * 6  # four ordered, one test, one that may spoil
    for number, placed in enumerate(job.placed.all(), 1):
        place_design(placed, Placement(y_mm=20.0 * number), hooping=1, order=number)
    assert plan_of(again(job)).hoopings == 6


def test_designs_of_one_hooping_must_fit_the_field_together(keep, workshop):
    workshop.hoops.update(field_width_mm=60, field_height_mm=60)
    job = a_job(keep(RED, name="motif"), keep(BLUE, name="letters", stitches=100))
    assert not plan_of(job).too_big
    for number, placed in enumerate(job.placed.all(), 1):
        place_design(placed, Placement(y_mm=60.0 * number), hooping=1, order=number)
    assert plan_of(again(job)).too_big.startswith("No hoop of one needle holds")


@pytest.mark.parametrize("pose", [Placement(turned_deg=90), Placement(mirrored=True), Placement(x_mm=-12)])
def test_turned_mirrored_and_moved_designs_take_the_same_thread(keep, pose):
    job = a_job(keep(RED, name="motif"))
    before = plan_of(job).threads[0].needed_mm
    place_design(job.placed.get(), pose, hooping=1, order=1)
    assert plan_of(again(job)).threads[0].needed_mm == before


def test_scaling_lengthens_the_drawn_path_and_nothing_else(keep):
    design = keep(RED, name="motif")
    job = a_job(design)
    before = plan_of(job).blocks[0].needle_mm
    place_design(job.placed.get(), Placement(scale=1.1), hooping=1, order=1)
    grown = plan_of(again(job)).blocks[0].needle_mm - before
    sums = design.blocks.get().sums
    kappa = 1 / 4  # of a new machine
    allowance = 1.10
    assert grown == pytest.approx(0.1 * (sums.drawn_mm + 2 * kappa * sums.back_draw_mm) * allowance)


@pytest.mark.parametrize("scale", [0.79, 1.21, 2.0])
def test_scaling_beyond_a_fifth_is_refused_with_the_reason(scale):
    with pytest.raises(ScaledTooFar, match="Digitize it anew"):
        Placement(scale=scale)


def test_each_piece_carries_its_own_name(keep):
    motif = keep(RED, name="motif")
    keep(BLUE, name="MARLA", stitches=60)
    keep(BLUE, name="BO", stitches=25)
    job = a_job(motif, pieces=2, tests=0)
    list_names(job, "MARLA\nbo: BO")
    answer = plan_of(again(job))
    red, blue = answer.threads
    lengths = sorted(block.needle_mm for block in answer.blocks if block.block.hex == BLUE)
    # Two ordered and one that may spoil, reckoned with the longer name.
    assert blue.needed_mm == pytest.approx(lengths[0] + 2 * lengths[1], abs=1)
    assert red.needed_mm == pytest.approx(3 * answer.blocks[0].needle_mm, abs=1)
    assert answer.hoopings == 3


def test_a_list_of_names_needs_one_for_each_piece(keep):
    job = a_job(keep(RED, name="motif"), pieces=3)
    with pytest.raises(UnclearNames, match="1 names are listed for 3 pieces"):
        list_names(job, "motif")


def test_every_line_that_fits_no_design_is_named_and_nothing_is_lost(keep):
    job = a_job(keep(RED, name="motif"), pieces=2)
    list_names(job, "one: motif\ntwo: motif")
    with pytest.raises(
        UnclearNames, match="line 1: no design is called MARLA; line 2: no design is called BO"
    ):
        list_names(job, "MARLA\nBO")
    assert [each.text for each in job.names.all()] == ["one", "two"]


def test_an_empty_list_takes_the_names_off(keep):
    job = a_job(keep(RED, name="motif"), pieces=1)
    list_names(job, "one: motif")
    assert list_names(job, " \n") == []


def test_plan_job_answers_like_plan(keep):
    job = a_job(keep(RED, BLUE, name="badge"))
    out = StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("plan_job", job.pk, "--format", "json", stdout=out)
    answer = json.loads(out.getvalue())
    assert stop.value.code == 0
    assert (answer["verdict"], answer["job"], answer["pieces"]) == ("enough", job.pk, 4)


def test_an_unknown_job_is_refused_in_words(keep):
    err = StringIO()
    with pytest.raises(SystemExit) as stop:
        call_command("plan_job", 999, stderr=err)
    assert stop.value.code == 1
    assert "There is no job 999" in err.getvalue()


def test_a_plan_sheet_is_kept_as_a_job(signed_in, keep):
    design = keep(RED, BLUE, name="badge")
    sheet = signed_in.get(reverse("plan_sheet"), {"design": design.pk, "pieces": 7}).content.decode()
    assert "Keep as a job" in sheet
    asked = signed_in.get(reverse("keep_job"), {"design": design.pk, "pieces": 7}).content.decode()
    assert 'value="7"' in asked
    response = signed_in.post(
        reverse("keep_job"), {"what": "caps for the regatta", "design": design.pk, "pieces": 7}, follow=True
    )
    assert "caps for the regatta" in response.content.decode()
    assert Job.objects.get().pieces == 7


def test_a_place_is_changed_and_a_scale_too_far_is_refused_with_what_was_typed(signed_in, keep):
    job = a_job(keep(RED, name="motif"))
    placed = job.placed.get()
    fields = {"order": 1, "hooping": 1, "x_mm": 5, "y_mm": 0, "turned_deg": 90, "scale_percent": 110}
    sent = {f"p{placed.pk}-{name}": value for name, value in fields.items()} | {"form": f"place-{placed.pk}"}
    assert signed_in.post(reverse("edit_job", args=[job.pk]), sent).status_code == 302
    assert job.placed.get().scale_percent == 110
    sent[f"p{placed.pk}-scale_percent"] = 150
    response = signed_in.post(reverse("edit_job", args=[job.pk]), sent)
    assert response.status_code == 422
    assert "Digitize it anew" in response.content.decode()
    assert 'value="150"' in response.content.decode()


def test_deleting_a_job_asks_first_and_keeps_its_designs(signed_in, keep):
    job = a_job(keep(RED, name="motif"))
    assert signed_in.get(reverse("delete_job", args=[job.pk])).status_code == 405
    assert "Keep it" in signed_in.get(reverse("confirm_delete_job", args=[job.pk])).content.decode()
    signed_in.post(reverse("delete_job", args=[job.pk]))
    assert not Job.objects.exists()
    assert Design.objects.count() == 1


def test_the_list_of_jobs_is_empty_or_full(signed_in, keep):
    assert "No jobs yet" in signed_in.get(reverse("jobs")).content.decode()
    a_job(keep(RED, name="motif"))
    assert "crew caps" in signed_in.get(reverse("jobs")).content.decode()

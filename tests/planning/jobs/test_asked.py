"""What a job asks is worked out once: every page and command answers from the same value."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.compute.colour.lab import delta_e_00, lab_from_hex, labs_from_hexes
from inventory.models import Spool
from planning.cutting.cuts import jobs_to_cut, plan_cuts
from planning.cutting.outlook import stabilizer_outlooks
from planning.facts.learning import Kind, learned, observe
from planning.facts.names import NoSuchName, by_name
from planning.jobs.asked import AskedByJobs
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.jobs.season import in_turn
from planning.library.designs import asked_from_file, keep_design
from planning.models import Fabric, Hoop, Job, Machine, Rules
from planning.plan.ask import Question, plan, stitched_mm
from planning.plan.data import plan_as_data
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_range, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED = "#b01c2e"


@pytest.fixture
def design(stitch_file, workshop):
    a_spool(a_shade("R", hex=RED))
    some_bobbins(count=60)
    a_roll(metres=30)
    path = stitch_file(RED, name="cap.pes")
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


def a_job(design, **facts):
    wanted = JobFacts(**({"what": "crew caps", "pieces": 24} | facts))
    made = make_job(wanted, designs=[design], at=NOW, by=None)
    return Job.objects.with_everything().get(pk=made.pk)


def answered(command, *arguments):
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command(command, *map(str, arguments), "--format", "json", stdout=out)
    return json.loads(out.getvalue())


@pytest.fixture
def two_at_a_time(design):
    return a_job(design, fabric=Fabric.objects.get(name="twill"), copies=2)


def test_the_cut_sheet_hoops_as_many_copies_as_the_plan(two_at_a_time):
    (planned,) = plan_of(two_at_a_time).stabilizer
    cut = plan_cuts(jobs_to_cut([two_at_a_time.pk]))
    assert (planned.pieces, cut.hoopings) == (13, (13,))
    assert cut.layers == ((planned,),)
    told = answered("cut_plan", two_at_a_time.pk)
    (piece,) = told["cuts"][0]["layers"]
    assert (told["jobs"][0]["hoopings"], piece["pieces"]) == (13, 13)
    assert piece["piece_mm"] == list(planned.piece_mm)


def test_a_grid_of_copies_takes_the_hoop_that_the_plan_takes(design):
    """Two copies want a larger hoop than one does, and the cut sheet's pieces are as large as that."""
    hoop = Hoop.objects.smallest_first().first()
    wide = 2 * design.width_mm + 20
    small = Hoop.objects.create(
        name="just one", field_width_mm=design.width_mm + 2, field_height_mm=design.height_mm + 2,
        ring_width_mm=design.width_mm + 10, ring_height_mm=design.height_mm + 10,
    )  # fmt: skip
    assert wide < hoop.field_width_mm or wide < hoop.field_height_mm
    Machine.objects.get().hoops.add(small)
    twill = Fabric.objects.get(name="twill")
    for copies in (1, 2):
        job = a_job(design, fabric=twill, copies=copies)
        (planned,) = plan_of(job).stabilizer
        assert plan_cuts(jobs_to_cut([job.pk])).layers == ((planned,),)
        asked = AskedByJobs([job]).of(job)
        assert (planned.piece_mm[0] == small.piece_mm(margin_mm=20)[0]) == (copies == 1)
        assert max(stitched_mm(asked)) >= (design.width_mm if copies == 1 else wide - 20)


def test_running_out_asks_for_the_pieces_that_the_plan_asks_for(two_at_a_time):
    (planned,) = plan_of(two_at_a_time).stabilizer
    (outlook,), unclear = stabilizer_outlooks([two_at_a_time], at=NOW)
    assert (outlook.booked_mm, unclear) == (planned.cut.product_cut.roll_mm, [])


def test_a_job_that_no_hoop_holds_so_often_is_told_of_and_keeps_nothing_else_from_an_answer(
    design, two_at_a_time, client, django_user_model
):
    too_many = a_job(design, what="crowded", fabric=two_at_a_time.fabric, copies=100)
    (outlook,), (problem,) = stabilizer_outlooks([two_at_a_time, too_many], at=NOW)
    assert outlook.booked_mm > 0
    assert problem.startswith("crowded: No hoop of this machine holds more than")
    client.force_login(django_user_model.objects.create_superuser("robin"))
    assert "crowded: No hoop" in client.get(reverse("running_out")).content.decode()
    assert client.get(reverse("cut_sheet", args=[too_many.pk])).status_code == 422


def test_cutting_together_asks_for_the_pieces_that_each_plan_asks_for(design, two_at_a_time):
    other = a_job(design, fabric=two_at_a_time.fabric, what="shirts", pieces=6)
    cut = plan_cuts(jobs_to_cut([two_at_a_time.pk, other.pk]))
    assert cut.hoopings == (13, plan_of(other).hoopings)


# Three reds, 0.6, 1.5 and more from what is asked for.
ASKED, NEAREST, NEAR = "#b01c2e", "#b11e2f", "#b3222f"


@pytest.fixture
def taught(workshop, stitch_file):
    """A badge, two near shades of ranges that one machine uses half as much again of, and its machine."""
    machine = Machine.objects.get()
    a_spool(a_shade("N", hex=NEAREST))
    some_bobbins(count=60)
    for number in range(12):
        observe(
            machine, Kind.NEEDLE, range=a_range(), estimated=100_000, actual=148_000, sigma=500,
            key=f"k{number}", at=NOW, by=None,
        )  # fmt: skip
    assert learned(machine).needle[a_range().pk].median == pytest.approx(1.48, abs=0.02)
    return machine, asked_from_file(read_design_file(stitch_file(ASKED, name="badge.pes")))


def test_what_was_learned_goes_into_the_choice_of_a_shade(taught):
    """The nearest is enough before the factor and short after it: the next, as near as nobody minds, is enough."""
    machine, badge = taught
    apart = float(delta_e_00(tuple(lab_from_hex(ASKED)), labs_from_hexes([NEAR]))[0])
    assert apart < 2
    question = Question(pieces=24, machine=machine)
    needed_mm = plan([badge], question).threads[0].needed_mm
    spool = Spool.objects.get(shade__code="N")
    spool.on_hand = round(needed_mm * 0.97)
    spool.sigma = 0.0
    spool.save()
    assert plan([badge], question).threads[0].verdict in ("tight", "short")
    a_spool(a_shade("M", hex=NEAR))
    (thread,) = plan([badge], question).threads
    assert (thread.choice.shade.code, thread.verdict) == ("M", "enough")
    assert thread.choice.delta_e_00 == pytest.approx(apart, abs=0.01)


def test_each_range_brings_the_factor_that_was_learned_of_it(taught):
    """Another range, of which nothing was learned, covers by its own factor what the learned one does not."""
    machine, badge = taught
    question = Question(pieces=24, machine=machine)
    (thread,) = plan([badge], question).threads
    unlearned = Question(pieces=24, machine=Machine.objects.create(name="other", needles=machine.needles))
    before = plan([badge], unlearned).threads[0]
    assert thread.geometry_mm == before.geometry_mm
    assert thread.needed_mm / before.needed_mm == pytest.approx(thread.factor_median, rel=1e-3)
    assert sum(block.needle_mm for block in plan([badge], question).blocks) * 26 == pytest.approx(
        thread.needed_mm, abs=1
    )


def test_the_path_lost_at_a_change_is_a_length_that_no_factor_scales(taught, stitch_file):
    machine, _ = taught
    two = asked_from_file(read_design_file(stitch_file(ASKED, "#1c2b8d", name="two.pes")))
    a_spool(a_shade("B", hex="#1c2b8d"))
    machine.needles = 6
    machine.save()
    many = plan([two], Question(pieces=24, machine=machine)).threads
    machine.needles = 1
    machine.save()
    one = plan([two], Question(pieces=24, machine=machine)).threads
    for with_path, without in zip(one, many, strict=True):
        assert with_path.needed_mm - without.needed_mm == pytest.approx(26 * machine.threaded_path_mm, abs=1)
        assert with_path.geometry_mm == without.geometry_mm


@pytest.fixture
def two_machines(design):
    """Names that differ only in case; the first by name is not the job's."""
    Machine.objects.all().delete()
    first = Machine.objects.create(name="HERON", needles=1, hooping_s=600)
    own = Machine.objects.create(name="Heron", needles=1, hooping_s=60)
    for machine in (first, own):
        machine.hoops.set(Hoop.objects.all())
    return first, own, a_job(design, fabric=Fabric.objects.get(name="twill"), machine=own)


def test_a_job_is_planned_on_its_own_machine_everywhere(two_machines, client, django_user_model):
    _, own, job = two_machines
    own.hoops.set([Hoop.objects.smallest_first().last()])
    expected = plan_as_data(plan_of(job))
    hands_on = expected["time"]["hands_on_min"]
    assert hands_on < 26 * 10
    client.force_login(django_user_model.objects.create_superuser("robin"))
    page = client.get(reverse("job", args=[job.pk]))
    assert page.context["plan"].hands_on_min == pytest.approx(hands_on, abs=0.06)
    assert page.context["machine"] == own
    (standing,) = in_turn()
    assert standing.verdict == page.context["plan"].verdict
    assert standing.stood.pieces == page.context["plan"].pieces
    assert answered("plan_job", job.pk)["time"] == expected["time"]
    cut = answered("cut_plan", job.pk)
    assert [each["piece_mm"] for each in cut["cuts"][0]["layers"]] == [
        layer["piece_mm"] for layer in expected["stabilizer"]
    ]


def test_a_typed_name_is_the_exact_one_and_an_unclear_one_is_refused(two_machines):
    first, own, _ = two_machines
    assert (by_name(Machine, "HERON"), by_name(Machine, " Heron ")) == (first, own)
    with pytest.raises(NoSuchName, match="HERON, Heron"):
        by_name(Machine, "heron")
    first.delete()
    assert by_name(Machine, "heron") == own


def test_what_many_jobs_ask_is_read_in_as_many_queries_as_what_one_asks(design):
    twill = Fabric.objects.get(name="twill")
    counts = []
    for number in range(6):
        machine = Machine.objects.create(name=f"machine {number}")
        a_job(design, what=f"job {number}", fabric=twill, machine=machine)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            jobs = list(Job.objects.with_everything())
            asked_by = AskedByJobs(jobs)
            asked = [asked_by.of(job) for job in jobs]
        assert len(asked) == number + 1
        counts.append(len(queries))
    assert len(set(counts)) == 1


def test_the_layers_of_many_jobs_are_those_of_their_plans(design):
    Rules.objects.create(pk=1)
    twill = Fabric.objects.get(name="twill")
    for copies in (1, 2, 3):
        job = a_job(design, fabric=twill, copies=copies)
        assert plan_cuts(jobs_to_cut([job.pk])).layers == (plan_of(job).stabilizer,)

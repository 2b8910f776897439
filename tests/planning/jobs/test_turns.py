"""Jobs that want the same thread: who claims it in which turn, and what if one came first."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.season import if_first, in_turn
from planning.jobs.turns import worse_off
from planning.library.designs import keep_design
from planning.models import Design, Job, Machine
from planning.run.promise import promise
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED = "#b01c2e"


@pytest.fixture
def design(stitch_file, workshop) -> Design:
    """A design of which the only red spool does for one job and not for two."""
    a_spool(a_shade("R", hex=RED), left_m=60)
    some_bobbins(count=40)
    a_roll()
    path = stitch_file(RED, name="flag.pes", stitches=800)
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


def a_job(design: Design, what: str, **facts) -> Job:
    wanted = JobFacts(what=what, pieces=5, machine=Machine.objects.first(), **facts)
    return make_job(wanted, designs=[design], at=NOW, by=None)


def verdicts(standings) -> dict[str, str]:
    return {each.job.what: each.verdict for each in standings}


def test_the_job_that_is_due_first_claims_first(design):
    a_job(design, "late", needed_on=date(2026, 5, 1))
    a_job(design, "soon", needed_on=date(2026, 4, 1))
    assert list(verdicts(in_turn()).items()) == [("soon", "enough"), ("late", "short")]


def test_a_hand_set_priority_goes_before_the_day(design):
    a_job(design, "soon", needed_on=date(2026, 4, 1))
    a_job(design, "urgent", needed_on=date(2026, 5, 1), priority=1)
    assert list(verdicts(in_turn()).items()) == [("urgent", "enough"), ("soon", "short")]


def test_a_promise_holds_whoever_comes_before(design):
    held = a_job(design, "promised", needed_on=date(2026, 5, 1))
    promise(Job.objects.with_everything().get(pk=held.pk), at=NOW, by=None)
    a_job(design, "soon", needed_on=date(2026, 4, 1), priority=1)
    assert verdicts(in_turn()) == {"soon": "short", "promised": "enough"}


def test_what_if_a_job_came_first_is_answered_without_saving(design):
    held = a_job(design, "promised", needed_on=date(2026, 4, 1))
    promise(Job.objects.with_everything().get(pk=held.pk), at=NOW, by=None)
    other = a_job(design, "favour", needed_on=date(2026, 5, 1))
    before = in_turn()
    after = if_first(other)
    assert verdicts(after) == {"favour": "enough", "promised": "short"}
    assert [(a.job.what, b.verdict) for a, b in worse_off(before, after)] == [("promised", "short")]
    assert verdicts(in_turn()) == verdicts(before)


def test_more_jobs_are_no_more_queries(design):
    a_job(design, "one")
    with CaptureQueriesContext(connection) as of_one:
        in_turn()
    for number in range(5):
        a_job(design, f"more {number}")
    with CaptureQueriesContext(connection) as of_six:
        assert len(in_turn()) == 6
    assert len(of_six) == len(of_one)


def test_every_job_of_a_long_list_has_its_verdict(design):
    for number in range(45):
        a_job(design, f"job {number}", needed_on=date(2026, 4, 1))
    standings = in_turn()
    assert [each.verdict for each in standings] == ["enough"] + ["short"] * 44
    assert all(each.stood is not None for each in standings)

"""What to look at before buying: on the plan sheet, in JSON and text, and for all open jobs together."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.shelf.looking import looks_by_label
from inventory.shelf.weights import judge_spool, learn_tare, mark_unknown, weigh_spool
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.jobs.measuring import measure_first
from planning.jobs.season import in_turn
from planning.library.designs import keep_design
from planning.models import Design, Machine
from planning.plan.settling import (
    doubt_of_plan,
    doubt_of_standing,
    labels_in_doubt,
    look_first_in_words,
    look_first_of,
)
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#1c2b8d"


@pytest.fixture
def design(stitch_file, workshop) -> Design:
    some_bobbins(count=40)
    a_roll()
    path = stitch_file(RED, BLUE, name="flag.pes", stitches=800)
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


@pytest.fixture
def by_eye(design):
    """A red spool judged by eye to be half full, and enough of blue."""
    spool = a_spool(a_shade("R", hex=RED, name="red"), metres=200, place=None)
    learn_tare(spool, empty_mg=12_100, at=NOW, by=None)
    judge_spool(spool, level="half", key=a_key(), at=NOW, by=None)
    a_spool(a_shade("B", hex=BLUE, name="blue"))
    spool.refresh_from_db()
    return spool


def a_job(design: Design, what: str = "flags", *, pieces: int = 13):
    wanted = JobFacts(what=what, pieces=pieces, machine=Machine.objects.first())
    return make_job(wanted, designs=[design], at=NOW, by=None)


def test_a_tight_job_names_the_spool_judged_by_eye(design, by_eye):
    answer = plan_of(a_job(design))
    assert answer.verdict == "tight"
    (first,) = answer.look_first
    assert [(item.label, item.act) for item in first.items] == [(by_eye.label, "weigh")]
    assert first.settling.chance == pytest.approx(first.settling.enough + first.settling.short)
    assert first.settling.chance > 0.5
    assert look_first_in_words(first).startswith(f"Weigh {by_eye.label} (Skerry Forty R red): ")


def test_weighed_it_is_settled(design, by_eye):
    job = a_job(design)
    weigh_spool(by_eye, gross_mg=12_100 + 4_600, scale_resolution_mg=100, key=a_key(), at=NOW, by=None)
    answer = plan_of(job)
    assert answer.verdict == "enough"
    assert answer.look_first == ()


def test_of_a_spool_of_which_nobody_knows_anything_all_is_likely(design, by_eye):
    mark_unknown(by_eye, key=a_key(), at=NOW, by=None)
    answer = plan_of(a_job(design))
    assert answer.verdict == "unknown"
    (first,) = answer.look_first
    assert 0.2 < first.settling.enough < 0.7
    assert first.settling.chance > 0.6


def test_where_one_colour_is_short_for_sure_the_others_are_told_apart(design, by_eye):
    for spool in by_eye.shade.range.shades.get(code="B").spools.all():
        weigh_spool(spool, gross_mg=12_200, scale_resolution_mg=100, key=a_key(), at=NOW, by=None)
    answer = plan_of(a_job(design))
    assert answer.verdict == "short"
    assert [first.of for first in answer.look_first] == ["red (Skerry R)"]
    assert "likely to settle whether red (Skerry R) is enough" in look_first_in_words(answer.look_first[0])


def test_all_open_jobs_have_one_list(design, by_eye, signed_in):
    a_job(design, "flags", pieces=1)
    a_job(design, "pennants", pieces=9)
    (row,) = measure_first()
    assert row.item.label == by_eye.label
    assert [each.job.what for each in row.settles] == ["pennants"]
    page = page_text(signed_in.get(reverse("measure_first")))
    assert f">{by_eye.label}</a>" in page
    assert "pennants" in page


@pytest.mark.parametrize("pieces", [1, 9, 13, 200])
@pytest.mark.parametrize("known", ["by eye", "unknown", "nearly empty"])
def test_a_job_in_its_turn_has_the_looks_of_its_whole_plan(design, by_eye, pieces, known):
    if known == "unknown":
        mark_unknown(by_eye, key=a_key(), at=NOW, by=None)
    elif known == "nearly empty":
        weigh_spool(by_eye, gross_mg=12_200, scale_resolution_mg=100, key=a_key(), at=NOW, by=None)
    for _ in range(2):
        a_job(design, pieces=pieces)
    standings = in_turn(plans=2)
    plans = [each.plan for each in standings]
    looks = looks_by_label(label for plan in plans for label in labels_in_doubt(doubt_of_plan(plan)))
    of_plans = [look_first_of(doubt_of_plan(plan), looks) for plan in plans]
    assert [look_first_of(doubt_of_standing(each.stood), looks) for each in standings] == of_plans
    assert [plan.verdict for plan in plans] == [each.verdict for each in standings]


def test_the_list_reads_no_more_for_more_jobs(design, by_eye):
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            measure_first()
        return len(seen)

    a_job(design, "one")
    once = queries()
    for number in range(4):
        a_job(design, f"another {number}")
    assert queries() <= once


def test_nothing_to_measure_is_said(design, signed_in):
    assert "Nothing to measure" in page_text(signed_in.get(reverse("measure_first")))


def test_the_sheet_says_it_before_it_says_buy(design, by_eye, signed_in):
    page = page_text(signed_in.get(reverse("job", args=[a_job(design).pk])))
    assert page.index(f"Weigh {by_eye.label}") < page.index("To buy")


def test_commands_say_it_too(design, by_eye):
    job = a_job(design)
    out = StringIO()
    call_command("measure_first", "--format", "json", stdout=out)
    (row,) = json.loads(out.getvalue())["measure_first"]
    assert (row["label"], row["act"], row["settles"][0]["job"]) == (by_eye.label, "weigh", job.pk)
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("plan_job", str(job.pk), "--format", "json", stdout=out)
    (first,) = json.loads(out.getvalue())["measure_first"]
    assert first["items"][0]["label"] == by_eye.label
    assert first["of"] is None
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("plan_job", str(job.pk), stdout=out)
    assert "Before you buy" in out.getvalue()

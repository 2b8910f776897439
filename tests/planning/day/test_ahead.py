"""The page of open jobs: whether they are stitched in time, on which days at which machine, and what each waits for."""

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.compute.units import METRIC
from planning.day.agenda import agenda
from planning.day.ahead import MOST_BLOCKS, jobs_ahead
from planning.jobs import season
from planning.jobs.jobs import plan_of
from planning.models import Design, Job, Machine, Rules
from planning.run.promise import promise
from planning.run.ticks import Happening, begin, note
from tests.factories import NOW
from tests.pages import page_text
from tests.planning.day.open_jobs import a_job

pytestmark = pytest.mark.django_db
TODAY = date(2026, 3, 2)  # a Monday


def test_the_act_and_the_last_day_are_those_of_today_and_of_the_plan(design: Design) -> None:
    a_job(design, "soon", needed_on=date(2026, 4, 1))
    a_job(design, "late", needed_on=date(2026, 5, 1))
    ahead = jobs_ahead(today=TODAY, units=METRIC)
    acts = [(each.job.pk, each.asking.act) for each in ahead.jobs]
    assert acts == [(each.standing.job.pk, each.act) for each in agenda(today=TODAY, units=METRIC).asking]
    assert [act for _, act in acts] == ["promise", "buy"]
    assert (ahead.waiting, ahead.late) == (1, ())
    plan = plan_of(ahead.jobs[0].job, with_advice=False)
    assert ahead.jobs[0].start_by == plan.start_by
    assert ahead.jobs[0].laid.to_min == pytest.approx(plan.machine_min + plan.hands_on_min)
    assert "ox red" in ahead.jobs[1].asking.cause


def test_what_runs_comes_first_with_what_is_left_of_it_and_machines_work_side_by_side(design: Design) -> None:
    first = Machine.objects.get()
    other = Machine.objects.create(name="six needles", needles=6, bobbin_style=first.bobbin_style)
    a_job(design, "before it", priority=1, pieces=1)
    running = a_job(design, "flags", pieces=4)
    beside = a_job(design, "beside", machine=other, pieces=1)
    anywhere = a_job(design, "anywhere", machine=None, pieces=1)
    promise(running, at=NOW, by=None, although_short=True)
    run = begin(running, at=NOW)
    whole = season.minutes_in_turn()[running.pk]
    note(running, Happening(kind="piece", position=run.left[0], key="k"), at=NOW, by=None)
    ahead = jobs_ahead(today=TODAY, units=METRIC)
    laid = {each.job.pk: each.laid for each in ahead.jobs}
    of = len(run.left)
    assert laid[running.pk].from_min == 0
    assert laid[running.pk].to_min == pytest.approx(whole * (of - 1) / of)
    assert laid[beside.pk].from_min == 0
    assert laid[anywhere.pk].machine == first.pk
    assert ahead.by_job[running.pk].asking.act == "run"
    assert [each.machine.name for each in ahead.machines] == sorted([first.name, other.name])


def test_a_job_without_known_minutes_has_a_day_and_says_so(design: Design, signed_in: Client) -> None:
    a_job(design, "no design").placed.all().delete()
    ahead = jobs_ahead(today=TODAY, units=METRIC)
    assert ahead.guessed == 1
    assert ahead.jobs[0].laid.to_min == Rules.current().working_hours_a_day * 60
    assert ahead.jobs[0].start_by is None
    assert "nobody knows how long it takes" in page_text(signed_in.get(reverse("jobs")))


def test_the_page_says_who_would_be_late(design: Design, signed_in: Client) -> None:
    today = timezone.localdate()
    a_job(design, "in time", needed_on=today + timedelta(days=60), pieces=1)
    shown = page_text(signed_in.get(reverse("jobs")))
    assert "The one open job can be stitched in time." in shown
    a_job(design, "too late", needed_on=today - timedelta(days=3), pieces=1)
    answer = signed_in.get(reverse("jobs"))
    shown = page_text(answer)
    assert "1 of 2 would end after its day" in shown
    assert "was due" in shown
    assert [each.job.what for each in answer.context["ahead"].late] == ["too late"]
    late = answer.context["ahead"].calendar.columns[0]
    assert late.kind == "late"


def test_the_page_draws_each_state_by_its_shape_and_its_words(design: Design, signed_in: Client) -> None:
    jobs = {state: a_job(design, f"a {state} one", pieces=1) for state in ("draft", "promised", "running")}
    for state in ("promised", "running"):
        promise(jobs[state], at=NOW, by=None, although_short=True)
    begin(jobs["running"], at=NOW)
    html = signed_in.get(reverse("jobs")).content.decode()
    for state, job in jobs.items():
        assert f'class="cal-{state}"' in html
        assert f"no. {job.pk}" in html
    shown = page_text(signed_in.get(reverse("jobs")))
    for said in ("Run sheet", "Begin it", "draft: holds nothing", "free from", "Next due first"):
        assert said in shown
    assert reverse("count_needed") in html
    assert not re.search(r'style="|<script>', html[html.index("<main") :])
    Job.objects.filter(pk=jobs["draft"].pk).update(priority=1)
    assert "by priority, then by day" in page_text(signed_in.get(reverse("jobs")))


def test_an_empty_workshop_and_one_with_nothing_open(workshop: Machine, signed_in: Client) -> None:
    assert "No jobs yet" in page_text(signed_in.get(reverse("jobs")))
    Job.objects.create(what="caps", pieces=1, state="dropped", made_at=NOW, ended_at=NOW)
    shown = page_text(signed_in.get(reverse("jobs")))
    assert "No job is open." in shown
    assert "Same again" in shown


def test_more_jobs_are_no_more_queries_and_a_page_that_stays_light(design: Design, signed_in: Client) -> None:
    counted = []
    for number in (2, 49):
        for each in range(number):
            a_job(design, f"job {number}.{each}", pieces=1)
        signed_in.get(reverse("jobs"))
        with CaptureQueriesContext(connection) as queries:
            answer = signed_in.get(reverse("jobs"))
        counted.append(len(queries))
    assert counted[0] == counted[1]
    assert len(answer.content) < 100_000
    assert len(answer.context["page_obj"].object_list) == 50
    ahead = answer.context["ahead"]
    drawn = sum(len(each.drawn.blocks) for each in ahead.machines)
    assert drawn <= MOST_BLOCKS
    assert drawn + ahead.calendar.later == 51
    assert f"and {ahead.calendar.later} later" in page_text(answer)

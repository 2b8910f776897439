"""What is bought is there before the work starts: one meaning of that on every page, in commands and for programs."""

import json
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from inventory.acting.days import told_day
from inventory.compute.units import METRIC
from inventory.models import Shade, Staple
from planning.buying.basket import plan_basket
from planning.buying.needs import needs_of_all
from planning.compute.buying.in_time import material_day, order_by
from planning.compute.buying.netting import DatedNeed, Receipt, net_over_time
from planning.compute.buying.packs import PackOffer, cheapest_purchase
from planning.compute.hooping.timing import start_by
from planning.day.ahead import jobs_ahead
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.library.designs import keep_design
from planning.models import Job
from planning.plan.data import plan_as_data, shopping_rows
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_put_up, a_shade, a_spool, an_offer, some_bobbins
from tests.pages import page_text

TODAY = date(2026, 3, 2)
RED = "#b01c2e"
days = st.dates(min_value=TODAY - timedelta(days=60), max_value=TODAY + timedelta(days=300))
minutes = st.floats(min_value=0, max_value=20_000)
lead = st.integers(min_value=0, max_value=60)


@given(due=days, takes=minutes, lead_time_days=lead)
def test_what_is_ordered_on_its_day_is_there_before_the_work_starts(due, takes, lead_time_days):
    start = start_by(due, minutes=takes, working_minutes_a_day=360)
    there_by = material_day(start)
    assert order_by(there_by, lead_time_days=lead_time_days) + timedelta(days=lead_time_days) < start <= due
    assert there_by.isoweekday() != 7
    assert start - there_by <= timedelta(days=2)


@given(
    jobs=st.lists(st.tuples(days, minutes, st.integers(1, 500)), min_size=1, max_size=5),
    free=st.integers(0, 800),
    coming=st.lists(st.builds(Receipt, days, st.integers(1, 500)), max_size=3),
    lead_time_days=lead,
)
def test_of_many_jobs_what_lacks_is_ordered_before_one_of_them_starts(jobs, free, coming, lead_time_days):
    starts = [start_by(due, minutes=takes, working_minutes_a_day=360) for due, takes, _ in jobs]
    needs = [
        DatedNeed(material_day(start), float(takes))
        for start, (_, _, takes) in zip(starts, jobs, strict=True)
    ]
    net = net_over_time(needs, free=free, receipts=coming, today=TODAY, lead_time_days=lead_time_days)
    assert (net.order_by is None) == (net.missing == 0)
    if net.order_by is not None:
        # The days go by in order, and so each job that lacks starts no sooner than the one that was found.
        assert net.run_out in {need.day for need in needs}
        lacking = [start for start in starts if material_day(start) >= net.run_out]
        assert net.order_by <= min(lacking)


def an_offer_of(supplier: str, price: str, *, days: int) -> PackOffer:
    return PackOffer(supplier, "1,000 m spool", 1_000_000, 1, Decimal(price), days)


def test_a_plan_buys_where_it_comes_in_time_and_where_nothing_does_from_the_quickest():
    cheap, quick = an_offer_of("Slow Mail", "3.20", days=8), an_offer_of("Trade Counter", "3.65", days=3)
    purchase = cheapest_purchase(56_000, [cheap, quick])
    assert purchase is not None
    assert purchase.offer == cheap
    assert purchase.in_time(None, today=TODAY).offer == cheap
    for days_to_go, offer in ((8, cheap), (7, quick), (3, quick), (1, quick)):
        in_time = purchase.in_time(TODAY + timedelta(days=days_to_go), today=TODAY)
        assert in_time.offer == offer, days_to_go


@pytest.fixture
def long_job(stitch_file, workshop, db) -> Job:
    """Two weeks of work that is due in thirty days, for want of thread that comes five days after it is ordered."""
    red = a_shade("R", hex=RED, name="harbour red")
    a_spool(red, left_m=20)
    some_bobbins(count=400)
    an_offer(a_put_up(red.range), price="4.20", lead_time_days=5)
    path = stitch_file(RED, stitches=900)
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    due = timezone.localdate() + timedelta(days=30)
    job = make_job(JobFacts(what="pennants", pieces=400, needed_on=due), designs=[design], at=NOW, by=None)
    return Job.objects.with_everything().get(pk=job.pk)


def test_the_plan_proposes_whom_the_basket_chooses(long_job, workshop):
    today = timezone.localdate()
    there_by = plan_of(long_job).material_day
    put_up = Shade.objects.get(name="harbour red").range.put_ups.get()
    an_offer(put_up, price="3.10", supplier="Slow Mail", lead_time_days=(there_by - today).days + 1)
    (row,) = [each for each in shopping_rows(plan_of(long_job)) if "harbour red" in each["what"]]
    (part,) = plan_basket(needs_of_all(today=today), today=today).parts
    assert row["supplier"] == part.supplier.name != "Slow Mail"
    assert date.fromisoformat(row["order_by"]) >= today


def test_plan_jobs_buying_and_programs_say_the_same_days(long_job, client, person):
    today = timezone.localdate()
    plan = plan_of(long_job)
    told = plan_as_data(plan)
    (row,) = [each for each in told["shopping"] if "harbour red" in each["what"]]
    start = date.fromisoformat(told["time"]["start_by"])
    there_by = date.fromisoformat(told["time"]["material_by"])
    assert long_job.needed_on - start > timedelta(days=10)
    assert there_by == material_day(start)
    assert date.fromisoformat(row["order_by"]) == there_by - timedelta(days=5)

    (open_job,) = jobs_ahead(today=today, units=METRIC).jobs
    assert open_job.start_by == start
    needs = needs_of_all(today=today)
    (need,) = [each for each in needs.needs if each.material.name == "harbour red"]
    assert (need.needed_on, need.order_by.isoformat()) == (there_by, row["order_by"])
    (line,) = [each for part in plan_basket(needs, today=today).parts for each in part.lines]
    assert line.order_by == need.order_by

    out = StringIO()
    with pytest.raises(SystemExit):  # there is something to buy
        call_command("shopping_list", "--format", "json", stdout=out)
    (listed,) = [each for each in json.loads(out.getvalue()) if "harbour red" in each["what"]]
    assert (listed["order_by"], listed["needed_on"]) == (row["order_by"], there_by.isoformat())
    client.force_login(person)
    page = page_text(client.get(reverse("job", args=[long_job.pk])))
    assert f"<dt>Start by</dt><dd>{told_day(start)}</dd>" in page
    assert f"Order by {told_day(need.order_by)}." in page


def test_a_job_that_is_due_on_no_day_hurries_nothing_though_its_thread_is_kept_in_stock(long_job):
    red = Shade.objects.get(name="harbour red")
    a_spool(red, left_m=1_000)
    staple = Staple.objects.create(shade=red, minimum=5_000)
    Job.objects.filter(pk=long_job.pk).update(needed_on=None)

    def need():
        return next(
            each for each in needs_of_all(today=timezone.localdate()).needs if each.material.record == red
        )

    assert need().missing > 0
    assert (need().needed_on, need().order_by) == (None, None)
    staple.minimum = 2_000_000
    staple.save()
    assert need().order_by == timezone.localdate()

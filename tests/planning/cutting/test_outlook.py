"""When stabilizer runs out: what is free, what jobs will cut, what past weeks took."""

import json
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import ledger
from inventory.models import Offer, StabilizerRoll, Supplier
from inventory.shelf.receipts import receive_rolls
from planning.cutting.cuts import fingerprint, jobs_to_cut, plan_cuts, post_cut
from planning.cutting.outlook import stabilizer_outlooks
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.library.designs import keep_design
from planning.models import Fabric, Job
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_delivery, a_key, a_roll, a_stabilizer

pytestmark = pytest.mark.django_db

TODAY = NOW.date()


@pytest.fixture
def design(stitch_file, workshop):
    a_roll()
    path = stitch_file("#b01c2e")
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


def a_job(design, *, pieces=10, on=None):
    """Ten pieces and two to spare take six strips of 190 mm."""
    twill = Fabric.objects.get(name="twill")
    wanted = JobFacts(what=f"{pieces} caps", pieces=pieces, fabric=twill, needed_on=on)
    return make_job(wanted, designs=[design], at=NOW, by=None)


def outlooks(*, at=NOW):
    return stabilizer_outlooks(list(Job.objects.with_everything()), at=at)[0]


def used(mm, *, days_ago):
    roll = StabilizerRoll.objects.first()
    return ledger.use(roll, quantity=mm, key=a_key(), at=NOW - timedelta(days=days_ago), by=None)


def test_booked_jobs_go_down_on_their_days(design):
    a_job(design, on=TODAY + timedelta(days=9))
    (outlook,) = outlooks()
    assert (outlook.free_mm, outlook.booked_mm, outlook.per_week_mm) == (10_000, 6 * 190, 0)
    assert [step.balance for step in outlook.projection.steps[7:9]] == [10_000, 10_000 - 6 * 190]
    assert outlook.projection.run_out_on is None


def test_what_a_job_lacks_counts_as_taken(design):
    used(9_500, days_ago=100)
    a_job(design, on=TODAY + timedelta(days=9))
    (outlook,) = outlooks()
    assert outlook.projection.run_out_on == TODAY + timedelta(days=8)  # the day before it starts


def test_what_is_cut_for_a_job_is_not_booked_again(design):
    job = a_job(design)
    cut = plan_cuts(jobs_to_cut([job.pk]))
    post_cut(cut.jobs, shown=fingerprint(cut.cuts), key="k", at=NOW, by=None)
    (outlook,) = outlooks()
    assert (outlook.free_mm, outlook.booked_mm) == (10_000 - 6 * 190, 0)


def test_past_weeks_are_averaged_and_what_was_taken_back_is_left_out(design):
    used(1_820, days_ago=20)
    ledger.reverse(used(900, days_ago=10), key=a_key(), at=NOW, by=None)
    used(5_000, days_ago=120)
    (outlook,) = outlooks()
    assert outlook.per_week_mm == 1_820 * 7 // 91
    # 3,180 mm are left at 20 a day: 159 days are covered.
    assert outlook.projection.run_out_on == TODAY + timedelta(days=159)


def test_a_short_history_is_averaged_over_four_weeks(design):
    used(1_400, days_ago=3)
    (outlook,) = outlooks()
    assert outlook.per_week_mm == 1_400 * 7 // 28


def test_the_day_to_order_lies_the_lead_time_of_the_cheapest_offer_before(design):
    used(9_500, days_ago=100)
    a_job(design, on=TODAY + timedelta(days=9))
    quick = Supplier.objects.create(name="Quay Supplies", lead_time_days=2)
    slow = Supplier.objects.create(name="Slipway Stores", lead_time_days=6)
    for supplier, price in ((quick, "30"), (slow, "20")):
        Offer.objects.create(
            supplier=supplier,
            product=a_stabilizer(),
            roll_width_mm=500,
            roll_length_mm=20_000,
            price=Decimal(price),
        )
    (outlook,) = outlooks()
    assert (outlook.supplier, outlook.projection.order_by) == ("Slipway Stores", TODAY + timedelta(days=2))


def test_narrow_rolls_count_by_their_area(design):
    receive_rolls(a_stabilizer(), width_mm=250, length_mm=10_000, delivery=a_delivery())
    (outlook,) = outlooks()
    assert (outlook.width_mm, outlook.free_mm) == (500, 15_000)


def test_the_first_to_run_out_comes_first(design):
    a_roll(a_stabilizer("cut-away"), metres=1)
    fleece = Fabric.objects.create(name="fleece")
    fleece.layers.create(kind="cut-away")
    wanted = JobFacts(what="hats", pieces=20, fabric=fleece, needed_on=TODAY)
    make_job(wanted, designs=[design], at=NOW, by=None)
    assert [str(each.product) for each in outlooks()] == ["Skerry cut-away 50", "Skerry tear-away 50"]


def test_the_command_and_the_page_tell_the_same(design, client, person):
    job = a_job(design, pieces=400, on=date.today() + timedelta(days=30))
    there_by = plan_of(Job.objects.with_everything().get(pk=job.pk)).material_day
    out = StringIO()
    call_command("running_out", "--format", "json", stdout=out)
    (row,) = json.loads(out.getvalue())["stabilizer"]
    assert row["run_out_on"] == there_by.isoformat()
    client.force_login(person)
    page = client.get(reverse("running_out")).content.decode()
    assert "400 caps" in page
    assert "is the first to run out" in page
    out = StringIO()
    call_command("running_out", stdout=out)
    assert row["run_out_on"] in out.getvalue()


def test_an_empty_shelf_says_what_the_page_is_for(client, person):
    client.force_login(person)
    assert "No rolls yet" in client.get(reverse("running_out")).content.decode()


def test_the_queries_of_the_page_do_not_grow_with_jobs_or_rolls(design, client, person):
    client.force_login(person)
    a_job(design)
    with CaptureQueriesContext(connection) as few:
        client.get(reverse("running_out"))
    for _ in range(4):
        a_job(design)
        a_roll()
    a_roll(a_stabilizer("cut-away"))
    with CaptureQueriesContext(connection) as more:
        client.get(reverse("running_out"))
    assert len(more) == len(few)

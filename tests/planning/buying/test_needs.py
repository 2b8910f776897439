"""What must be bought: needs with their reasons, the basket, its orders, and shortages that end on receipt."""

import csv
import json
import math
import os
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.compute.knowing import of_rolls_together
from inventory.ledger import ledger_problems, reverse, use
from inventory.ledger.use_history import roll_material, shade_material, weekly_use
from inventory.management.base import stray_lines_aside
from inventory.models import Order, Shade, Staple, Supplier
from inventory.orders.orders import Arrived, cancel_order, order_problems, place_order, receive_order
from inventory.shelf.offcuts import cut_piece
from inventory.shelf.receipts import receive_needles
from planning.buying.basket import plan_basket
from planning.buying.drafting import draft_orders
from planning.buying.materials import all_materials
from planning.buying.needs import MaterialNeed, needs_of_all, open_jobs
from planning.buying.rows import shopping_rows_of_all
from planning.compute.buying.basket import NoBasket
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.jobs.season import forget
from planning.library.designs import keep_design
from planning.models import Fabric, Job, Rules
from planning.plan.data import shopping_rows
from planning.plan.shelf import stabilizer_stock
from planning.stitch_files.reading import read_design_file
from tests.factories import (
    NOW,
    a_delivery,
    a_key,
    a_put_up,
    a_range,
    a_roll,
    a_roll_offer,
    a_shade,
    a_spool,
    an_offer,
    some_bobbins,
    use_up,
)

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#1c2b8d"
TODAY = date(2026, 3, 2)


@pytest.fixture
def red() -> Shade:
    return a_shade("R", hex=RED, name="harbour red")


@pytest.fixture
def shelf(workshop, red: Shade) -> None:
    a_spool(red, left_m=100)
    some_bobbins(count=40)
    a_roll(metres=20)
    an_offer(a_put_up(red.range), price="4.20")


@pytest.fixture
def job_of(stitch_file, shelf):
    def made(*colours: str, pieces: int = 40, days: int | None = 20, name: str = "badge", **facts) -> Job:
        path = stitch_file(*colours, name=f"{name}.pes", stitches=900)
        design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
        needed_on = None if days is None else TODAY + timedelta(days=days)
        wanted = JobFacts(what=f"{pieces} {name}", pieces=pieces, needed_on=needed_on, **facts)
        job = make_job(wanted, designs=[design], at=NOW, by=None)
        return Job.objects.with_everything().get(pk=job.pk)

    return made


def need_of(name: str) -> MaterialNeed:
    return next(each for each in needs_of_all(today=TODAY).needs if each.material.name == name)


def place_all() -> list[Order]:
    plan = plan_basket(needs_of_all(today=TODAY), today=TODAY)
    return [place_order(order, at=NOW) for order in draft_orders(lambda: plan, key=a_key(), at=NOW, by=None)]


def receive_all(order: Order) -> None:
    arrived = [Arrived(line, line.to_come) for line in order.lines.all()]
    receive_order(order, arrived=arrived, key=a_key(), at=NOW, by=None)


def test_a_need_names_the_jobs_behind_it(job_of):
    first, second = job_of(RED, name="pennant"), job_of(RED, days=10, name="cap")
    need = need_of("harbour red")
    assert {each.job for each in need.jobs} == {first.pk, second.pk}
    assert need.net.gross == sum(each.quantity for each in need.jobs)
    assert (need.missing > 0, need.needed_on) == (True, TODAY + timedelta(days=9))  # the day before it starts
    assert need.order_by == TODAY + timedelta(days=4)


def test_one_job_alone_lacks_what_its_plan_says(job_of):
    job = job_of(RED)
    row = shopping_rows(plan_of(job))[0]
    assert need_of("harbour red").missing == pytest.approx(row["need_mm"], rel=0.011)
    assert need_of("harbour red").missing >= row["need_mm"]


def test_two_jobs_share_one_spool_and_lack_more_than_either(job_of, red: Shade):
    a_spool(red, left_m=900)
    jobs = [job_of(RED, pieces=120, name="pennant"), job_of(RED, pieces=120, name="cap")]
    alone = [sum(row["need_mm"] for row in shopping_rows(plan_of(job))) for job in jobs]
    assert need_of("harbour red").missing > sum(alone)


def test_a_shortage_ends_the_moment_its_order_is_received(job_of):
    job = job_of(RED)
    assert plan_of(job).threads[0].verdict == "short"
    (order,) = place_all()
    need = need_of("harbour red")
    assert (need.missing, need.net.on_order > 0) == (0, True)
    assert plan_of(job).threads[0].verdict == "short"  # it has not come yet
    receive_all(order)
    assert plan_of(job).threads[0].verdict == "enough"
    assert needs_of_all(today=TODAY).to_buy == ()


def test_what_comes_too_late_is_bought_again_from_somebody_quicker(job_of, red: Shade):
    job_of(RED, days=6)
    (order,) = place_all()
    order.expected_on = TODAY + timedelta(days=9)
    order.save()
    need = need_of("harbour red")
    assert (need.missing > 0, need.needed_on) == (
        True,
        date(2026, 3, 5),
    )  # due on a Sunday, and begun on the Friday


def test_a_cancelled_order_is_needed_again(job_of):
    job_of(RED)
    (order,) = place_all()
    assert need_of("harbour red").missing == 0
    cancel_order(order, at=NOW)
    assert need_of("harbour red").missing > 0


def test_a_day_too_near_is_said_to_be_late(job_of):
    job_of(RED, days=2)
    plan = plan_basket(needs_of_all(today=TODAY), today=TODAY)
    assert [(need.material.name, on) for need, on in plan.late] == [
        ("harbour red", TODAY + timedelta(days=5))
    ]
    assert plan.parts[0].order_by == TODAY - timedelta(days=4)


def test_what_nobody_sells_is_listed_without_packs(job_of):
    a_spool(a_shade("X", hex=BLUE, name="deep blue", range=a_range("Skerry", "Other")), left_m=1)
    job_of(BLUE)
    needs = needs_of_all(today=TODAY)
    plan = plan_basket(needs, today=TODAY)
    rows = {row["what"]: row for row in shopping_rows_of_all(plan, needs)}
    assert rows["Skerry Other X deep blue"]["packs"] == 0
    assert plan.unsold[0].material.name == "deep blue"


def test_bobbins_and_stabilizer_run_out_too(job_of, workshop):
    a_roll_offer(price="18.00")
    job_of(RED, pieces=2000, fabric=Fabric.objects.get(name="twill"))
    needs = {need.material.kind: need for need in needs_of_all(today=TODAY).to_buy}
    assert set(needs) == {"thread", "bobbins", "stabilizer"}
    assert needs["bobbins"].missing == plan_of(Job.objects.with_everything().get()).bobbins.sure_count - 40
    (order,) = place_all()
    assert {line.what for line in order.lines.all()} == {"Skerry Forty R harbour red", "Skerry tear-away 50"}
    receive_all(order)
    left = {need.material.kind for need in needs_of_all(today=TODAY).to_buy}
    assert "stabilizer" not in left
    assert "thread" not in left


def test_of_rolls_that_one_hand_cut_buying_is_as_sure_as_a_plan(workshop):
    rolls = [a_roll(metres=30), a_roll(metres=30)]
    for roll in rolls:
        for _ in range(10):
            cut_piece(roll, width_mm=300, height_mm=1_000, key=a_key(), at=NOW, by=None)
    (stabilizer,) = [each for each in stabilizer_stock() if each.rolls]
    of_plan = of_rolls_together((roll.sigma_mm, roll.cut_so_far) for roll in stabilizer.rolls)
    of_buying = all_materials(jobs=set(), today=TODAY)[roll_material(stabilizer.product_id)]
    assert of_buying.free_sigma == pytest.approx(of_plan)
    assert of_plan > math.hypot(*(roll.sigma_mm for roll in stabilizer.rolls)) + 10


def test_a_staple_is_kept_though_no_job_wants_it(shelf, red: Shade):
    assert needs_of_all(today=TODAY).to_buy == ()
    Staple.objects.create(shade=red, minimum=600_000)
    need = need_of("harbour red")
    assert (need.kept_for, need.missing, need.needed_on) == ("a staple", 505_000, None)


def test_white_is_a_staple_until_somebody_says_no(shelf):
    white = a_shade("W", hex="#fbfbf8", name="sail white")
    spool = a_spool(white)
    use_up(spool, 900_000)
    need = need_of("sail white")
    assert (need.kept_for, need.material.minimum) == ("a staple", 1_000_000)
    Staple.objects.create(shade=white, minimum=0)
    assert all(each.material.name != "sail white" for each in needs_of_all(today=TODAY).to_buy)


def test_what_is_used_every_week_is_reordered_before_it_runs_out(shelf, red: Shade):
    for week in range(1, 20):
        spool = a_spool(red, at=NOW - timedelta(weeks=20))
        use_up(spool, 950_000, at=NOW - timedelta(weeks=week))
    need = need_of("harbour red")
    assert need.kept_for == "in steady use"
    assert need.reorder is not None
    assert need.reorder.demand.method == "normal"
    assert need.reorder.demand.mean == pytest.approx(950_000)
    assert need.history[-1] == 950_000
    # Lead time and review are 12 days; 19 rests of 50 m and 100 m are there. So few weeks ask for some more.
    takes = 950_000 * 12 / 7
    assert takes - need.material.free < need.missing < 1.4 * takes - need.material.free
    assert need.rests_on.startswith(
        f"It rests on {len(need.history)} weeks of use; until there is half a year we keep"
    )


def test_use_taken_back_is_no_use(shelf, red: Shade):
    spool = a_spool(red, at=NOW - timedelta(weeks=3))
    entry = use(spool, quantity=500_000, key=a_key(), at=NOW - timedelta(weeks=2), by=None)
    assert sum(weekly_use(today=TODAY)[shade_material(red.pk)]) == 500_000
    reverse(entry, key=a_key(), at=NOW, by=None)
    assert sum(weekly_use(today=TODAY)[shade_material(red.pk)]) == 0


def test_an_equal_shade_is_bought_where_it_is_cheaper(job_of, red: Shade):
    other = a_shade("R2", hex="#b01d2e", name="signal red", range=a_range("Skerry", "Other"))
    use_up(red.spools.get(), 100_000)
    an_offer(a_put_up(other.range), price="2.00", supplier="Pier Threads")
    job_of(RED)
    assert plan_basket(needs_of_all(today=TODAY), today=TODAY).parts[0].supplier.name == "Quay Supplies"
    Rules.objects.create(pk=1, equivalent_within=1.0)
    plan = plan_basket(needs_of_all(today=TODAY), today=TODAY)
    assert [line.sold.material.name for line in plan.parts[0].lines] == ["signal red"]


def test_a_strict_job_takes_no_equal_beyond_its_own_limit(job_of, red: Shade):
    other = a_shade("R2", hex="#b3202f", name="signal red", range=a_range("Skerry", "Other"))
    use_up(red.spools.get(), 100_000)
    an_offer(a_put_up(other.range), price="2.00", supplier="Pier Threads")
    Rules.objects.create(pk=1, equivalent_within=3.0, brand_colour_limit=0.2)
    job = job_of(RED, strictness="brand")

    def bought() -> list[str]:
        plan = plan_basket(needs_of_all(today=TODAY), today=TODAY)
        return [line.sold.material.name for part in plan.parts for line in part.lines]

    assert "signal red" not in bought()
    Job.objects.filter(pk=job.pk).update(strictness="picture")
    assert "signal red" in bought()


def test_only_these_suppliers_and_one_supplier_only(job_of, red: Shade):
    an_offer(a_put_up(red.range), price="3.00", supplier="Pier Threads")
    job_of(RED)
    needs = needs_of_all(today=TODAY)
    assert [part.supplier.name for part in plan_basket(needs, today=TODAY).parts] == ["Pier Threads"]
    only = plan_basket(needs, today=TODAY, only=["Quay Supplies"])
    assert [part.supplier.name for part in only.parts] == ["Quay Supplies"]
    alone = plan_basket(needs, today=TODAY, one_supplier=True)
    assert [(each.supplier, each.extra > 0) for each in alone.alone] == [
        ("Pier Threads", False),
        ("Quay Supplies", True),
    ]
    with pytest.raises(NoBasket, match="no supplier called Mole"):
        plan_basket(needs, today=TODAY, only=["Mole"])


def test_orders_of_a_basket_are_drafted_once(job_of):
    job_of(RED)
    plan = plan_basket(needs_of_all(today=TODAY), today=TODAY)
    first = draft_orders(lambda: plan, key="list", at=NOW, by=None)
    assert draft_orders(lambda: plan, key="list", at=NOW, by=None) == first
    assert (Order.objects.count(), first[0].total) == (1, plan.basket.total)


def test_queries_do_not_grow_with_materials(job_of, red: Shade):
    job_of(RED)
    forget()
    with CaptureQueriesContext(connection) as before:
        plan_basket(needs_of_all(today=TODAY), today=TODAY)
    for number in range(8):
        a_spool(a_shade(f"N{number}", hex=f"#0{number}a0{number}0", name=f"green {number}"))
        Staple.objects.create(shade=Shade.objects.get(code=f"N{number}"), minimum=3_000_000)
        an_offer(a_put_up(metres=500 + number), supplier=f"supplier {number}")
    forget()
    with CaptureQueriesContext(connection) as after:
        plan_basket(needs_of_all(today=TODAY), today=TODAY)
    assert len(after) <= len(before)


def test_queries_do_not_grow_with_jobs(job_of):
    job_of(RED)
    needs_of_all(today=TODAY)
    forget()
    with CaptureQueriesContext(connection) as before:
        needs_of_all(today=TODAY)
    for number in range(5):
        job_of(RED, name=f"badge {number}", pieces=2)
    forget()
    with CaptureQueriesContext(connection) as after:
        assert len(needs_of_all(today=TODAY).needs[0].jobs) == 6
    assert len(after) <= len(before)


def test_a_job_that_cannot_be_planned_is_told_and_the_others_are_bought_for(job_of):
    job_of(RED)
    job_of(RED, name="too many", copies=50)
    needs = needs_of_all(today=TODAY)
    assert any("50 are asked for" in sentence for sentence in needs.unclear)
    assert needs.to_buy


def run(*words: object) -> tuple[int, str]:
    out = StringIO()
    try:
        call_command(*[str(word) for word in words], stdout=out, stderr=StringIO())
    except SystemExit as stop:
        return int(stop.code or 0), out.getvalue()
    return 0, out.getvalue()


def test_the_list_has_the_keys_that_scripts_rely_on(job_of):
    job = job_of(RED, days=None)
    code, out = run("shopping_list", "--format", "json")
    (row,) = json.loads(out)
    assert code == 3
    assert list(row)[:8] == [
        "what",
        "need_mm",
        "packs",
        "put_up",
        "supplier",
        "unit_price",
        "total",
        "order_by",
    ]
    assert (row["what"], row["supplier"], row["unit_price"], row["order_by"], row["jobs"]) == (
        "Skerry Forty R harbour red",
        "Quay Supplies",
        "4.20",
        None,
        [job.pk],
    )
    assert Decimal(row["total"]) == row["packs"] * Decimal("4.20")
    code, out = run("shopping_list", "--format", "csv")
    (written,) = csv.DictReader(StringIO(out))
    assert {name: written[name] for name in ("what", "packs", "total")} == {
        name: str(row[name]) for name in ("what", "packs", "total")
    }


def test_a_line_of_the_solver_does_not_get_into_the_answer(capfd: pytest.CaptureFixture):
    with stray_lines_aside():
        os.write(1, b"a line of its own\n")
    os.write(1, b"[]\n")
    said = capfd.readouterr()
    assert (said.out, said.err) == ("[]\n", "a line of its own\n")


def test_the_list_in_words_tells_what_it_saves(job_of, red: Shade):
    job_of(RED, days=None)
    code, out = run("shopping_list")
    assert code == 3
    assert "To buy: EUR" in out
    assert "All from Quay Supplies" in out


def test_nothing_to_buy_exits_0_and_what_is_unclear_4(shelf, workshop, job_of):
    assert run("shopping_list") == (0, "Nothing needs to be bought.\n")
    path_without_colour = job_of("#ffffff", name="plain")
    assert path_without_colour
    code, out = run("shopping_list")
    assert (code, "no shade near" in out) == (4, True)


def test_from_list_to_shelf_at_the_command_line(job_of, tmp_path):
    job = job_of(RED, days=None)
    assert run("shopping_list", "--draft-orders", "--key", "monday")[0] == 3
    assert "placed" in run("place_order", 1)[1]
    assert run("shopping_list")[0] == 0
    for ending in ("pdf", "csv", "txt"):
        assert run("orders", 1, "--output", tmp_path / f"order.{ending}")[0] == 0
        assert (tmp_path / f"order.{ending}").stat().st_size > 50
    assert "harbour red" in (tmp_path / "order.txt").read_text()
    assert run("receive_order", 1, "--key", "parcel", "--lot", "L7")[0] == 0
    assert run("receive_order", 1)[0] == 1
    assert plan_of(job).threads[0].verdict == "enough"
    data = json.loads(run("orders", "--format", "json")[1])
    assert (data[0]["stands"], data[0]["lines"][0]["to_come"]) == ("received", 0)
    assert (ledger_problems(), order_problems()) == ([], [])


def test_every_kept_job_is_open(job_of):
    soon, late = job_of(RED, days=3, name="soon"), job_of(RED, days=30, name="late")
    assert open_jobs() == [soon, late]


def test_a_supplier_is_named_where_none_has_everything(job_of, red: Shade):
    a_spool(a_shade("B", hex=BLUE, name="deep blue", range=a_range("Skerry", "Other")), left_m=1)
    an_offer(a_put_up(a_range("Skerry", "Other")), supplier="Pier Threads")
    job_of(RED, BLUE)
    needs = needs_of_all(today=TODAY)
    assert len(plan_basket(needs, today=TODAY).parts) == 2
    with pytest.raises(NoBasket, match="No supplier alone"):
        plan_basket(needs, today=TODAY, one_supplier=True)
    assert Supplier.objects.count() == 2


def test_needles_are_needed_by_the_stitches_of_the_jobs(job_of, workshop):
    workshop.needle_life_stitches = 10_000
    workshop.save()
    receive_needles(system="HA×1", size=75, count=3, delivery=a_delivery())
    job_of(RED, pieces=40)  # and 3 more to test and to spoil, of 900 stitches each
    need = need_of("Needles")
    assert (need.jobs[0].quantity, need.missing, need.net.free) == (4, 1, 3.0)


def test_the_price_of_one_dye_lot_is_told_and_the_split_is_drafted_where_it_is_asked_for(red: Shade):
    """A cone of 5,000 m here and small spools there: one of each is cheaper than two cones."""
    Supplier.objects.update(shipping=0)
    an_offer(a_put_up(red.range), price="4.20")
    an_offer(a_put_up(red.range, metres=5000), price="20.00", supplier="Pier Threads")
    Staple.objects.create(shade=red, minimum=6_000_000)
    needs = needs_of_all(today=TODAY)
    kept = plan_basket(needs, today=TODAY)
    assert kept.split is not None
    assert kept.split.costs == kept.basket.total - kept.split.total > 0
    assert kept.split.materials == ("harbour red",)
    split = plan_basket(needs, today=TODAY, may_split=True)
    assert split.basket.total == kept.split.total
    assert len(split.parts) == 2
    rows = shopping_rows_of_all(kept, needs)
    assert {row["one_lot_costs"] for row in rows} == {str(kept.split.costs)}
    assert {row["basket_proof"] for row in rows} == {"least"}
    drafted = draft_orders(lambda: split, key="split", at=NOW, by=None)
    assert {order.supplier.name for order in drafted} == {"Pier Threads", "Quay Supplies"}

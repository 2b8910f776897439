"""The demo workshop: what it holds, that loading it is safe, and what its command says."""

import json
import stat
from collections import Counter
from datetime import datetime, timedelta
from io import StringIO
from pathlib import Path
from unittest import mock

import pytest
from django.conf import LazySettings
from django.contrib.auth import authenticate
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db.models import Count, Sum
from django.test import RequestFactory, TestCase

from fixtures import make_demo
from inventory.compute.bobbins import FIBRE_DENSITY_G_CM3, PREWOUND_FILL, bobbin_capacity
from inventory.compute.colour.lab import delta_e_00, lab_from_hex
from inventory.ledger import ledger_problems, use
from inventory.models import (
    BobbinBatch,
    BobbinStyle,
    Entry,
    LabelSeries,
    Offcut,
    Offer,
    Order,
    Place,
    PutUp,
    Shade,
    Spool,
    StabilizerProduct,
    StabilizerRoll,
    StockItem,
    Stocktake,
    Supplier,
    ThreadRange,
)
from inventory.orders.orders import order_problems
from planning.library.designs import asked_from_record
from planning.models import Design, Fabric, Hoop, Job, Layer, Machine, Rules, RunReport, StitchOutNote
from planning.plan.ask import Question, plan, question_named
from planning.run.standing import run_of
from tests.factories import NOW, a_key, a_spool
from workshop.demo import OtherStock, load_demo, refuse_beside_other_stock
from workshop.demo.account import demo_sign_in
from workshop.demo.designs import keep_demo_designs, plan_demo_batch
from workshop.demo.files import DemoMissing, demo_designs, demo_files
from workshop.demo.week import lay_out_week

pytestmark = pytest.mark.django_db
EVERY_TABLE = (
    BobbinBatch, BobbinStyle, Design, Entry, Fabric, Hoop, Layer, LabelSeries, Machine, Offcut, Offer, Place, PutUp,
    Rules, Shade, Spool, StabilizerProduct, StabilizerRoll, StockItem, Supplier, ThreadRange,
)  # fmt: skip


@pytest.fixture(autouse=True)
def data_folder(settings: LazySettings, tmp_path: Path) -> Path:
    """A data folder of the test's own, for the designs and the sign-in."""
    settings.DATA_FOLDER = tmp_path
    settings.MEDIA_ROOT = tmp_path / "files"
    return tmp_path


def run(*words: str) -> tuple[int, str, str]:
    """Return exit code, output and error output of the demo command."""
    out, err = StringIO(), StringIO()
    try:
        call_command("demo", *words, stdout=out, stderr=err)
    except SystemExit as stop:
        return int(stop.code or 0), out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


def counts() -> dict[str, int]:
    return {model.__name__: model._default_manager.count() for model in EVERY_TABLE}


class TestWhatItHolds(TestCase):
    """Each test is taken back, so that one loading does for all of them."""

    @classmethod
    def setUpTestData(cls) -> None:
        load_demo(at=NOW, by=None)

    def test_three_makers_sell_sixty_shades_or_more(self) -> None:
        makers = Counter(Shade.objects.for_needle().values_list("range__maker", flat=True))
        assert len(makers) == 3
        assert min(makers.values()) >= 60

    def test_four_threads_under_one_label_have_tex_from_24_to_44_and_one_is_nominal(self) -> None:
        ranges = ThreadRange.objects.filter(weight_label="40")
        tex = sorted(ranges.values_list("tex", flat=True))
        assert (len(tex), tex[0], tex[-1]) == (4, 24.0, 44.0)
        assert ranges.filter(tex_is_nominal=True).count() == 1
        assert {"polyester", "rayon"} == set(ranges.values_list("fibre", flat=True))

    def test_a_third_of_at_least_150_spools_is_part_used(self) -> None:
        known = Counter(Spool.objects.values_list("known", flat=True))
        part_used = known["weighed"] + known["judged"] + known["unknown"]
        assert known.total() >= 150
        assert 0.3 <= part_used / known.total() <= 0.45
        assert min(known["weighed"], known["judged"], known["unknown"]) >= 3

    def test_a_part_used_spool_was_opened_and_a_sealed_one_was_not(self) -> None:
        assert not Spool.objects.exclude(known="sealed").filter(opened_on=None).exists()
        assert not Spool.objects.filter(known="sealed", opened_on__isnull=False).exists()

    def test_a_weighed_spool_is_known_to_some_metres_and_an_unknown_one_not_at_all(self) -> None:
        for spool in Spool.objects.filter(known="weighed"):
            assert 5_000 < (spool.sigma or 0.0) < 0.2 * spool.on_hand + 30_000, spool.label
        assert set(Spool.objects.filter(known="unknown").values_list("sigma", flat=True)) == {None}

    def test_no_spool_holds_more_than_it_was_sold_with(self) -> None:
        for spool in Spool.objects.select_related("put_up"):
            assert spool.put_up is not None
            assert 0 < spool.on_hand <= spool.put_up.length_mm, spool.label

    def test_shades_spread_over_the_colour_space(self) -> None:
        labs = [shade.lab for shade in Shade.objects.for_needle() if shade.lab]
        for hex in (
            "#000000",
            "#ffffff",
            "#808080",
            "#e01020",
            "#1050c0",
            "#109040",
            "#ffd020",
            "#f0c8a8",
            "#704820",
        ):
            nearest = delta_e_00(tuple(lab_from_hex(hex)), [tuple(lab) for lab in labs]).min()
            assert nearest < 13, f"no shade is like {hex}"

    def test_bobbins_are_wound_and_bought_and_hold_what_their_style_can(self) -> None:
        for batch in BobbinBatch.objects.select_related("style", "shade__range"):
            thread = batch.shade.range
            assert thread.purpose == "bobbin"
            most = bobbin_capacity(
                batch.style.geometry,
                tex=thread.tex,
                density_g_cm3=FIBRE_DENSITY_G_CM3[thread.fibre],
                fill=PREWOUND_FILL,
            )
            assert 0.6 * most < batch.length_mm < 1.02 * most, batch.label
        assert set(BobbinBatch.objects.values_list("style__name", "self_wound")) == {
            ("L", False), ("L", True), ("M", False), ("M", True),
        }  # fmt: skip

    def test_every_fabric_has_a_recipe_that_the_shelf_can_serve(self) -> None:
        assert Fabric.objects.count() == 5
        assert not Fabric.objects.alias(recipe=Count("layers")).filter(recipe=0).exists()
        for layer in Layer.objects.all():
            assert StabilizerProduct.objects.filter(
                kind=layer.kind, weight_g_m2__range=(layer.weight_from_g_m2, layer.weight_to_g_m2)
            ).exists(), layer
        assert StabilizerRoll.objects.values("product").distinct().count() == 3

    def test_every_machine_has_hoops_and_bobbins_that_fit(self) -> None:
        assert list(Machine.objects.values_list("needles", flat=True)) == [1, 6]
        assert Hoop.objects.count() == 4
        for machine in Machine.objects.all():
            assert machine.hoops.exists()
            assert BobbinBatch.objects.filter(style=machine.bobbin_style).exists()

    def test_each_needle_range_can_be_bought_from_somebody(self) -> None:
        assert Supplier.objects.filter(shipping__gt=0, lead_time_days__gt=0).count() == 2
        sold = set(Offer.objects.filter(put_up__isnull=False).values_list("put_up__range", flat=True))
        assert sold == set(ThreadRange.objects.values_list("pk", flat=True))

    def test_labels_go_on_where_the_demo_stopped(self) -> None:
        last = Spool.objects.order_by("-label").values_list("label", flat=True)[0]
        assert a_spool().label == f"S{int(last[1:]) + 1:04}"

    def test_the_ledger_is_sound_and_tells_of_earlier_jobs(self) -> None:
        assert ledger_problems() == []
        used = Entry.objects.filter(reason="use", item__kind="spool").exclude(reference="")
        assert used.count() >= 50
        assert (used.aggregate(Sum("quantity"))["quantity__sum"] or 0) < 0
        assert not Entry.objects.filter(at__gt=NOW).exists()


class TestLoadingAgain:
    def test_twice_moves_nothing_twice(self) -> None:
        assert load_demo(at=NOW, by=None).is_new
        before = counts(), dict(StockItem.objects.values_list("label", "on_hand"))
        assert not load_demo(at=NOW + timedelta(days=3), by=None).is_new
        assert (counts(), dict(StockItem.objects.values_list("label", "on_hand"))) == before
        assert ledger_problems() == []

    def test_what_was_used_up_or_edited_since_stays_so(self) -> None:
        load_demo(at=NOW, by=None)
        spool = Spool.objects.filter(known="sealed")[0]
        use(spool, quantity=spool.on_hand, key=a_key(), at=NOW, by=None)
        Machine.objects.filter(needles=6).update(stitches_per_minute=432)
        Offer.objects.filter(pack=5).delete()
        load_demo(at=NOW, by=None)
        spool.refresh_from_db()
        assert spool.on_hand == 0
        assert Machine.objects.get(needles=6).stitches_per_minute == 432
        assert not Offer.objects.filter(pack=5).exists()

    def test_a_shelf_with_other_stock_is_refused_until_the_demo_lies_on_it(self) -> None:
        a_spool()
        with pytest.raises(OtherStock, match=r"stock of its own \(1 items\)"):
            refuse_beside_other_stock()
        load_demo(at=NOW, by=None)
        refuse_beside_other_stock()


class TestTheFiles:
    def test_the_tables_are_what_the_script_writes(self) -> None:
        for name, content in make_demo.tables().items():
            assert (make_demo.DEMO / name).read_text(encoding="utf-8") == content, name

    def test_colours_that_the_designs_ask_for_by_code_are_shades_of_the_demo(self, now: datetime) -> None:
        load_demo(at=now, by=None)
        asked = [
            (block.code, block.name, block.hex)
            for design in keep_demo_designs(at=now, machine="Six needles at the back").values()
            for block in design.blocks.exclude(code="")
        ]
        assert asked
        for code, name, hex in asked:
            shade = Shade.objects.get(code=code, range__maker="Strakewell")
            assert (shade.name, shade.hex) == (name, hex)

    def test_each_design_is_kept_once_in_a_format_with_colours_where_there_is_one(self) -> None:
        paths = {path.stem: path.suffix for path in demo_designs()}
        assert len(paths) >= 5
        assert paths[demo_files().batch.design] == ".pes"

    def test_a_design_that_was_kept_under_another_name_is_found_and_not_read_again(
        self, now: datetime
    ) -> None:
        load_demo(at=now, by=None)
        machine = "Six needles at the back"
        badge = keep_demo_designs(at=now, machine=machine)["crew-cap-badge"]
        Design.objects.filter(pk=badge.pk).update(name="our badge")
        with mock.patch("workshop.demo.designs.read_design_file") as read:
            assert keep_demo_designs(at=now, machine=machine)["crew-cap-badge"] == badge
        read.assert_not_called()

    def test_without_a_checkout_it_says_where_the_files_come_from(self, tmp_path: Path) -> None:
        with pytest.raises(DemoMissing, match="come with the project's source"):
            load_demo(at=NOW, by=None, fixtures=tmp_path)
        with pytest.raises(DemoMissing, match="come with the project's source"):
            demo_designs(tmp_path)


class TestTheBatch:
    def test_it_comes_out_short_of_one_or_two_colours_and_enough_of_others(self, now: datetime) -> None:
        batch = load_demo(at=now, by=None).batch
        designs = keep_demo_designs(at=now, machine=batch.machine)
        answer = plan_demo_batch(
            batch, designs[batch.design], needed_on=now.date() + timedelta(days=batch.needed_in_days)
        )
        verdicts = Counter(thread.verdict for thread in answer.threads)
        assert answer.verdict == "short"
        assert 1 <= verdicts["short"] + verdicts["tight"] <= 2
        assert verdicts["enough"] >= 1
        assert verdicts["unknown"] == 0
        assert answer.bobbins.verdict == "enough"
        assert [layer.verdict for layer in answer.stabilizer] == ["enough"]
        stands_in = [
            thread
            for thread in answer.threads
            if thread.verdict == "enough" and (thread.choice.delta_e_00 or 0) > 1
        ]
        assert stands_in, "a near thread of another maker stands in for a colour that has run low"
        bought = [thread.purchase for thread in answer.threads if thread.verdict != "enough"]
        for purchase in bought:
            assert purchase is not None
            order_by = purchase.order_by(answer.material_day)
            assert order_by is not None
            assert now.date() <= order_by < now.date() + timedelta(days=batch.needed_in_days)


class TestTheWeek:
    def test_it_has_jobs_in_every_state_orders_and_a_count_half_done(self) -> None:
        run()
        assert set(Job.objects.values_list("state", flat=True)) == set(Job.State.values)
        running = run_of(Job.objects.with_everything().get(state="running"))
        assert running.good == 2
        assert running.spoiled == 1
        assert [order.state for order in Order.objects.order_by("number")] == ["placed", "draft"]
        counted = Stocktake.objects.get()
        assert counted.finished_at is None
        assert 0 < counted.lines.filter(entry__isnull=False).count() < counted.lines.count()
        assert StitchOutNote.objects.count() == 1
        report = RunReport.objects.get().facts
        assert {row["layer"].partition(",")[0] for row in report["stabilizer"]} == {
            "tear-away",
            "spray",
            "fabric",
        }
        assert all(row["used_pieces"] for row in report["stabilizer"])
        assert report["not_booked"] == []
        assert (ledger_problems(), order_problems()) == ([], [])
        designs = keep_demo_designs(at=NOW, machine="Six needles at the back")
        assert not lay_out_week(designs, at=NOW)

    def test_the_shelf_alone_has_no_jobs(self) -> None:
        run("--shelf-only")
        assert not Job.objects.exists()


class TestTheCommand:
    def test_it_prints_the_answer_and_how_to_go_on(self) -> None:
        code, out, err = run()
        assert (code, err) == (0, "")
        assert "○ Short: 1 of 5 colours; tight: 1 of 5 colours" in out
        assert "Rope Tan" in out
        assert "python3 manage.py demo --serve" in out
        assert ledger_problems() == []

    def test_run_again_it_says_that_all_is_there(self) -> None:
        run()
        before = counts()
        code, out, _ = run()
        assert code == 0
        assert "was laid out before" in out
        assert counts() == before

    def test_json_stands_alone_on_the_output(self) -> None:
        code, out, err = run("--format", "json")
        assert code == 0
        assert json.loads(out)["verdict"] == "short"
        assert "1. The database is ready" in err

    def test_it_refuses_a_shelf_with_other_stock_in_words_unless_forced(self) -> None:
        a_spool()
        code, out, err = run()
        assert code == 1
        assert "already has stock of its own" in err
        assert "--force" in err
        assert "Short" not in out
        assert not Entry.objects.filter(key__startswith="demo:").exists()
        code, out, _ = run("--force")
        assert code == 0
        assert "Short: 1 of 5 colours; tight: 1 of 5 colours" in out

    def test_the_account_it_makes_can_be_signed_in_with(self, rf: RequestFactory, data_folder: Path) -> None:
        _, out, _ = run()
        name, password = (data_folder / "demo-sign-in").read_text().split()
        assert f"Sign in as {name} with the password {password}" in out
        assert authenticate(rf.post("/sign-in/"), username=name, password=password) is not None
        assert stat.S_IMODE((data_folder / "demo-sign-in").stat().st_mode) == 0o600

    def test_a_workshop_with_an_account_keeps_its_own(self, person: User, data_folder: Path) -> None:
        _, out, _ = run()
        assert "Sign in with your own account" in out
        assert list(User.objects.all()) == [person]
        assert not (data_folder / "demo-sign-in").exists()

    def test_a_changed_password_is_not_told_any_more(self, data_folder: Path) -> None:
        first = demo_sign_in(data_folder)
        assert first is not None
        assert demo_sign_in(data_folder) == first
        account = User.objects.get(username="demo")
        account.set_password("another one altogether")
        account.save()
        assert demo_sign_in(data_folder) is None


def test_the_tight_job_names_the_spool_judged_by_eye():
    demo = load_demo(at=NOW, by=None)
    designs = keep_demo_designs(at=NOW, machine=demo.batch.machine)
    asked = [asked_from_record(designs[demo.batch.design])]
    answer = plan(asked, question_named(Question(pieces=6, pins=("1=B140",)), machine=demo.batch.machine))
    assert answer.verdict == "tight"
    (first,) = answer.look_first
    (item,) = first.items
    assert Spool.objects.get(label=item.label).known == StockItem.Known.JUDGED

"""Applique from the design's page to the finish: fabric counted, cut, laid at its stop, booked and bought."""

import json
import math
from io import StringIO

import numpy as np
import pyembroidery
import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.compute.errors import WorkshopError
from inventory.ledger import ledger_problems
from inventory.models import Change, StabilizerProduct, StabilizerRoll
from planning.buying.needs import needs_of_all
from planning.compute.stabilizer.cautions import TRIM
from planning.cutting.cuts import jobs_to_cut, plan_cuts, post_cut
from planning.cutting.sound import cut_problems
from planning.jobs.asked import asked_of
from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.season import each_alone
from planning.library.appliques import add_applique, part_meant, parts_of, remove_applique
from planning.library.designs import keep_design
from planning.models import Applique, Design, Fabric, Job, Rules, RunEvent
from planning.plan.ask import plan_asked
from planning.plan.data import plan_as_data
from planning.run.finish import Ending, finish
from planning.run.promise import promise
from planning.run.ticks import Happening, begin, note
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text

pytestmark = pytest.mark.django_db
RED, BLUE = "#b10525", "#0b2f84"


@pytest.fixture
def design(tmp_path, workshop) -> Design:
    """A sail of 40 × 40 mm: its line and tack-down in one block with a stop between, its cover in another."""
    pattern = pyembroidery.EmbPattern()
    pattern.add_thread({"hex": RED, "name": "line"})
    pattern.add_thread({"hex": BLUE, "name": "cover"})
    angles = np.linspace(0, 2 * math.pi, 61)
    for _ in range(2):
        for angle in angles:
            pattern.stitch_abs(200 * math.cos(angle), 200 * math.sin(angle))
        if not _:
            pattern.add_command(pyembroidery.STOP)
    pattern.color_change()
    for number, angle in enumerate(np.linspace(0, 2 * math.pi, 300)):
        radius = 215 if number % 2 else 185
        pattern.stitch_abs(radius * math.cos(angle), radius * math.sin(angle))
    pattern.end()
    path = tmp_path / "sail.jef"
    pyembroidery.write(pattern, str(path))
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


@pytest.fixture
def canvas(db) -> StabilizerProduct:
    return StabilizerProduct.objects.create(maker="Skerry", name="Canvas", kind="fabric", has_grain=True)


@pytest.fixture
def sail(design, canvas) -> Applique:
    parts = parts_of(design)
    lines = [
        (role, part_meant(key, parts))
        for role, key in (("placement", "1"), ("tack-down", "1.2"), ("cover", "2"))
    ]
    return add_applique(design, lines=lines, product=canvas, name="sail", at=NOW, by=None)


@pytest.fixture
def job(design, sail) -> Job:
    for code, colour in (("R", RED), ("B", BLUE)):
        a_spool(a_shade(code, hex=colour))
    some_bobbins(count=20)
    a_roll()
    twill = Fabric.objects.get(name="twill")
    made = make_job(
        JobFacts(what="pennants", pieces=6, tests=1, fabric=twill), designs=[design], at=NOW, by=None
    )
    return Job.objects.with_everything().get(pk=made.pk)


def planned(job: Job):
    return plan_asked(asked_of(Job.objects.with_everything().get(pk=job.pk)))


def fabric_of(job: Job):
    (layer,) = [layer for layer in planned(job).stabilizer if layer.kind == "fabric"]
    return layer


def test_the_page_proposes_and_says_nothing_by_itself(design, canvas, signed_in):
    address = reverse("design_appliques", args=[design.pk])
    page = page_text(signed_in.get(address))
    assert "Placement line 1.1, tack-down 1.2, cover 2.1" in page
    assert "That is a guess from the stitches" in page
    assert not Applique.objects.exists()
    form = signed_in.get(address, {"proposal": "1"}).context["form"]
    assert (form.initial["placement"], form.initial["tack_down"], form.initial["cover"]) == (
        "1.1",
        "1.2",
        "2.1",
    )
    sent = {
        "placement": "1.1",
        "tack_down": "1.2",
        "cover": "2.1",
        "product": canvas.pk,
        "count": "1",
        "key": "a",
    }
    for _ in range(2):
        signed_in.post(address, sent | {"allowance": "1.5"})
    kept = Applique.objects.get()
    assert (kept.width_mm, kept.height_mm, kept.allowance_mm) == (pytest.approx(40, abs=0.3),) * 2 + (15,)
    assert "It may be" not in page_text(signed_in.get(address))
    assert "the line" not in page_text(signed_in.get(reverse("design", args=[design.pk])))


def test_fabric_is_counted_with_tests_and_spares_and_cut_in_the_plan(job, canvas):
    layer = fabric_of(job)
    # Six ordered, a test, and one that may replace a spoiled one.
    assert (layer.pieces, layer.verdict, layer.product) == (8, "short", "Skerry Canvas")
    assert layer.piece_mm[0] in (60, 61)
    assert [each.verdict for each in each_alone()] == ["short"]
    a_roll(canvas, width_mm=300, metres=2)
    assert (fabric_of(job).verdict, planned(job).verdict) == ("enough", "enough")
    data = plan_as_data(planned(job))
    (told,) = data["applique"]
    assert [(each["line"], each["at"]) for each in told["stops"]] == [
        ("placement", "block 1, part 1"), ("tack-down", "block 1, part 2"), ("cover", "block 2")
    ]  # fmt: skip
    assert "lay the piece of Skerry Canvas" in told["stops"][0]["do"]
    assert told["cautions"] == [TRIM]


def test_the_piece_lies_as_the_design_is_turned(job, canvas):
    placed = job.placed.get()
    placed.turned_deg, placed.scale_percent = 45, 110
    placed.save()
    turned = fabric_of(job).piece_mm[0]
    side = job.placed.get().design.appliques.get().width_mm
    assert turned == math.ceil(side * 1.1 * math.sqrt(2)) + 20
    canvas.has_grain = False
    canvas.save()
    assert fabric_of(job).piece_mm[0] == math.ceil(side * 1.1) + 20


def test_laying_and_trimming_take_their_time_of_the_hands(job):
    before = planned(job)
    Rules.objects.update_or_create(pk=1, defaults={"applique_s": 0, "hands_on_rate": 20})
    without = planned(job)
    assert before.hands_on_min - without.hands_on_min == pytest.approx(8 * 120 / 60)


def test_what_is_missing_is_needed_of_a_supplier(job):
    needs = {need.material.name: need for need in needs_of_all(today=NOW.date()).needs}
    assert needs["Skerry Canvas"].missing > 0
    row = next(each for each in plan_as_data(planned(job))["shopping"] if each["what"] == "Skerry Canvas")
    assert row["need_mm"] > 0


def test_it_is_cut_laid_and_booked_and_everything_agrees(job, canvas, signed_in):
    roll = a_roll(canvas, width_mm=300, metres=2)
    promise(job, at=NOW, by=None)
    begin(job, at=NOW)
    page = page_text(signed_in.get(reverse("run_sheet", args=[job.pk])))
    assert "Placement line, block 1, part 1." in page
    assert "trim the fabric close to the stitching" in page
    assert "points away from you" in page
    for _ in range(3):
        note(job, Happening(RunEvent.Kind.PIECE, key=a_key()), at=NOW, by=None)
    report = finish(job, Ending(although_unfinished=True), at=NOW, by=None)
    (row,) = [each for each in report.facts["stabilizer"] if each["product"] == "Skerry Canvas"]
    assert (row["planned_pieces"], row["used_pieces"]) == (8, 3)
    assert StabilizerRoll.objects.get(pk=roll.pk).on_hand == 2000 - row["used_mm"] < 2000
    assert report.facts["not_booked"] == []
    assert ledger_problems() == cut_problems() == []


def test_pieces_that_were_cut_before_are_not_asked_for_again(job, canvas):
    a_roll(canvas, width_mm=300, metres=2)
    cut = plan_cuts(jobs_to_cut([job.pk]))
    assert {each.product for each in cut.cuts} == {"Skerry tear-away 50", "Skerry Canvas"}
    post_cut(cut.jobs, shown=None, key=a_key(), at=NOW, by=None)
    layer = fabric_of(job)
    assert (layer.pieces, layer.cut_before, layer.verdict) == (0, 8, "enough")
    assert cut_problems() == []


def test_lines_out_of_order_or_twice_are_refused(design, canvas, sail):
    parts = parts_of(design)
    with pytest.raises(WorkshopError, match="line of another applique"):
        add_applique(design, lines=[("cover", parts[2])], product=canvas, at=NOW, by=None)
    remove_applique(sail, at=NOW, by=None)
    with pytest.raises(WorkshopError, match="comes before the tack-down"):
        add_applique(
            design, lines=[("placement", parts[1]), ("tack-down", parts[0])], product=canvas, at=NOW, by=None
        )
    with pytest.raises(WorkshopError, match="Name at least one part"):
        add_applique(design, lines=[], product=canvas, at=NOW, by=None)
    with pytest.raises(WorkshopError, match="Choose a fabric"):
        add_applique(design, lines=[("cover", parts[2])], product=a_roll().product, at=NOW, by=None)
    assert not Applique.objects.exists()
    assert Change.objects.filter(what__contains="taken out").count() == 1


def test_the_command_shows_says_and_takes_out(design, canvas):
    out = StringIO()
    call_command("design_appliques", design.pk, format="json", stdout=out)
    told = json.loads(out.getvalue())
    assert told["proposals"] == [{"placement": "1.1", "tack_down": "1.2", "cover": "2.1"}]
    assert told["appliques"] == []
    said = {"fabric": "canvas", "placement": "1.1", "tack_down": "1.2", "cover": "2", "allowance": "8 mm"}
    call_command("design_appliques", design.pk, **said, format="json", stdout=(out := StringIO()))
    (applique,) = json.loads(out.getvalue())["appliques"]
    assert (applique["fabric"], applique["allowance_mm"]) == ("Skerry Canvas", 8)
    call_command("design_appliques", design.pk, remove=1, stdout=(out := StringIO()))
    assert "may be an applique" in out.getvalue()

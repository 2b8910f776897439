"""The cut sheet: what is cut from what, posted in one act and taken back as one."""

import json
import random
from collections import Counter
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import ledger
from inventory.acting import PlanHasChanged
from inventory.compute.errors import WorkshopError
from inventory.models import Entry, Offcut, SheetPack, StabilizerRoll, StockItem
from inventory.shelf.cut_lists import Taken, cut_list
from inventory.shelf.offcuts import DoesNotFit
from inventory.shelf.receipts import receive_offcut, receive_sheets
from planning.compute.stabilizer.cutting import CutOrder, PieceNeed, cut_problems, plan_cut
from planning.compute.stabilizer.ring import strips_in_ring
from planning.cutting.cuts import (
    cuts_of,
    cuts_posted,
    fingerprint,
    jobs_to_cut,
    plan_cuts,
    post_cut,
)
from planning.cutting.rings import keep_ring_strips, ring_strips
from planning.jobs.asked import asked_of
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.library.designs import keep_design
from planning.models import Fabric, Job, Layer, Rules
from planning.plan.ask import stitched_mm
from planning.plan.shelf import stabilizer_stock
from planning.stitch_files.reading import read_design_file
from tests.factories import (
    NOW,
    a_delivery,
    a_key,
    a_roll,
    a_shade,
    a_spool,
    a_stabilizer,
    some_bobbins,
)
from tests.pages import page_text

pytestmark = pytest.mark.django_db


@pytest.fixture
def job(stitch_file, workshop):
    """Ten pieces and two to spare on twill: twelve hoopings with a piece of 190 × 240 mm each."""
    a_spool(a_shade("R", hex="#b01c2e"))
    some_bobbins(count=20)
    a_roll()
    path = stitch_file("#b01c2e")
    design = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    twill = Fabric.objects.get(name="twill")
    made = make_job(JobFacts(what="crew caps", pieces=10, fabric=twill), designs=[design], at=NOW, by=None)
    return Job.objects.with_everything().get(pk=made.pk)


def act(**particulars):
    return {"key": a_key(), "at": NOW, "by": None} | particulars


def cut_now(job, *, key="k1", shown=None):
    cut = cut_of(job)
    return post_cut(cut.jobs, shown=shown or fingerprint(cut.cuts), key=key, at=NOW, by=None)


def cut_of(*jobs):
    """Return how jobs are cut together, having checked the cut of every product."""
    cut = plan_cuts(jobs_to_cut([job.pk for job in jobs]))
    stock = {each.product: each.stock for each in stabilizer_stock()}
    for layer in cut.every_layer:
        if layer.cut:
            assert cut_problems(layer.cut.product_cut, layer.cut.order, stock[layer.product]) == []
    return cut


def holdings():
    return {
        (item.label, item.on_hand, item.retired_at is None)
        for item in StockItem.objects.filter(kind__in=["roll", "sheets", "offcut"])
        if item.retired_at is None
    }


def answered(job):
    out = StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("cut_plan", str(job.pk), "--format", "json", stdout=out)
    return json.loads(out.getvalue()), left.value.code


def test_cutting_takes_the_length_off_the_roll(job):
    roll = StabilizerRoll.objects.get()
    cut_now(job)
    roll.refresh_from_db()
    assert roll.on_hand == 10_000 - 6 * 190
    assert ledger.ledger_problems() == []


def test_undoing_restores_every_roll_sheet_and_offcut(job):
    receive_offcut(a_stabilizer(), width_mm=420, height_mm=400, delivery=a_delivery())
    receive_sheets(a_stabilizer(), width_mm=380, height_mm=390, count=2, delivery=a_delivery())
    before = holdings()
    done = cut_now(job)
    assert holdings() != before
    assert done.offcuts  # 420 x 400 with one strip of 240 leaves 420 x 160
    ledger.reverse(done.entries[0], **act())
    assert holdings() == before
    assert cuts_posted(job) == []
    assert ledger.ledger_problems() == []


def test_the_same_cut_sent_twice_cuts_once(job):
    shown = fingerprint(cut_of(job).cuts)
    first = cut_now(job, shown=shown)
    assert cut_now(job, shown=shown) == first
    assert StabilizerRoll.objects.get().on_hand == 10_000 - 6 * 190


def test_a_shelf_that_has_changed_since_is_not_cut(job):
    shown = fingerprint(cut_of(job).cuts)
    receive_offcut(a_stabilizer(), width_mm=500, height_mm=600, delivery=a_delivery())
    with pytest.raises(PlanHasChanged):
        cut_now(job, shown=shown)
    assert not Entry.objects.filter(reason="cut").exists()


def test_layers_of_one_product_are_cut_from_what_is_there_once(job):
    Layer.objects.create(fabric=job.fabric, kind="tear-away", order=2, count=1)
    ledger.use(StabilizerRoll.objects.get(), quantity=8_000, **act())
    plan = plan_of(again(job))
    # 24 pieces want 12 strips of 190: 2,280 mm, where each layer alone would find its 1,140 in the 2,000.
    assert plan.verdict == "short"
    (cut,) = cuts_of(plan.stabilizer)
    assert sum(cut.plan.missing) == 4
    assert sum(layer.cut.roll_mm for layer in plan.stabilizer) == cut.plan.roll_mm == 10 * 190


def test_the_command_gives_strips_and_pieces_with_their_places(job):
    answer, code = answered(job)
    assert (answer["verdict"], code) == ("enough", 0)
    (cut,) = answer["cuts"]
    (roll,) = cut["sources"]
    assert (cut["roll_mm"], cut["bound_mm"], len(roll["strips"])) == (1140, 1140, 6)
    assert roll["strips"][1]["y_mm"] == 190
    assert [(piece["x_mm"], piece["width_mm"], piece["turned"]) for piece in roll["strips"][1]["pieces"]] == [
        (0, 240, True), (240, 240, True)
    ]  # fmt: skip


def test_the_command_exits_3_when_short_4_when_unknown_and_1_for_no_job(job, capsys):
    ledger.use(StabilizerRoll.objects.get(), quantity=9_500, **act())
    assert answered(job)[1] == 3
    Layer.objects.update(kind="cut-away")
    assert answered(job)[1] == 4
    with pytest.raises(SystemExit) as left:
        call_command("cut_plan", "999")
    assert left.value.code == 1
    assert "There is no job 999" in capsys.readouterr().err


def test_the_command_prints_for_people(job):
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("cut_plan", str(job.pk), stdout=out)
    assert "strip 6" in out.getvalue()
    assert "1140 mm of roll" in out.getvalue()


def test_the_sheet_asks_for_a_name(client, job, person):
    assert client.get(reverse("cut_sheet", args=[job.pk])).url.startswith(reverse("sign_in"))
    assert client.post(reverse("cut_sheet", args=[job.pk])).url.startswith(reverse("sign_in"))
    assert not Entry.objects.filter(reason="cut").exists()


def test_the_sheet_is_cut_and_shows_its_undo(signed_in, job):
    address = reverse("cut_sheet", args=[job.pk])
    page = signed_in.get(address)
    html = page_text(page)
    assert "114.0 cm off the roll" in html
    assert "style=" not in html
    sent = {"key": page.context["key"], "shown": page.context["fingerprint"]}
    assert signed_in.post(address, sent).status_code == 302
    assert signed_in.post(address, sent).status_code == 302  # a second click
    assert StabilizerRoll.objects.get().on_hand == 10_000 - 1140
    html = signed_in.get(address).content.decode()
    (entry,) = cuts_posted(job)
    assert reverse("take_back", args=[entry.pk]) in html


def test_a_sheet_shown_before_the_shelf_changed_is_refused_in_words(signed_in, job):
    address = reverse("cut_sheet", args=[job.pk])
    response = signed_in.post(address, {"key": "k", "shown": "older"})
    assert response.status_code == 422
    assert "Since this was shown, the workshop has changed: the pieces that are wanted" in page_text(response)
    assert StabilizerRoll.objects.get().on_hand == 10_000


def test_in_inches_the_length_posted_is_the_one_marked(job):
    cut = cut_of(job)
    post_cut(cut.jobs, shown=fingerprint(cut.cuts), key="k", at=NOW, by=None, unit="in")
    # Six strips of 190 mm, marked each time at the next eighth: 7 1/2 in = 190.5 mm.
    assert StabilizerRoll.objects.get().on_hand == 10_000 - 6 * 190.5


def test_the_job_leads_to_its_cut_sheet(signed_in, job):
    assert reverse("cut_sheet", args=[job.pk]) in signed_in.get(job_address(job)).content.decode()


def job_address(job):
    return reverse("job", args=[job.pk])


def test_rests_larger_than_what_is_cut_are_refused(job):
    roll = StabilizerRoll.objects.get()
    for keep in ([(501, 100)], [(100, 301)], [(400, 300), (200, 300)], [(0, 10)]):
        with pytest.raises(DoesNotFit):
            cut_list([Taken(roll, 300, tuple(keep))], **act())
    with pytest.raises(WorkshopError):
        cut_list([], **act())
    with pytest.raises(ledger.NotEnough):
        cut_list([Taken(roll, 10_001)], **act())
    assert not Offcut.objects.exists()
    assert not Entry.objects.filter(reason="cut").exists()


def a_planned_cut(rng, books):
    """Return what a plan of random pieces takes from the shelf as it stands, once the plan is checked."""
    (stock,) = stabilizer_stock()
    pieces = tuple(
        PieceNeed(rng.randint(80, 280), rng.randint(80, 280), rng.randint(1, 6))
        for _ in range(rng.randint(1, 2))
    )
    order = CutOrder(pieces, kerf_mm=rng.choice([0, 2]), edge_mm=rng.choice([0, 5]))
    plan = plan_cut(order, stock.stock)
    assert cut_problems(plan, order, stock.stock) == []
    takes = []
    for label in dict.fromkeys(source.label for source in plan.sources):
        own = [source for source in plan.sources if source.label == label]
        keep = tuple((rest.width_mm, rest.height_mm) for source in own for rest in source.useful_rests)
        item = StockItem.objects.get(label=label)
        # The plan saw no more of it than the books say there is.
        assert sum(source.roll_mm for source in own) <= books[item.pk] or not own[0].is_roll
        takes.append(Taken(item, own[0].roll_mm or len(own), keep))
    return takes


@pytest.mark.parametrize("acts", [80, pytest.param(500, marks=pytest.mark.thorough)])
def test_a_season_of_cutting_undoing_and_using_keeps_the_shelf_to_the_millimetre(db, acts):
    """So many acts; a second set of books, kept here, must agree with the shelf after each of them."""
    rng = random.Random(7)
    rolls = [a_roll(width_mm=width, metres=60) for width in (300, 500, 500)]
    pack = receive_sheets(a_stabilizer(), width_mm=300, height_mm=400, count=60, delivery=a_delivery())
    books = {roll.pk: 60_000 for roll in rolls} | {pack.pk: 60}
    undoable = []
    done_acts = Counter()
    number = 0
    while sum(done_acts.values()) < acts:
        number += 1
        at = NOW + timedelta(hours=number)
        what = rng.choice(["cut", "cut", "cut", "use", "undo", "undo"])
        if what == "undo" and undoable:
            entry, moved = undoable.pop(rng.randrange(len(undoable)))
            try:
                ledger.reverse(entry, **act(at=at))
            except ledger.CannotReverse:
                continue  # an offcut of it was used since
            for pk, quantity in moved.items():
                books[pk] -= quantity
        elif what == "use":
            item = rng.choice(rolls)
            quantity = rng.randint(1, 300)
            try:
                entry = ledger.use(item, quantity=quantity, **act(at=at))
            except ledger.NotEnough:
                continue
            books[item.pk] -= quantity
            undoable.append((entry, {item.pk: -quantity}))
        elif what == "cut":
            takes = a_planned_cut(rng, books)
            if not takes:
                continue
            done = cut_list(takes, **act(at=at))
            moved = {take.item.pk: -take.quantity for take in takes} | {each.pk: 1 for each in done.offcuts}
            for pk, quantity in moved.items():
                books[pk] = books.get(pk, 0) + quantity
            undoable.append((done.entries[0], moved))
        else:
            continue
        done_acts[what] += 1
        held = dict(StockItem.objects.filter(pk__in=books).values_list("pk", "on_hand"))
        assert held == books
        on_shelf = set(Offcut.objects.filter(retired_at__isnull=True).values_list("pk", flat=True))
        assert on_shelf == set(Offcut.objects.filter(on_hand=1).values_list("pk", flat=True))
    assert min(done_acts.values()) > acts / 10
    assert ledger.ledger_problems() == []


def again(job):
    return Job.objects.with_everything().get(pk=job.pk)


def test_a_cut_planned_alone_is_the_one_of_the_whole_plan(job):
    assert cut_of(job).layers == (plan_of(job).stabilizer,)


def test_what_is_cut_is_not_asked_for_again_until_the_cut_is_taken_back(job):
    done = cut_now(job)
    plan = plan_of(again(job))
    (layer,) = plan.stabilizer
    assert (layer.pieces, layer.cut_before, layer.cut.roll_mm, layer.verdict) == (0, 12, 0, "enough")
    assert not cut_of(job).cuts[0].plan.sources
    ledger.reverse(done.entries[0], **act())
    (layer,) = plan_of(again(job)).stabilizer
    assert (layer.pieces, layer.cut_before, layer.cut.roll_mm) == (12, 0, 1140)


def test_more_pieces_ask_only_for_what_is_not_cut_yet(job):
    cut_now(job)
    Job.objects.filter(pk=job.pk).update(pieces=13)
    (layer,) = plan_of(again(job)).stabilizer
    assert (layer.pieces, layer.cut_before, layer.cut.roll_mm) == (3, 12, 2 * 190)


def test_what_is_cut_is_enough_though_the_roll_is_gone(job):
    cut_now(job)
    StabilizerRoll.objects.update(retired_at=NOW)
    plan = plan_of(again(job))
    (layer,) = plan.stabilizer
    assert (layer.verdict, layer.cut) == ("enough", None)
    assert cut_of(job).unplanned == ()


def test_pieces_that_were_missing_are_still_asked_for_after_the_cut(job):
    ledger.use(StabilizerRoll.objects.get(), quantity=9_000, **act())  # five strips of 190 in the rest
    cut_now(job)
    (layer,) = plan_of(again(job)).stabilizer
    assert (layer.pieces, layer.cut_before, layer.verdict) == (2, 10, "short")


@pytest.fixture
def other(job):
    """One piece and two to spare on the same cloth."""
    design = job.placed.get().design
    made = make_job(JobFacts(what="pennants", pieces=1, fabric=job.fabric), designs=[design], at=NOW, by=None)
    return made


def test_a_rest_of_one_job_that_serves_the_next_leaves_nothing_to_save_together(job, other):
    Job.objects.filter(pk=job.pk).update(pieces=11)  # 13 hoopings: six strips and a half
    both = cut_of(job, other)  # 13 + 3 pieces: 8 strips; apart 7 + 2
    assert (both.comparison.together_mm2, both.comparison.apart_mm2) == (8 * 190 * 500, 8 * 190 * 500)
    # The half strip of the first job is a useful offcut, which the second takes: no loss either way.
    assert not both.comparison.pays


def test_a_cut_together_posts_to_each_job_what_it_got(job, other):
    both = cut_of(job, other)
    done = post_cut(both.jobs, shown=fingerprint(both.cuts), key="k", at=NOW, by=None)
    assert [layer.cut_before for one in (job, other) for layer in plan_of(again(one)).stabilizer] == [12, 3]
    assert cuts_posted(other) == cuts_posted(job) != []
    ledger.reverse(done.entries[0], **act())
    assert [layer.cut_before for one in (job, other) for layer in plan_of(again(one)).stabilizer] == [0, 0]
    assert ledger.ledger_problems() == []


def test_every_piece_of_a_cut_together_names_its_job(job, other):
    out = StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("cut_plan", str(job.pk), str(other.pk), "--format", "json", stdout=out)
    answer = json.loads(out.getvalue())
    assert left.value.code == 0
    assert [each["job"] for each in answer["jobs"]] == [job.pk, other.pk]
    named = [
        piece["job"]
        for source in answer["cuts"][0]["sources"] for strip in source["strips"] for piece in strip["pieces"]
    ]  # fmt: skip
    assert {name: named.count(name) for name in named} == {f"job {job.pk}": 12, f"job {other.pk}": 3}
    assert answer["apart"]["saved_mm2"] == answer["apart"]["roll_mm2"] - answer["apart"]["together_mm2"]


def test_several_jobs_are_chosen_and_cut_on_one_page(signed_in, job, other):
    address = reverse("cut_together")
    assert "crew caps" in signed_in.get(address).content.decode()
    assert signed_in.get(address, {"job": [999]}).status_code == 422
    page = signed_in.get(address, {"job": [job.pk, other.pk]})
    assert f"job {other.pk}: tear-away" in page.content.decode()
    sent = {"key": page.context["key"], "shown": page.context["fingerprint"]}
    chosen = f"{address}?job={job.pk}&job={other.pk}"
    assert signed_in.post(chosen, sent).url == chosen
    assert "All of it is cut" in signed_in.get(chosen).content.decode()


def test_the_queries_of_a_cut_do_not_grow_with_the_jobs(signed_in, job, other, django_assert_max_num_queries):
    address = reverse("cut_together")
    with CaptureQueriesContext(
        connection,
    ) as one:
        signed_in.get(address, {"job": [job.pk]})
    with django_assert_max_num_queries(len(one)):
        signed_in.get(address, {"job": [job.pk, other.pk]})


def test_rings_are_waste_unless_the_workshop_keeps_strips_of_a_set_size(signed_in, job):
    cut_now(job)
    address = reverse("cut_sheet", args=[job.pk])
    assert "Keep these strips" not in signed_in.get(address).content.decode()
    with pytest.raises(WorkshopError):
        keep_ring_strips([job], **act())
    Rules.objects.create(pk=1, ring_strip_width_mm=50, ring_strip_height_mm=180)
    page = signed_in.get(address)
    # 240 mm less the design's rows leave more than 50 above and below, and as much beside it.
    assert "Keep these strips" in page.content.decode()
    sent = {"key": page.context["key"], "strips": "keep"}
    assert signed_in.post(address, sent).status_code == 302
    assert signed_in.post(address, sent).status_code == 302  # a second click
    pack = SheetPack.objects.get()
    per_ring = strips_in_ring((190, 240), stitched_mm(asked_of(job)), (50, 180))
    assert (pack.width_mm, pack.height_mm, pack.on_hand) == (50, 180, 12 * per_ring)
    with pytest.raises(WorkshopError):
        keep_ring_strips([job], **act())
    ledger.reverse(pack.entries.get(), **act())
    assert ring_strips([job]).kept == ()
    assert ledger.ledger_problems() == []


def test_a_ring_too_narrow_gives_no_strip(job):
    cut_now(job)
    Rules.objects.create(pk=1, ring_strip_width_mm=150, ring_strip_height_mm=250)
    assert ring_strips([job]).total == 0


def test_kerf_and_trimming_of_the_rules_come_off_the_roll(job):
    Rules.objects.create(pk=1, cut_kerf_mm=2, roll_edge_mm=5)
    cut_now(job)
    # Two of 240 and a kerf still lie side by side in the 490 that trimming leaves.
    assert StabilizerRoll.objects.get().on_hand == 10_000 - 6 * (190 + 2)

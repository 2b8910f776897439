"""What stands above all else on a plan's page: the word, its cause, and bars whose scale is pieces."""

import re
from dataclasses import replace

import pytest
from django.urls import reverse

from planning.compute.batch.lasting import lasting_of, pieces_perhaps
from planning.compute.certainty.enough import p_enough
from planning.compute.picture.thread_bar import FINISH, thread_bar
from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.pinning import ShadeChanges, change_pins
from planning.library.designs import asked_from_record, keep_design
from planning.models import Design, Job
from planning.plan.ask import Question, each_in_its_own_hooping, plan
from planning.plan.banner import banner_of
from planning.run.promise import promise
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_shade, a_spool, some_bobbins
from tests.pages import page_text

pytestmark = pytest.mark.django_db
RED, BLUE = "#b01c2e", "#2f6f9f"


@pytest.fixture
def kept(workshop, stitch_file) -> Design:
    path = stitch_file(RED, BLUE)
    return keep_design(read_design_file(path, trim_at_jumps=3), content=path, trim_at_jumps=3, at=NOW)


def answer(design: Design, pieces: int, **asked):
    return plan(each_in_its_own_hooping([asked_from_record(design)]), Question(pieces=pieces, **asked))


def owned(red_metres: int, blue_metres: int = 1000) -> None:
    for code, hex, metres in (("147", RED, red_metres), ("310", BLUE, blue_metres)):
        a_spool(a_shade(code, hex=hex, name=f"colour {code}"), metres=metres)


def test_what_is_short_is_named_with_the_pieces_that_it_lasts(kept: Design) -> None:
    owned(20)
    made = answer(kept, 60)
    banner = banner_of(made)
    red = next(each for each in banner.rows if each.kind == "thread" and each.word == "short")
    assert banner.headline == f"Short: {made.threads[red.place].choice.shade.name} lasts {red.sure} pieces"
    assert f"Surely {red.sure}, perhaps {red.perhaps} of the {made.pieces.total}" in banner.sentence
    assert banner.rows[0] == red, "what decides comes first"
    assert 0 < red.sure < red.perhaps < red.total


def test_perhaps_is_as_unlikely_to_be_passed_as_sure_is_to_be_missed(kept: Design) -> None:
    owned(20)
    made = answer(kept, 60)
    thread = next(each for each in made.threads if each.verdict == "short")
    perhaps = pieces_perhaps(thread, enough_at=0.95)

    def chance(pieces: int) -> float:
        needed = sum(thread.geometry_mm[:pieces]) * thread.factor_median + sum(thread.path_mm[:pieces])
        return p_enough(needed, thread.spread, free_mm=thread.free_mm, free_sigma_mm=thread.free_sigma_mm)

    assert chance(perhaps) >= 0.05 > chance(perhaps + 1)
    assert chance(thread.pieces_possible) >= 0.95 > chance(thread.pieces_possible + 1)


def test_enough_of_everything_says_so_and_asks_nothing(kept: Design) -> None:
    owned(1000)
    made = answer(kept, 2)
    banner = banner_of(replace(made, bobbins=replace(made.bobbins, verdict="enough", count=1, owned=3)))
    assert banner.headline == f"Enough for all {made.pieces.total} pieces"
    assert banner.deciding == ()


def test_an_empty_shelf_says_that_there_is_none(kept: Design) -> None:
    banner = banner_of(answer(kept, 12))
    assert banner.headline == "Short: no colour 1 on the shelf and 1 more"
    assert all(each.sure == 0 for each in lasting_of(answer(kept, 12)) if each.kind == "thread")


def test_the_bars_of_a_plan_share_one_finish_and_end_where_the_pieces_end() -> None:
    def strand(bar: str) -> float:
        return float(re.findall(r'<rect x="0\.0"[^>]* width="([\d.]+)"', bar)[0])

    half = thread_bar(total=60, sure=30, perhaps=45, reach=0.7, colour=RED)
    assert strand(half) == pytest.approx(FINISH / 2, abs=0.1)
    assert "circle" in half, "the rest is missing"
    enough = thread_bar(total=60, sure=60, perhaps=60, reach=1.1, colour=RED)
    assert strand(enough) == pytest.approx(FINISH * 1.1, abs=0.1)
    assert "circle" not in enough
    unknown = thread_bar(total=60, sure=0, perhaps=0, reach=None)
    assert "<rect" not in unknown
    assert thread_bar(total=60, sure=60, perhaps=60, reach=9.0) == thread_bar(
        total=60, sure=60, perhaps=60, reach=4.0
    ), "more than enough fades alike"


def test_the_page_opens_with_the_answer_and_its_ways_and_keeps_the_rest_in_folds(
    signed_in, kept: Design
) -> None:
    owned(20)
    page = signed_in.get(reverse("plan_sheet"), {"design": kept.pk, "pieces": 60})
    context = page.context
    assert [way["kind"] for way in context["ways"]][-1] == "Stitch fewer"
    assert len(context["ways"]) <= 3
    assert [fold["title"] for fold in context["folds"]][-1] == "How was this found?"
    assert all(fold["says"] for fold in context["folds"])
    fewer = context["ways"][-1]["href"]
    then = signed_in.get(f"{reverse('plan_sheet')}{fewer}").context["plan"]
    assert all(thread.verdict == "enough" for thread in then.threads)
    text = page_text(page)
    assert "Down through the cloth and up again" in text
    found = {step.what: step for step in context["found"]}
    thread = next(each for each in context["plan"].threads if each.verdict == "short")
    assert (
        f"{thread.needed_mm / 1000:.1f} m"
        in found["What this machine really takes, and what rethreading loses"].result
    )


def test_a_draft_pins_the_thread_that_lasts_and_a_promised_job_does_not(signed_in, kept: Design) -> None:
    owned(20)
    a_spool(a_shade("148", hex="#a91d30", name="signal red"))
    some_bobbins()
    made = make_job(JobFacts(what="caps", pieces=60), designs=[kept], at=NOW, by=None)
    job = Job.objects.with_everything().get(pk=made.pk)
    change_pins(job, ShadeChanges(pin=["1=147"]))
    page = signed_in.get(reverse("job", args=[job.pk]))
    way = next(each for each in page.context["ways"] if each["kind"] == "Use another thread")
    assert page.context["plan"].threads[0].verdict == "short"
    signed_in.post(reverse("hold_shades", args=[job.pk]), {"pin": way["pin"]})
    after = signed_in.get(reverse("job", args=[job.pk])).context["plan"].threads[0]
    assert (after.choice.shade.code, after.verdict) == ("148", "enough")

    change_pins(job, ShadeChanges(pin=["1=147"]))
    promise(Job.objects.with_everything().get(pk=job.pk), at=NOW, by=None, although_short=True)
    ways = signed_in.get(reverse("job", args=[job.pk])).context["ways"]
    assert not any("pin" in each for each in ways)

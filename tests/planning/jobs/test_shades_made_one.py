"""A shade renamed or made one with another: all that rests on it is carried over, told, and goes back whole."""

import json

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.catalogue.merging import (
    CannotMerge,
    merge_shades,
    rename_shade,
    rests_on_shade,
    take_back_shade_act,
)
from inventory.ledger import ledger_problems
from inventory.models import Order, OrderLine, Shade, Spool, Staple, Supplier
from planning.facts.remembered import ColourAnswer, remember
from planning.models import Job, LeftOutShade, PinnedShade, PromisedThread, RememberedColour
from planning.run.finish import Ending, finish
from planning.run.promise import promise
from planning.run.standing import run_of
from planning.run.ticks import Happening, begin, note
from tests.factories import NOW, a_key, a_put_up, a_range, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text
from tests.planning.run.jobs import BLUE, RED, a_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def red(workshop) -> Shade:
    return a_shade("R1", hex=RED, name="harbour red")


@pytest.fixture
def crimson(workshop) -> Shade:
    """The same thread, entered a second time under its new number."""
    return a_shade("1147", hex="#b01c2f", name="crimson")


@pytest.fixture
def promised(stitch_file, red) -> Job:
    a_spool(red, left_m=900)
    a_spool(a_shade("B", hex=BLUE), left_m=900)
    some_bobbins(count=20)
    a_roll()
    job = a_job(stitch_file(RED, BLUE, stitches=400))
    PinnedShade.objects.create(job=job, design=job.placed.first().design, block=1, shade=red)
    promise(job, at=NOW, by=None)
    return job


def rests_everywhere(red: Shade, job: Job) -> None:
    """Let a line of an order, a thing that always has to be there and an answer rest on the shade as well."""
    order = Order.objects.create(
        number=1, supplier=Supplier.objects.create(name="Quay Supplies"), made_at=NOW, key=a_key()
    )
    OrderLine.objects.create(
        order=order, number=1, shade=red, put_up=a_put_up(red.range), packs=1, pack=1, things=1, total=4
    )
    LeftOutShade.objects.create(job=job, shade=red)
    remember([ColourAnswer(RED, red)], at=NOW, by=None)


def everything(shade: Shade) -> dict[str, set[int]]:
    return {
        model.__name__: set(model.objects.filter(shade_id=shade.pk).values_list("pk", flat=True))
        for model in (Spool, PinnedShade, LeftOutShade, PromisedThread, OrderLine, RememberedColour, Staple)
    }


def said() -> dict:
    return {"key": a_key(), "at": NOW, "by": None}


def test_all_that_rests_on_a_shade_is_told(promised, red):
    told = " / ".join(str(each) for each in rests_on_shade(red))
    for word in ("spools (1)", "pinned shades (1)", "promised threads (1)", f"job {promised.pk}"):
        assert word in told


def test_what_rests_on_a_shade_is_one_question_for_each_kind(promised, red, crimson):
    with CaptureQueriesContext(connection) as of_none:
        assert rests_on_shade(crimson) == []
    rests_everywhere(red, promised)
    a_spool(red)
    with CaptureQueriesContext(connection) as of_all:
        assert len(rests_on_shade(red)) > 6
    assert len(of_all) == len(of_none)


def test_two_shades_become_one_and_two_again(promised, red, crimson):
    rests_everywhere(red, promised)
    before, other = everything(red), everything(crimson)
    assert all(before[name] for name in before if name != "Staple")
    act = merge_shades(red, into=crimson, why="renumbered", **said())
    assert not Shade.objects.filter(pk=red.pk).exists()
    assert Shade.objects.by_code("R1").get() == crimson
    assert everything(crimson) == {name: before[name] | other[name] for name in before}
    assert "renumbered" in act.what

    assert take_back_shade_act(act, at=NOW, by=None) == []
    back = Shade.objects.get(code="R1")
    assert (back.pk, back.name, back.lab_l) == (red.pk, red.name, red.lab_l)
    assert everything(back) == before
    assert everything(crimson) == other
    assert take_back_shade_act(act, at=NOW, by=None) == []


def test_what_the_other_has_the_like_of_goes_and_comes_back(promised, red, crimson):
    for shade in (red, crimson):
        LeftOutShade.objects.create(job=promised, shade=shade)
    act = merge_shades(red, into=crimson, **said())
    assert LeftOutShade.objects.filter(job=promised).count() == 1
    take_back_shade_act(act, at=NOW, by=None)
    assert set(LeftOutShade.objects.values_list("shade__code", flat=True)) == {"R1", "1147"}


def test_a_promised_job_goes_on_to_its_end_with_the_other_shade(promised, red, crimson):
    merge_shades(red, into=crimson, **said())
    begin(promised, at=NOW)
    while run_of(promised).left:
        note(promised, Happening("piece", key=a_key()), at=NOW, by=None)
    report = finish(promised, Ending(), at=NOW, by=None)
    assert report.facts["threads"][0]["used_mm"] > 0
    assert not ledger_problems()


def test_sent_twice_it_happens_once(promised, red, crimson):
    key = a_key()
    first = merge_shades(red, into=crimson, key=key, at=NOW, by=None)
    assert merge_shades(red, into=crimson, key=key, at=NOW, by=None) == first


def test_shades_of_two_ranges_are_not_one(red):
    strand = a_shade("S1", hex=RED, range=a_range("Brough", "Strand", tex=30.0))
    with pytest.raises(CannotMerge, match="two ranges"):
        merge_shades(red, into=strand, **said())
    with pytest.raises(CannotMerge):
        merge_shades(red, into=red, **said())


def test_a_renamed_shade_is_found_by_both_codes_and_keeps_everything(promised, red):
    before = everything(red)
    act = rename_shade(red, code="2201", name="deep red", **said())
    renamed = Shade.objects.get(pk=red.pk)
    assert (renamed.code, renamed.name) == ("2201", "deep red")
    assert Shade.objects.by_code("R1").get() == renamed
    assert everything(renamed) == before
    assert any("promised threads" in each for each in act.told)
    take_back_shade_act(act, at=NOW, by=None)
    back = Shade.objects.get(pk=red.pk)
    assert (back.code, back.name) == ("R1", "harbour red")
    assert not back.earlier_codes.exists()


def test_a_code_that_another_shade_has_is_refused(red, crimson):
    with pytest.raises(CannotMerge, match="make them one"):
        rename_shade(red, code="1147", **said())


def test_it_cannot_go_back_where_the_code_is_given_out_anew(red, crimson):
    act = merge_shades(red, into=crimson, **said())
    a_shade("R1", hex=BLUE)
    with pytest.raises(CannotMerge, match="by now"):
        take_back_shade_act(act, at=NOW, by=None)


def test_the_page_shows_what_rests_and_does_both(signed_in, promised, red, crimson):
    address = reverse("shade_acts", args=[red.pk])
    assert f"job {promised.pk}" in page_text(signed_in.get(address))
    done = signed_in.post(address, {"do": "rename", "code": "77", "name": "red", "key": "a"}, follow=True)
    assert "Carried over" in page_text(done)
    done = signed_in.post(address, {"do": "merge", "into": "1147", "key": "b"}, follow=True)
    assert done.redirect_chain[-1][0] == reverse("shade_acts", args=[crimson.pk])
    act = crimson.acts.get(kind="merge")
    back = signed_in.post(reverse("take_back_shade", args=[act.pk]), follow=True)
    assert "Taken back" in page_text(back)
    assert Shade.objects.get(code="77").pk == red.pk
    refused = signed_in.post(address, {"do": "merge", "into": "nothing such", "key": "c"})
    assert refused.status_code == 422


def test_commands_rename_merge_list_and_take_back(promised, red, crimson, capsys):
    call_command("shades", "rests-on", "R1", format="json")
    assert any("spools" in each for each in json.loads(capsys.readouterr().out)["rests_on"])
    call_command("shades", "merge", "R1", "1147", format="json")
    made = json.loads(capsys.readouterr().out)["acts"][0]
    assert made["carried_over"]
    call_command("shades", "take-back", str(made["id"]), format="json")
    assert json.loads(capsys.readouterr().out)["acts"][0]["taken_back"] is True
    assert Spool.objects.filter(shade=red).exists()

"""Shades pinned, left out and bought instead, as a person meets them in a plan."""

import json
from datetime import date
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from planning.library.designs import asked_from_file, keep_design
from planning.plan.ask import Question, each_in_its_own_hooping, plan
from planning.plan.data import plan_as_data
from planning.plan.pins import NoSuchPin
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_put_up, a_range, a_roll, a_shade, a_spool, an_offer, some_bobbins

pytestmark = pytest.mark.django_db
# Two reds whose nearest shade is one and the same.
RED, ROSE = "#b01c2e", "#bc2a3a"


@pytest.fixture
def badge(stitch_file):
    return [asked_from_file(read_design_file(stitch_file(RED, ROSE)))]


@pytest.fixture
def shelf(workshop):
    a_spool(a_shade("R1", hex="#b42232", name="harbour red"))
    a_spool(a_shade("R2", hex="#ac1a2c", name="deep red"))
    some_bobbins(count=20)
    a_roll()
    return workshop


def codes(answer):
    return [thread.choice.shade.code for thread in answer.threads]


def test_two_reds_stay_two(badge, shelf):
    answer = plan(badge, Question(pieces=5))
    assert codes(answer) == ["R2", "R1"]
    assert not [note for note in answer.notes if "tell apart" in note]


def test_where_one_red_is_all_there_is_the_plan_says_so(badge, workshop):
    a_spool(a_shade("R1", hex="#b42232"))
    answer = plan(badge, Question(pieces=5))
    (thread,) = answer.threads
    assert thread.blocks == ((0, 1), (0, 2))
    assert any(
        "colour 1 and colour 2 share R1; they will be hard to tell apart." in note for note in answer.notes
    )
    assert plan_as_data(answer)["notes"] == list(answer.notes)


def test_a_pin_holds_and_the_rest_is_chosen_anew(badge, shelf):
    a_spool(a_shade("R3", hex="#c63648", name="pale red"))
    assert codes(plan(badge, Question(pieces=5))) == ["R2", "R1"]
    pinned = plan(badge, Question(pieces=5, pins=("1=R1",)))
    assert codes(pinned) == ["R1", "R3"]
    assert [thread.is_pinned for thread in pinned.threads] == [True, False]


def test_a_pin_beyond_the_limit_is_taken_and_noted(badge, shelf):
    a_spool(a_shade("G", hex="#20a040"))
    answer = plan(badge, Question(pieces=5, pins=("1=g",)))
    green = answer.threads[0]
    assert (green.choice.shade.code, green.verdict) == ("G", "enough")
    assert any(note.startswith("G is pinned, though it differs") for note in answer.notes)


def test_a_block_without_a_colour_takes_the_shade_pinned_to_it(stitch_file, shelf):
    bare = [asked_from_file(read_design_file(stitch_file(RED, ROSE, name="badge.dst")))]
    answer = plan(bare, Question(pieces=5, pins=("1=R1", "2=R2")))
    assert [(thread.choice.shade.code, thread.verdict) for thread in answer.threads] == [
        ("R1", "enough"),
        ("R2", "enough"),
    ]


def test_a_shade_left_out_is_not_used(badge, shelf):
    answer = plan(badge, Question(pieces=5, exclude=("R2",)))
    assert {thread.choice.shade.code for thread in answer.threads} == {"R1"}


@pytest.mark.parametrize(
    ("pins", "exclude", "problem"),
    [
        (("R1",), (), '"R1" pins nothing. Write BLOCK=CODE'),
        (("3=R1",), (), 'There is no block "3"'),
        (("1.1=R9",), (), 'No shade "R9" of the planned fibre and weight is on the shelf'),
        (("0.1=R1",), (), 'There is no block "0.1"'),
        ((), ("R9",), 'No shade "R9"'),
    ],
)
def test_a_pin_that_names_nothing_is_refused_in_words(badge, shelf, pins, exclude, problem):
    with pytest.raises(NoSuchPin) as refused:
        plan(badge, Question(pieces=5, pins=pins, exclude=exclude))
    assert problem in str(refused.value)


def test_a_code_that_two_makers_share_must_be_written_in_full(badge, shelf):
    a_spool(a_shade("R1", hex="#b32030", range=a_range("Cormorant", "Fine")))
    with pytest.raises(NoSuchPin, match="may be any of"):
        plan(badge, Question(pieces=5, pins=("1=R1",)))
    answer = plan(badge, Question(pieces=5, pins=("1=cormorant fine r1",)))
    assert answer.threads[0].choice.shade.maker == "Cormorant"


def test_of_several_designs_a_block_is_named_with_its_design(badge, shelf):
    both = each_in_its_own_hooping([badge[0], badge[0]])
    with pytest.raises(NoSuchPin, match=r"DESIGN\.BLOCK"):
        plan(both, Question(pieces=5, pins=("1=R1",)))
    assert plan(both, Question(pieces=5, pins=("2.1=R1",))).threads[0].choice.shade.code == "R1"


def test_the_shade_whose_purchase_comes_nearest_is_named_with_its_price(badge, shelf):
    sold = a_shade("R7", hex=ROSE, name="rose", range=a_range("Cormorant", "Fine"))
    an_offer(a_put_up(sold.range), price="3.90")
    answer = plan(badge, Question(pieces=5, needed_on=date(2026, 3, 20)))
    (row,) = plan_as_data(answer)["instead"]
    (bought,) = row["shades"]
    assert (bought["shade"]["code"], bought["blocks"], bought["packs"]) == ("R7", [[0, 2]], 1)
    assert row["total"] == bought["total"] == "3.90"
    assert row["mean_delta_e_00_then"] < row["mean_delta_e_00"]
    a_spool(sold)
    then = plan(badge, Question(pieces=5))
    thread = sum(each.needed_mm for each in then.threads)
    mean = sum(each.choice.delta_e_00 * each.needed_mm for each in then.threads) / thread
    assert row["mean_delta_e_00_then"] == pytest.approx(mean, abs=0.01)


def test_the_command_takes_pins_and_exclusions(stitch_file, shelf):
    def run(*words):
        out = StringIO()
        with pytest.raises(SystemExit) as stop:
            call_command("plan", str(stitch_file(RED, ROSE)), "--pieces", "5", *words, stdout=out, stderr=out)
        return stop.value.code, out.getvalue()

    _, out = run("--pin", "1=R1", "--pin", "2=R2", "--format", "json")
    threads = json.loads(out)["threads"]
    assert [(thread["shade"]["code"], thread["pinned"]) for thread in threads] == [("R1", True), ("R2", True)]
    _, out = run("--exclude", "R2", "--format", "json")
    assert [thread["shade"]["code"] for thread in json.loads(out)["threads"]] == ["R1"]
    code, out = run("--pin", "9=R1")
    assert code == 1
    assert 'There is no block "9"' in out


def test_the_plan_sheet_offers_runners_up_and_undoes_a_pin(client, django_user_model, stitch_file, shelf):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    path = stitch_file(RED, ROSE)
    kept = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    address = f"{reverse('plan_sheet')}?design={kept.pk}&pieces=5"
    page = client.get(address)
    red = page.context["threads"][0]
    (runner_up,) = red["pins"]["runners_up"]
    assert runner_up["name"] == "harbour red R1"
    assert red["pins"]["take_back"] is None
    pinned = client.get(reverse("plan_sheet") + runner_up["href"])
    row = pinned.context["threads"][0]
    assert row["thread"].choice.shade.code == "R1"
    assert "Pinned." in pinned.content.decode()
    undone = client.get(reverse("plan_sheet") + row["pins"]["take_back"])
    assert [each["thread"].choice.shade.code for each in undone.context["threads"]] == ["R2", "R1"]
    without = client.get(reverse("plan_sheet") + red["pins"]["leave_out"])
    assert "Left out: Skerry Forty R2" in without.content.decode()


def test_a_pin_in_the_address_that_names_nothing_is_answered_in_words(
    client, django_user_model, stitch_file, shelf
):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    path = stitch_file(RED, ROSE)
    kept = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    page = client.get(reverse("plan_sheet"), {"design": kept.pk, "pieces": 5, "pin": "1=none"})
    assert page.status_code == 422
    assert "is on the shelf" in page.content.decode()

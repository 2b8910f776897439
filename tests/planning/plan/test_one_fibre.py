"""No colour of a piece crosses fibre unless a person or the rules allow it, wherever a plan is made."""

from importlib import import_module
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.db import connection
from django.urls import reverse

from inventory.models import StockItem
from planning.buying.needs import needs_of_all
from planning.facts.remembered import ColourAnswer, remember
from planning.jobs.jobs import JobFacts, make_job
from planning.jobs.pinning import ShadeChanges, change_pins
from planning.jobs.season import in_turn
from planning.library.colours import RequestedColour, recolour
from planning.library.designs import asked_from_record, keep_design
from planning.models import Rules
from planning.plan.ask import Question, plan
from planning.plan.data import plan_as_data
from planning.stitch_files.reading import read_design_file
from tests.factories import (
    NOW,
    a_put_up,
    a_range,
    a_roll,
    a_shade,
    a_spool,
    an_offer,
    some_bobbins,
)

pytestmark = pytest.mark.django_db
RED, BLUE, GOLD = "#b01c2e", "#1f3f8c", "#c9a227"
MIXED = "One piece mixes polyester and rayon: they shine, shrink and fade differently (common practice)."


def of(fibre):
    return a_range("Skerry", fibre.title(), fibre=fibre)


@pytest.fixture
def wall(workshop):
    """A red and a blue of polyester, both a little off; the very red of rayon; and gold that is metallic."""
    some_bobbins(count=40)
    a_roll()
    made = {
        code: a_shade(code, hex=hex, range=of(fibre))
        for code, hex, fibre in (
            ("PR", "#b42232", "polyester"),
            ("PB", "#233f86", "polyester"),
            ("RR", RED, "rayon"),
            ("MG", GOLD, "metallic"),
        )
    }
    for shade in made.values():
        a_spool(shade)
    return made


@pytest.fixture
def kept(stitch_file):
    def keep(*colours, name="badge.pes", **stitches):
        path = stitch_file(*colours, name=name, **stitches)
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

    return keep


def asked(design, **question):
    return plan([asked_from_record(design)], Question(pieces=2, **question))


def codes(answer):
    return [thread.choice.shade.code if thread.choice.shade else None for thread in answer.threads]


def named(design, block, shade):
    recolour(design, {block: RequestedColour(shade.hex, shade.name, shade.code, None, shade.pk, "shade")})
    return type(design).objects.prefetch_related("blocks__shade__range").get(pk=design.pk)


def off_the_shelf(shade):
    StockItem.objects.filter(spool__shade=shade).update(retired_at=NOW)


def mixing_allowed():
    Rules.objects.update_or_create(pk=1, defaults={"may_mix_fibres": True})


def test_a_fresh_workshop_mixes_no_fibres_and_says_what_it_left_out(wall, kept):
    answer = asked(kept(RED, BLUE))
    assert codes(answer) == ["PR", "PB"]
    assert MIXED not in answer.notes
    told = {each["what"]: (each["count"], each["why"]) for each in plan_as_data(answer)["left_out"]}
    assert told["spools of Skerry Rayon"] == told["spools of Skerry Metallic"] == (1, "fibre")


def test_where_the_rules_allow_it_each_colour_takes_its_nearest(wall, kept):
    mixing_allowed()
    answer = asked(kept(RED, BLUE))
    assert codes(answer) == ["RR", "PB"]
    assert MIXED in answer.notes
    assert not [each for each in answer.left_out if each.why == "fibre"]


def test_a_fibre_that_the_rules_name_is_the_only_one(wall, kept):
    Rules.objects.update_or_create(pk=1, defaults={"fibre": "rayon"})
    answer = asked(kept(RED))
    assert codes(answer) == ["RR"]
    assert {each.what for each in answer.left_out if each.why == "fibre"} == {
        "spools of Skerry Polyester",
        "spools of Skerry Metallic",
    }


@pytest.mark.parametrize("how", ["typed", "kept with the job", "remembered"])
def test_what_a_person_said_may_cross_and_the_plan_says_so(wall, kept, workshop, how):
    design = kept(RED, BLUE)
    if how == "remembered":
        remember([ColourAnswer(RED, wall["RR"])], at=NOW, by=None)
    if how == "kept with the job":
        job = make_job(JobFacts(what="caps", pieces=2, machine=workshop), designs=[design], at=NOW, by=None)
        change_pins(job, ShadeChanges(pin=["1=RR"]))
        (standing,) = in_turn(plans=8)
        assert codes(standing.plan) == ["RR", "PB"]
        return
    answer = asked(design, pins=("1=RR",) if how == "typed" else ())
    assert codes(answer) == ["RR", "PB"]
    assert MIXED in answer.notes


def test_a_shade_named_for_a_block_is_answered_in_its_fibre_alone(wall, kept):
    wine = a_shade("RW", hex="#b22131", range=of("rayon"))
    design = named(kept(RED, BLUE), 1, wine)
    assert codes(asked(design)) == ["RR", "PB"]
    off_the_shelf(wall["RR"])
    answer = asked(design)
    assert codes(answer) == [None, "PB"]
    assert (answer.threads[0].verdict, answer.threads[0].reason) == (
        "short",
        "No rayon thread of a known colour is on the shelf.",
    )
    assert "If one piece might mix fibres, the thread would be enough." in answer.notes
    mixing_allowed()
    assert codes(asked(design)) == ["PR", "PB"]
    Rules.objects.update(may_mix_fibres=False, fibre="polyester")
    assert codes(asked(design)) == ["PR", "PB"]


def test_metallic_thread_is_asked_for_by_name_or_pinned_and_stands_for_nothing_else(wall, kept):
    design = kept(GOLD, BLUE)
    gold = asked(design).threads[0]
    assert gold.verdict == "short"
    assert gold.reason.startswith("No polyester thread of that colour")
    assert codes(asked(design, pins=("1=MG",)))[0] == "MG"
    answer = asked(named(design, 1, wall["MG"]))
    assert codes(answer) == ["MG", "PB"]
    assert MIXED not in answer.notes
    yellow = a_shade("PY", hex=GOLD, range=of("polyester"))
    a_spool(yellow)
    off_the_shelf(wall["MG"])
    assert codes(asked(named(design, 1, wall["MG"])))[0] is None


def test_where_the_fibres_left_out_would_do_the_answer_says_so(wall, kept):
    a_spool(a_shade("PK", hex="#222224", range=of("polyester")))
    a_spool(a_shade("RG", hex="#1e7a3c", range=of("rayon")))
    answer = asked(kept(RED, BLUE, "#1e7a3c", "#222224"))
    assert [code for at, code in enumerate(codes(answer)) if at != 2] == ["PR", "PB", "PK"]
    assert answer.threads[2].verdict == "short"
    assert "With the 3 spools left out for their fibre the thread would be enough." in answer.notes


def test_what_is_missing_is_bought_in_the_fibre_of_the_piece(wall, kept):
    green = "#1e7a3c"
    for code, hex, fibre in (("PG", "#237d40", "polyester"), ("RG", green, "rayon")):
        range = of(fibre)
        a_shade(code, hex=hex, range=range)
        an_offer(a_put_up(range))
    answer = asked(kept(RED, BLUE, green))
    assert answer.threads[2].to_buy.code == "PG"
    assert {each.shade.fibre for option in answer.instead for each in option.shades} <= {"polyester"}


def test_of_an_empty_shelf_what_is_bought_is_of_one_fibre(workshop, kept):
    for code, hex, fibre in (("PR", "#b42232", "polyester"), ("PB", BLUE, "polyester"), ("RR", RED, "rayon")):
        range = of(fibre)
        a_shade(code, hex=hex, range=range)
        an_offer(a_put_up(range))
    answer = asked(kept(RED, BLUE))
    assert [thread.to_buy.code for thread in answer.threads] == ["PR", "PB"]


def test_jobs_in_turn_and_needs_keep_to_one_fibre_a_piece(wall, kept, workshop):
    facts = JobFacts(what="caps", pieces=2, machine=workshop)
    for name in ("one.pes", "two.pes"):
        make_job(facts, designs=[kept(RED, BLUE, name=name)], at=NOW, by=None)
    for standing in in_turn(plans=8):
        assert codes(standing.plan) == ["PR", "PB"]
        assert [each.shade for each in standing.stood.threads] == [wall["PR"].pk, wall["PB"].pk]
        assert {each.why for each in standing.plan.left_out} >= {"fibre"}
    assert needs_of_all(today=NOW.date()) is not None


def test_a_job_goes_to_another_fibre_where_an_earlier_one_takes_the_metres(wall, kept, workshop):
    needed = asked(kept(RED)).threads[0].needed_mm
    a_spool(a_shade("PX", hex=RED, range=of("polyester")))
    for fibre, times in (("polyester", 1.7), ("rayon", 1.6)):
        its = StockItem.objects.filter(spool__shade__range__fibre=fibre)
        its.update(on_hand=round(times * needed), sigma=0.0)
    off_the_shelf(wall["PR"])
    facts = JobFacts(what="caps", pieces=2, machine=workshop)
    for name in ("one.pes", "two.pes"):
        make_job(facts, designs=[kept(RED, name=name)], at=NOW, by=None)
    first, second = in_turn(plans=8)
    assert [codes(each.plan) for each in (first, second)] == [["PX"], ["RR"]]
    assert second.stood.threads[0].shade == wall["RR"].pk


def test_workshops_from_before_answer_as_they_did_until_they_change_it(wall):
    mend = import_module("planning.migrations.0024_fibres_of_one_piece").let_them_mix_as_before
    editor = SimpleNamespace(connection=connection)
    Rules.objects.all().delete()
    mend(apps, editor)
    assert Rules.objects.get().may_mix_fibres  # it had saved no rules, and has spools
    Rules.objects.update(may_mix_fibres=False, fibre="rayon")
    mend(apps, editor)
    assert not Rules.objects.get().may_mix_fibres
    Rules.objects.update(fibre="")
    mend(apps, editor)
    assert Rules.objects.get().may_mix_fibres


def test_a_workshop_that_begins_now_mixes_none():
    import_module("planning.migrations.0024_fibres_of_one_piece").let_them_mix_as_before(
        apps, SimpleNamespace(connection=connection)
    )
    assert not Rules.objects.exists()
    assert not Rules.current().may_mix_fibres


def test_the_rules_page_asks_it(client, django_user_model):
    client.force_login(django_user_model.objects.create_superuser("ro", password="sea"))
    page = client.get(reverse("setup_rules")).content.decode()
    assert "One piece may mix fibres" in page

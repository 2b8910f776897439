"""A picture and brand colours: how near is near enough, and what is said of a thread that is not."""

import json
from dataclasses import replace
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.compute.units import METRIC
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.jobs.pinning import ShadeChanges, change_pins
from planning.library.designs import asked_from_file, keep_design
from planning.models import Job, Rules
from planning.plan.ask import Question, chosen_machine, plan, question_named
from planning.plan.data import plan_as_data
from planning.stitch_files.reading import read_design_file
from planning.views.plan.ask import plan_context
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins

pytestmark = pytest.mark.django_db
RED, NEARLY_RED = "#b01c2e", "#b82a34"


@pytest.fixture
def shelf(workshop):
    a_spool(a_shade("R1", hex=NEARLY_RED, name="harbour red"))
    some_bobbins(count=20)
    a_roll()
    return workshop


@pytest.fixture
def badge(stitch_file):
    return [asked_from_file(read_design_file(stitch_file(RED)))]


def demanded(design):
    """The design with its colours asked for by a person."""
    return replace(design, blocks=tuple(replace(block, source="person") for block in design.blocks))


@pytest.fixture
def kept(stitch_file):
    path = stitch_file(RED)
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


def test_near_enough_for_a_picture_is_off_colour_for_a_brand(badge, shelf):
    picture = plan(badge, question_named(Question(pieces=5), fabric="twill"))
    brand = plan(badge, question_named(Question(pieces=5, strictness="brand"), fabric="twill"))
    (red,), (brand_red,) = picture.threads, brand.threads
    assert 2.0 < red.choice.delta_e_00 < 5.0
    assert (red.colour_verdict, red.verdict, picture.verdict) == ("near", "enough", "enough")
    assert (brand_red.colour_verdict, brand.verdict) == ("off colour", "short")
    said = plan_as_data(brand)
    assert (said["strictness"], said["colour_limit"], said["colour_verdict"]) == ("brand", 2.0, "off colour")
    assert said["threads"][0]["colour_verdict"] == "off colour"
    assert said["threads"][0]["verdict"] in ("enough", "tight", "short", "unknown")


def test_the_workshop_sets_both_limits(badge, shelf):
    Rules.objects.create(pk=1, colour_limit=1.0, brand_colour_limit=4.9)
    badge = [demanded(design) for design in badge]
    assert plan(badge, Question(pieces=5)).threads[0].colour_verdict == "off colour"
    assert plan(badge, Question(pieces=5, strictness="brand")).threads[0].colour_verdict == "near"


def test_a_shade_pinned_to_a_wish_of_the_file_is_the_colour_that_was_chosen(badge, shelf):
    a_spool(a_shade("G", hex="#20a040"))
    answer = plan(badge, question_named(Question(pieces=5, pins=("1=G",)), fabric="twill"))
    (green,) = answer.threads
    assert (green.verdict, green.colour_verdict, answer.verdict) == ("enough", "near", "enough")
    assert plan_as_data(answer)["threads"][0]["colour"]["word"] == "chosen by you"
    assert any(note.startswith("G is pinned, though it differs") for note in answer.notes)


def test_a_pinned_shade_beyond_the_limit_of_a_demand_is_never_called_enough(badge, shelf):
    a_spool(a_shade("G", hex="#20a040"))
    badge = [demanded(design) for design in badge]
    answer = plan(badge, question_named(Question(pieces=5, pins=("1=G",)), fabric="twill"))
    (green,) = answer.threads
    assert (green.verdict, green.colour_verdict, answer.verdict) == ("enough", "off colour", "tight")


def test_the_sheet_says_off_colour_in_its_own_word(client, django_user_model, kept, shelf):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    address = reverse("plan_sheet")
    asked = {"design": kept.pk, "pieces": 5, "strictness": "brand"}
    page = client.get(address, asked)
    assert page.context["threads"][0]["verdict"] == "off colour"
    assert page.context["answer"].headline.startswith("No match: 1 of 1 colour")
    assert "verdict-off-colour" in page.content.decode()
    near = client.get(address, asked | {"strictness": ""})
    assert near.context["threads"][0]["verdict"] == "enough"


def test_the_question_keeps_its_strictness_on_the_way_to_the_sheet_and_the_job(
    client, django_user_model, kept, shelf
):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    sheet = client.post(reverse("today"), {"design": kept.pk, "pieces": 5, "strictness": "brand"})
    assert "strictness=brand" in sheet.url
    query = sheet.url.partition("?")[2]
    client.post(
        f"{reverse('keep_job')}?{query}",
        {"what": "caps", "design": kept.pk, "pieces": 5, "strictness": "brand"},
    )
    job = kept.placed.get().job
    assert job.strictness == "brand"
    assert plan_of(job).threads[0].colour_verdict == "off colour"


def test_the_command_takes_the_strictness(stitch_file, shelf):
    def run(*words):
        out = StringIO()
        with pytest.raises(SystemExit) as stop:
            call_command("plan", str(stitch_file(RED)), "--pieces", "5", *words, stdout=out)
        return stop.value.code, out.getvalue()

    code, out = run("--strictness", "brand", "--format", "json")
    assert (code, json.loads(out)["threads"][0]["colour_verdict"]) == (3, "off colour")
    _, out = run("--strictness", "brand")
    assert "≠ off colour" in out


def test_a_difference_is_told_with_what_is_open_of_it(badge, workshop):
    shade = a_shade("R1", hex=NEARLY_RED)
    shade.colour_source = "measured"
    shade.save()
    a_spool(shade)
    row = plan_as_data(plan(badge, Question(pieces=5)))["threads"][0]
    assert row["delta_e_00_from"] < row["delta_e_00"] < row["delta_e_00_to"]
    shade.colour_sigma = 0.0
    shade.save()
    row = plan_as_data(plan(badge, Question(pieces=5)))["threads"][0]
    assert row["delta_e_00_from"] == row["delta_e_00"] == row["delta_e_00_to"]


def test_the_queries_of_a_job_do_not_grow_with_what_it_holds(kept, stitch_file, shelf):
    path = stitch_file(RED, "#2040a0", "#20a040", "#d0c020", name="many.pes")
    many = keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    for number, hex in enumerate(("#2040a0", "#20a040", "#d0c020", "#111111"), 2):
        a_spool(a_shade(f"R{number}", hex=hex))

    def queries(design, *pins, leave_out=()):
        job = make_job(JobFacts("caps", 5), designs=[design], at=NOW, by=None)
        change_pins(job, ShadeChanges(pin=pins, leave_out=leave_out))
        with CaptureQueriesContext(connection) as caught:
            found = Job.objects.with_everything().get(pk=job.pk)
            shown = plan_context(
                plan_of(found), units=METRIC, machine=chosen_machine(None), fabric=None, job=found
            )
        assert len(shown["held"]) == len(pins)
        return len(caught)

    few = queries(kept, "1=R1", leave_out=("R5",))
    assert queries(many, "1=R1", "2=R2", "3=R3", leave_out=("R4", "R5")) == few

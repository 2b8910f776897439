"""The page of JSON keys names every key that commands answer with, and none that they do not."""

import re
from dataclasses import replace
from datetime import date

import pytest
from django.urls import reverse

from inventory.shelf.weights import judge_spool
from planning.compute.stitches.applique import AskedApplique
from planning.library.designs import asked_from_file
from planning.models import Fabric, Layer, Rules
from planning.plan.ask import Question, plan, question_named
from planning.plan.data import plan_as_data, read_design_as_data
from planning.plan.json_keys import PLAN, READ_DESIGN, SHADE, paths_of
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_key, a_put_up, a_range, a_roll, a_shade, a_spool, an_offer, some_bobbins

pytestmark = pytest.mark.django_db
SHADES = (
    "threads[].shade",
    "threads[].runners_up[].shade",
    "instead[].shades[].shade",
    "threads[].colour.enough_metres[]",
)


def with_shades_as_one(paths):
    """Keys of a shade stand in a table of their own."""
    plain = set()
    for path in paths:
        owner = next((each for each in SHADES if path.startswith(f"{each}.")), None)
        if owner is None:
            plain.add(path)
        else:
            assert path.removeprefix(f"{owner}.") in SHADE, path
            plain.add(owner)
    return plain


@pytest.fixture
def answers(stitch_file, workshop):
    Rules.objects.create(pk=1, machine_rate="3.00")
    some_bobbins(count=1, metres=4)
    a_roll()
    # A topping, so that some layer has a caution.
    Layer.objects.create(fabric=Fabric.objects.get(name="twill"), order=2, kind="topping", method="topping")
    a_spool(a_shade("R1", hex="#8c1822"))
    a_spool(a_shade("R3", hex="#9c2832"), left_m=1)
    sold = a_shade("R2", hex="#d81a20", range=a_range("Cormorant", "Bright"))
    an_offer(a_put_up(sold.range), price="3.90")
    judged = a_spool(a_shade("R4", hex="#0b1c8e"))
    judge_spool(judged, level="three quarters", key=a_key(), at=NOW, by=None)
    a_spool(a_shade("SIXTY", range=a_range("Skerry", "Sixty", weight_label="60")))
    files = [stitch_file("#ff0000", "#9c2832", "#0000ff"), stitch_file("#ff0000", name="bare.dst")]
    designs = [asked_from_file(read_design_file(path)) for path in files]
    sail = AskedApplique(1, "sail", 999, "Canvas", False, 40.0, 40.0, 10, 1, (("placement", 1, 1),))
    designs[0] = replace(designs[0], appliques=(sail,))
    question = Question(pieces=400, needed_on=date(2026, 3, 20))
    several = question_named(question, fabric="twill")
    return [
        plan_as_data(plan([design], asked)) for design in designs for asked in (question, several)
    ], read_design_as_data(designs[0], workshop.thread_settings(thickness_mm=0.6, allowance=0.1))


def test_every_key_of_a_plan_is_on_the_page(answers):
    plans, _ = answers
    paths = with_shades_as_one(set().union(*map(paths_of, plans)))
    known = {*PLAN, *(f"{path}[]" for path in PLAN)}
    assert sorted(paths - known) == []


def test_the_page_names_no_key_that_a_plan_has_not(answers):
    plans, _ = answers
    there = with_shades_as_one(set().union(*map(paths_of, plans)))
    # What this shelf and file do not bring about: lists that stay empty here.
    absent = {path for path in PLAN if path not in there}
    lists = {path for path in there if path.endswith("[]")}
    parents = {f"{path.rpartition('[]')[0]}[]" for path in absent if "[]" in path[:-2] or path.endswith("[]")}
    assert sorted(path for path in absent if f"{path.rpartition('[]')[0]}[]" not in lists) == []
    assert parents <= lists | absent


def test_both_meanings_of_metres_a_piece_have_a_name_of_their_own(answers):
    plans, read = answers
    block, laid = plans[0]["blocks"][0], read["blocks"][0]
    assert block["needle_used_mm_per_piece"] == block["needle_mm_per_piece"]
    assert laid["needle_laid_mm_per_piece"] == laid["needle_mm_per_piece"]
    assert block["needle_used_mm_per_piece"] > laid["needle_laid_mm_per_piece"]
    assert "bobbin_used_mm_per_piece" in block
    assert "bobbin_laid_mm_per_piece" in laid
    paths = {re.sub(r"^blocks", "designs[].blocks", path) for path in paths_of({"blocks": read["blocks"]})}
    known = set(READ_DESIGN) | {f"designs[].{path}" for path in PLAN}
    assert sorted(paths - known) == []


def test_the_page_is_in_the_handbook(client, django_user_model):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    page = client.get(reverse("json_keys")).content.decode()
    for key in (*PLAN, *SHADE, *READ_DESIGN):
        assert f"<code>{key}</code>" in page
    assert reverse("json_keys") in client.get(reverse("help")).content.decode()

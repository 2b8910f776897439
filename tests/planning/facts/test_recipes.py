"""Recipes: to begin with, doubted on every plan, and remembered by what tests showed."""

import json
from io import StringIO

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import reverse

from planning.compute.stabilizer.recipes import recipe_doubts
from planning.facts.layers import layer_need, layer_needs
from planning.facts.recipes import LAYERS_IN, STARTERS, worked_before
from planning.jobs.jobs import JobFacts, make_job, plan_of
from planning.library.designs import keep_design
from planning.library.search import note_stitch_out
from planning.models import Fabric, Hoop, Job, Layer, StitchOutNote
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins
from tests.planning.facts.test_setup_pages import fields_of

TODAY = NOW.date()

pytestmark = pytest.mark.django_db


@pytest.fixture
def design(stitch_file, workshop):
    a_spool(a_shade("R", hex="#b01c2e"))
    some_bobbins(count=20)
    a_roll()
    path = stitch_file("#b01c2e")
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


@pytest.fixture
def twill(design):
    return Fabric.objects.get(name="twill")


def a_job(design, fabric):
    made = make_job(JobFacts(what="crew caps", pieces=10, fabric=fabric), designs=[design], at=NOW, by=None)
    return Job.objects.with_everything().get(pk=made.pk)


def a_test(design, verdict, *, fabric="twill", on=TODAY, words=""):
    return note_stitch_out(design, stitched_on=on, fabric=fabric, verdict=verdict, words=words, by=None)


def test_a_plan_doubts_a_recipe_that_does_not_suit_the_stretch_everywhere_it_is_read(
    design, twill, signed_in
):
    twill.stretch = Fabric.Stretch.MUCH
    twill.save()
    job = a_job(design, twill)
    doubt = "nothing keeps the cloth from pulling the stitches apart"
    assert any(doubt in note for note in plan_of(job).notes)
    for page in ("job", "cut_sheet"):
        assert doubt in signed_in.get(reverse(page, args=[job.pk])).content.decode()
    for command in ("plan_job", "cut_plan"):
        out = StringIO()
        with pytest.raises(SystemExit):
            call_command(command, str(job.pk), "--format", "json", stdout=out)
        assert any(doubt in note for note in json.loads(out.getvalue())["notes"])
    out = StringIO()
    with pytest.raises(SystemExit):
        call_command("cut_plan", str(job.pk), stdout=out)
    assert doubt in " ".join(out.getvalue().split())


def test_a_design_denser_than_one_layer_bears_is_doubted(design, twill):
    assert plan_of(a_job(design, twill)).notes == ()
    design.stitches = round(130 * design.width_mm * design.height_mm / 100)
    design.save()
    (note,) = plan_of(a_job(design, twill)).notes
    assert "130 stitches per cm²" in note


def test_a_note_keeps_the_recipe_and_the_density_of_its_day(design, twill):
    note = a_test(design, "good")
    assert (note.known_fabric, note.recipe) == (twill, "1 × tear-away, hooped with the cloth")
    assert note.density_per_cm2 == pytest.approx(design.stitches / (design.width_mm * design.height_mm / 100))
    twill.layers.update(count=2)
    note.refresh_from_db()
    assert note.recipe.startswith("1 ×")


def test_a_fabric_that_is_not_in_the_list_is_kept_by_its_name_alone(design):
    note = a_test(design, "good", fabric="a customer's jacket")
    assert (note.fabric, note.known_fabric, note.recipe) == ("a customer's jacket", None, "")


def test_what_worked_before_stands_on_the_fabric_s_page_and_the_plan_sheet(design, twill, signed_in):
    a_test(design, "change", words="slower in the corners")
    fabric_page = signed_in.get(reverse("setup_record", args=["fabrics", twill.pk])).content.decode()
    job_page = signed_in.get(reverse("job", args=[a_job(design, twill).pk])).content.decode()
    for page in (fabric_page, job_page):
        assert "What worked before" in page
        assert "slower in the corners" in page
        assert "1 × tear-away, hooped with the cloth" in page


def test_the_test_nearest_in_density_comes_first(design, twill):
    like = a_test(design, "good")
    StitchOutNote.objects.filter(pk=a_test(design, "bad").pk).update(density_per_cm2=500)
    assert worked_before(twill, density=design.density_per_cm2, limit=1) == [like]


def test_a_bad_test_of_this_recipe_at_a_like_density_warns_until_a_later_one_is_good(design, twill):
    a_test(design, "bad", words="it puckered")
    assert any("it puckered" in note for note in plan_of(a_job(design, twill)).notes)
    twill.layers.update(count=2)
    assert plan_of(a_job(design, twill)).notes == ()  # another recipe
    twill.layers.update(count=1)
    a_test(design, "good", on=TODAY.replace(day=20))
    assert plan_of(a_job(design, twill)).notes == ()


@pytest.mark.parametrize("begun", STARTERS, ids=lambda each: each.slug)
def test_no_recipe_to_begin_with_is_doubted_itself(begun):
    layers = [layer_need(Layer(**dict(zip(LAYERS_IN, layer, strict=True)))) for layer in begun.layers]
    assert recipe_doubts(layers, stretch=begun.stretch, density=60) == ()


def test_a_fabric_begins_with_the_recipe_of_its_class(signed_in):
    address = reverse("setup_add", args=["fabrics"]) + "?like=elastic"
    page = signed_in.get(address)
    assert "Common practice, no source" in page.content.decode()
    assert signed_in.post(address, fields_of(page) | {"name": "rib"}).status_code == 302
    fabric = Fabric.objects.get(name="rib")
    assert fabric.stretch == "much"
    (layer,) = layer_needs(fabric)
    assert (layer.kind, layer.count, layer.crossed, layer.grain_matters) == ("cut-away", 2, True, True)


def test_a_topping_is_cut_as_large_as_the_design_with_its_margin(design, twill):
    Layer.objects.create(fabric=twill, kind="tear-away", order=2, method="topping")
    _, topping = plan_of(a_job(design, twill)).stabilizer
    assert topping.piece_mm == (
        -int(-design.width_mm // 1) + 40, -int(-design.height_mm // 1) + 40
    )  # fmt: skip


def test_caps_are_backed_with_a_strip_of_the_frame_s_size(design, twill, workshop):
    cap = Hoop.objects.create(
        name="cap frame",
        field_width_mm=130,
        field_height_mm=80,
        ring_width_mm=150,
        ring_height_mm=100,
        piece_width_mm=300,
        piece_height_mm=110,
        is_cap_frame=True,
    )
    job = a_job(design, twill)
    Job.objects.filter(pk=job.pk).update(hoop=cap)
    (layer,) = plan_of(Job.objects.with_everything().get(pk=job.pk)).stabilizer
    assert layer.piece_mm == (300, 110)


def test_a_cap_frame_without_the_size_of_its_strip_is_refused(workshop):
    hoop = Hoop.objects.get()
    hoop.is_cap_frame = True
    with pytest.raises(ValidationError):
        hoop.full_clean()

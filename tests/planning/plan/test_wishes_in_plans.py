"""A colour in a file is a wish; one that a person asks for is a demand: what a plan says of both."""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.compute.units import METRIC
from inventory.models import Shade, Spool, StockItem
from planning.library.colours import (
    RequestedColour,
    back_to_file_colours,
    known_shades,
    recolour,
    understand_colour,
)
from planning.library.designs import asked_from_file, asked_from_record, keep_design
from planning.models import Rules
from planning.plan.ask import Question, plan
from planning.plan.data import plan_as_data
from planning.plan.words import answer_in_words
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_put_up, a_range, a_shade, a_spool, an_offer, some_bobbins

pytestmark = pytest.mark.django_db
BLACK, THREAD_BLACK = "#000000", "#26262a"


@pytest.fixture
def bobbins(workshop):
    return some_bobbins(count=20)


@pytest.fixture
def kept(stitch_file):
    def keep(*colours, name="badge.pes"):
        path = stitch_file(*colours, name=name)
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

    return keep


def asked(path):
    return [asked_from_file(read_design_file(path))]


def test_black_of_a_screen_is_enough_with_black_thread_on_the_shelf(stitch_file, bobbins):
    a_spool(a_shade("S199", hex=THREAD_BLACK, name="Tar Black"), metres=2760)
    answer = plan(asked(stitch_file(BLACK)), Question(pieces=5))
    (row,) = plan_as_data(answer)["threads"]
    assert (answer.verdict, row["verdict"], row["colour_verdict"]) == ("enough", "enough", "near")
    assert row["delta_e_00"] > Rules.current().colour_limit
    assert row["colour"]["word"] == "as near as thread comes"
    assert row["free_mm"] == 2_760_000
    assert (row["colour"]["source"], row["colour"]["is_wish"]) == ("rgb", True)
    assert row["colour"]["given_up_delta_e_00"] == 0.0
    assert plan_as_data(answer)["shopping"] == []


def test_a_wish_is_short_of_metres_only(stitch_file, bobbins):
    a_spool(a_shade("S199", hex=THREAD_BLACK), metres=2760, left_m=5)
    (row,) = plan_as_data(plan(asked(stitch_file(BLACK)), Question(pieces=5)))["threads"]
    assert (row["verdict"], row["colour_verdict"], row["free_mm"]) == ("short", "near", 5_000)


def test_a_wish_takes_the_nearest_thread_of_its_colour_and_says_what_is_nearer(stitch_file, bobbins):
    a_spool(a_shade("R1", hex="#8c1822", name="brick"))
    sold = a_shade("R2", hex="#d81a20", name="flag red", range=a_range("Cormorant", "Bright"))
    an_offer(a_put_up(sold.range), price="3.90")
    (row,) = plan_as_data(plan(asked(stitch_file("#ff0000")), Question(pieces=5)))["threads"]
    assert (row["shade"]["code"], row["verdict"]) == ("R1", "enough")
    assert row["colour"]["word"] == "something nearer can be bought"
    assert row["colour"]["nearer"]["id"] == sold.pk
    assert row["colour"]["given_up_delta_e_00"] > 2.0


def test_a_purple_wish_on_a_shelf_without_purple_says_so(stitch_file, bobbins):
    a_spool(a_shade("B", hex="#1f3f8c", name="navy"))
    a_spool(a_shade("R", hex="#b01c2e", name="red"))
    answer = plan(asked(stitch_file("#800080")), Question(pieces=5))
    (row,) = plan_as_data(answer)["threads"]
    assert (row["verdict"], row["colour"]["word"]) == ("short", "no thread of that colour")
    assert "purple" in row["reason"]
    assert row["free_mm"] == 0


def test_who_knows_few_shades_is_told_so(stitch_file, bobbins):
    a_spool(a_shade("R1", hex="#8c1822"))
    (row,) = plan_as_data(plan(asked(stitch_file("#ff0000")), Question(pieces=5)))["threads"]
    assert row["colour"]["word"] == "nearest of the shades you know"
    assert (row["colour"]["text"], row["colour"]["known"]) == ("The only shade you know.", 1)


def test_the_same_colour_asked_for_by_a_person_keeps_its_limit(kept, bobbins):
    a_spool(a_shade("S199", hex=THREAD_BLACK))
    design = kept(BLACK)
    recolour(design, {1: understand_colour("#010101", book=known_shades())})
    answer = plan([asked_from_record(design)], Question(pieces=5))
    (thread,) = answer.threads
    assert (thread.verdict, thread.colour_verdict, thread.source) == ("short", "off colour", "person")


def test_brand_colours_are_demands_whoever_wrote_them(stitch_file, bobbins):
    a_spool(a_shade("S199", hex=THREAD_BLACK))
    answer = plan(asked(stitch_file(BLACK)), Question(pieces=5, strictness="brand"))
    assert answer.threads[0].colour_verdict == "off colour"


def test_two_wishes_that_nothing_tells_apart_on_the_shelf_are_noted(stitch_file, bobbins):
    a_spool(a_shade("B", hex="#1c2f78"))
    answer = plan(asked(stitch_file("#0000ff", "#0000a0")), Question(pieces=5))
    assert answer.verdict == "enough"
    assert any("hard to tell apart" in note for note in answer.notes)


def test_every_source_stays_with_its_block(kept, bobbins):
    a_shade("W", hex="#f0f0ea")
    design = kept("#ff0000", "#00ff00", "#0000ff", "#ffff00")
    book = known_shades()
    recolour(
        design,
        {
            1: understand_colour("lab:50,60,40", book=book),
            2: understand_colour("W", book=book),
            3: understand_colour("#123456", book=book),
            # A form sends every block, also the one that nobody touched.
            4: RequestedColour(hex="#ffff00"),
        },
    )
    sources = [block.source for block in asked_from_record(design).blocks]
    assert sources == ["sample", "shade", "person", "rgb"]
    back_to_file_colours(design)
    assert {block.source for block in asked_from_record(design).blocks} == {"rgb"}


def test_a_palette_is_told_from_a_colour(kept, stitch_file, bobbins):
    assert {block.source for block in asked(stitch_file("#ff0000", name="badge.jef"))[0].blocks} == {
        "palette"
    }
    assert kept("#ff0000", name="badge.jef").blocks.get().file_source == "palette"


def test_a_file_without_colours_asks_to_choose_and_for_nothing_to_buy(stitch_file, bobbins):
    a_spool(a_shade("K", hex=THREAD_BLACK, name="Tar Black"))
    a_spool(a_shade("W", hex="#f0f0ea", name="Foam"))
    a_spool(a_shade("T", hex="#b01c2e"), left_m=1)
    answer = plan(asked(stitch_file("#ff0000", "#00ff00", name="badge.dst")), Question(pieces=5))
    data = plan_as_data(answer)
    assert (answer.verdict, data["shopping"]) == ("unknown", [])
    for row in data["threads"]:
        assert (row["verdict"], row["colour"]["word"], row["missing_mm"]) == ("unknown", "none asked", 0)
        assert row["needed_mm"] > 0
        assert [each["code"] for each in row["colour"]["enough_metres"]] == ["K", "W"]
    said = answer_in_words(answer, units=METRIC)
    assert said.headline == "Choose 2 colours"
    assert said.lines[0].startswith("The file names no colours. Block 1 takes ")


def test_the_command_says_the_very_pins_and_takes_them(stitch_file, bobbins):
    a_spool(a_shade("K", hex=THREAD_BLACK))
    a_spool(a_shade("W", hex="#f0f0ea"))
    file = str(stitch_file("#ff0000", "#00ff00", name="badge.dst"))

    def run(*words):
        out = StringIO()
        with pytest.raises(SystemExit) as stop:
            call_command("plan", file, "--pieces", "5", *words, stdout=out)
        return stop.value.code, out.getvalue()

    code, out = run()
    assert code == 4
    assert '--pin "1=Skerry Forty K" --pin "2=Skerry Forty W"' in out
    code, out = run("--pin", "1=Skerry Forty K", "--pin", "2=Skerry Forty W", "--format", "json")
    assert (code, json.loads(out)["verdict"]) == (0, "enough")


def test_the_page_offers_the_shades_and_goes_on_to_enough(client, django_user_model, kept, bobbins):
    client.force_login(django_user_model.objects.create_superuser("morgan"))
    a_spool(a_shade("K", hex=THREAD_BLACK))
    design = kept("#ff0000", "#00ff00", name="badge.dst")
    page = client.get(reverse("plan_sheet"), {"design": design.pk, "pieces": 5, "pin": ""})
    assert page.context["answer"].headline == "Choose 2 colours"
    assert [len(each["options"]) for each in page.context["choose"]] == [1, 1]
    pins = [each["options"][0]["written"] for each in page.context["choose"]]
    chosen = client.get(reverse("plan_sheet"), {"design": design.pk, "pieces": 5, "pin": pins})
    assert chosen.context["answer"].headline.startswith("Enough for all")
    assert chosen.context["choose"] == []


@pytest.mark.parametrize(
    ("label", "is_considered", "is_noted"),
    [
        ("40", True, False),
        ("40 wt", True, False),
        ("No. 40", True, False),
        ("", True, True),
        ("60", False, False),
    ],
)
def test_a_fresh_workshop_is_answered_however_it_wrote_its_weight(
    stitch_file, bobbins, label, is_considered, is_noted
):
    colours = ("#b01c2e", "#1f3f8c", "#e8e6dc", "#26262a", "#2c7a3a")
    range = a_range("Skerry", "Own", weight_label=label)
    spools = [a_spool(a_shade(f"A{at}", hex=hex, range=range)) for at, hex in enumerate(colours)]
    answer = plan(asked(stitch_file(*colours)), Question(pieces=5))
    data = plan_as_data(answer)
    assert answer.verdict == ("enough" if is_considered else "short")
    assert any("which weight Skerry Own is" in note for note in answer.notes) == is_noted
    left_out = [(each["what"], each["count"], each["why"]) for each in data["left_out"]]
    assert left_out == ([] if is_considered else [("spools of Skerry Own", len(spools), "weight")])
    says_so = [note for note in answer.notes if "left out for their weight" in note]
    assert bool(says_so) == (not is_considered)


def test_prices_that_nobody_knows_are_no_prices(stitch_file, bobbins):
    a_spool(a_shade("R", hex="#b01c2e"), left_m=1)
    (row,) = plan_as_data(plan(asked(stitch_file("#b01c2e")), Question(pieces=5)))["shopping"]
    assert (row["unit_price"], row["total"]) == (None, None)


def test_every_spool_is_considered_or_listed_with_its_reason(stitch_file, bobbins):
    a_spool(a_shade("OK"))
    a_spool(a_shade("SIXTY", range=a_range("Skerry", "Sixty", weight_label="60 wt")))
    a_spool(a_shade("U", range=a_range("Skerry", "Under", purpose="bobbin")))
    nameless = a_shade("DULL")
    Shade.objects.filter(pk=nameless.pk).update(lab_l=None, lab_a=None, lab_b=None)
    a_spool(nameless)
    unknown = a_spool(a_shade("HEAP"))
    StockItem.objects.filter(pk=unknown.pk).update(known="unknown", sigma=None)
    held = a_spool(a_shade("HELD"))
    StockItem.objects.filter(pk=held.pk).update(reserved=900_000)
    left_out = plan_as_data(plan(asked(stitch_file("#b01c2e")), Question(pieces=1)))["left_out"]
    assert {each["why"] for each in left_out} == {"weight", "purpose", "colour", "quantity", "set aside"}
    listed = {label for each in left_out for label in each["labels"]}
    every = set(Spool.objects.values_list("label", flat=True))
    assert every - listed == {Spool.objects.get(shade__code="OK").label}

"""The colours of a design: by hand, from a list, from another design, back to the file's; and the plan follows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.compute.colour.lab import Lab
from inventory.models import EarlierCode
from planning.compute.colour.lists import CatalogueShade, read_colour_list, shade_book
from planning.compute.stitches.thread_length import needle_laid_mm
from planning.library.colours import (
    NotOneShade,
    NotSuchBlocks,
    as_typed,
    back_to_file_colours,
    copy_colours,
    keep_thread_on,
    known_shades,
    read_list,
    recolour,
    requested,
    understand_colour,
)
from planning.library.designs import asked_from_record, keep_design
from planning.models import Design
from planning.plan.ask import Question, chosen_machine, plan
from planning.plan.data import plan_as_data
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_range, a_shade, a_spool, some_bobbins

RED, BLUE, GREEN, GOLD = "#b01c2e", "#1c2b8d", "#107040", "#f0c020"

BOOK = shade_book(
    [
        CatalogueShade(1, "Skerry", "Forty", "1147", "harbour red", RED, ("47", "0147")),
        CatalogueShade(2, "Skerry", "Forty", "1230", "deep blue", BLUE),
        CatalogueShade(3, "Lantern", "Gloss", "1147", "pine", GREEN),
        CatalogueShade(4, "Lantern", "Gloss", "2", "sun", GOLD),
        CatalogueShade(5, "Lantern", "Gloss", "77", "mist", ""),
        CatalogueShade(6, "Skerry", "Forty", "K 12", "signal white", "#ffffff"),
    ]
)


def shades_read(text, *, stops=3, maker=""):
    read = read_colour_list(text, book=BOOK, stops=stops, maker=maker)
    return {each.stop: each.shade.id if each.shade else each.hex for each in read.colours}


@pytest.mark.parametrize(
    "text",
    [
        "1230\n1147 Skerry\n2",
        "1. 1230\n2. 1147 harbour red\n3. 2",
        "1) 1230\n2) Skerry 1147\n3) Lantern 2",
        "1\t1230\tdeep blue\tSkerry\n2\t1147\tharbour red\tSkerry\n3\t2\tsun\tLantern",
        "Stop,Code,Name,Maker\n1,1230,deep blue,Skerry\n2,1147,Harbour Red,Skerry\n3,2,sun,Lantern",
        "1;1230;deep blue\r\n2;1147;harbour red\r\n3;2;sun\r\n",
        "Stop 1: 1230\nStop 2: harbour red\nStop 3: sun",
        "\ufeff1230 deep blue\n\n\nharbour red\n   sun  ",
        "deep blue - 1230\nharbour red - 1147\nsun - 2",
        '"1","1230","deep blue"\n"2","1147","harbour red"\n"3","2","sun"',
        "3. sun\n1. deep blue\n2. harbour red",
        "1 deep blue\n2 harbour red\n3 sun",
        "1 1230\n2 harbour red\n3 Lantern 2",
        "1230\nSkerry Forty 47\n2",
        "Needle 1 deep blue\nNeedle 2 harbour red\nNeedle 3 sun",
    ],
)
def test_a_list_is_understood_however_it_is_written(text):
    assert shades_read(text) == {1: 2, 2: 1, 3: 4}


def test_a_code_that_two_makers_use_asks_whose_it_is():
    read = read_colour_list("1147", book=BOOK, stops=1)
    assert not read.colours
    assert "Skerry Forty 1147" in read.problems[0].message
    assert "Lantern Gloss 1147" in read.problems[0].message
    assert shades_read("1147", maker="Lantern") == {1: 3}
    assert shades_read("1147", maker="skerry") == {1: 1}


def test_a_code_with_a_blank_in_it_is_found():
    assert shades_read("K 12\nk 12 signal white") == {1: 6, 2: 6}


def test_an_earlier_code_finds_the_shade_and_says_so():
    (colour,) = read_colour_list("0147", book=BOOK, stops=1).colours
    assert colour.shade
    assert colour.shade.code == "1147"
    assert colour.note == "0147 is now 1147."


def test_a_colour_of_its_own_needs_no_shade():
    (colour,) = read_colour_list("1. #12ABef dusk", book=BOOK, stops=1).colours
    assert (colour.hex, colour.name, colour.shade) == ("#12abef", "dusk", None)


def test_every_line_that_is_not_understood_is_reported_with_its_number():
    read = read_colour_list("1. 1230\n\n2. 9999 nowhere\n3. mist\n4. 1230\n1. 2", book=BOOK, stops=3)
    assert [each.stop for each in read.colours] == [1]
    assert [problem.line for problem in read.problems] == [3, 4, 5, 6]
    messages = [problem.message for problem in read.problems]
    assert "9999 nowhere" in messages[0]
    assert "not its colour" in messages[1]
    assert "no stop 4" in messages[2]
    assert "line 1 already" in messages[3]


def test_stops_that_no_line_speaks_of_are_told():
    assert read_colour_list("1230\n1. x", book=BOOK, stops=4).left_out == (2, 3, 4)


@given(st.text(max_size=300), st.integers(1, 5))
def test_any_text_gives_each_stop_one_answer_at_most_and_loses_no_line(text, stops):
    read = read_colour_list(text, book=BOOK, stops=stops)
    spoken = [each.stop for each in read.colours]
    assert len(spoken) == len(set(spoken))
    assert all(1 <= stop <= stops for stop in spoken)
    lines = [each.line for each in read.colours] + [each.line for each in read.problems]
    assert len(lines) == len(set(lines))


@pytest.fixture
def design(db, stitch_file):
    return kept(stitch_file(RED, BLUE, GREEN))


def kept(path):
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


def colours(design):
    return [block.hex for block in Design.objects.get(pk=design.pk).blocks.all()]


def test_a_colour_is_typed_as_hex_as_lab_or_as_a_code(design):
    shade = a_shade("1147", hex=GOLD, name="sun")
    book = known_shades()
    assert understand_colour("#ABC", book=book).hex == "#aabbcc"
    assert understand_colour("#102030 dusk", book=book).name == "dusk"
    assert understand_colour("lab:53.24,80.09,67.2 flag", book=book).lab == Lab(53.24, 80.09, 67.2)
    assert understand_colour("skerry forty 1147", book=book).shade_id == shade.pk
    assert understand_colour("  ", book=book).hex == ""
    for nonsense in ("#12", "lab:1,2", "lab:900,0,0", "no such thread"):
        with pytest.raises(ValueError, match=r"colour|known by"):
            understand_colour(nonsense, book=book)


def test_what_is_shown_to_be_typed_again_means_the_same(design):
    shade = a_shade("1147", hex=GOLD, name="sun")
    book = known_shades()
    for typed in ("#102030 dusk", "lab:53.24,80.09,67.2 flag", "1147", ""):
        wanted = understand_colour(typed, book=book)
        recolour(design, {1: wanted})
        block = design.blocks.select_related("shade__range").get(number=1)
        assert understand_colour(as_typed(block), book=book) == wanted
    assert shade.name == "sun"


def test_a_chosen_colour_is_what_the_plan_asks_for(design):
    recolour(design, {2: understand_colour(GOLD, book=known_shades())})
    assert [block.hex for block in asked_from_record(design).blocks] == [RED, GOLD, GREEN]


def test_a_shade_asked_for_by_its_code_is_matched_to_itself_and_not_to_a_near_one(design, workshop):
    wanted = a_shade("W", hex=GOLD)
    near = a_shade("N", hex="#f0c021")
    for shade in (near, wanted):
        a_spool(shade)
    some_bobbins()
    recolour(design, {1: understand_colour("W", book=known_shades())})
    answer = plan([asked_from_record(design)], Question(pieces=3))
    assert answer.threads[0].choice.shade
    assert answer.threads[0].choice.shade.id == wanted.pk
    assert answer.threads[0].choice.delta_e_00 == pytest.approx(0.0, abs=1e-6)


def test_what_a_person_chose_survives_the_import_of_the_same_file(design, stitch_file):
    recolour(design, {1: understand_colour(GOLD, book=known_shades())})
    again = kept(stitch_file(RED, BLUE, GREEN, name="again.pes"))
    assert again == design
    assert colours(design) == [GOLD, BLUE, GREEN]
    assert design.blocks.get(number=1).chosen_by_hand


def test_the_files_own_colours_come_back(design):
    recolour(design, {1: understand_colour("lab:50,0,0", book=known_shades())})
    keep_thread_on(design, {3})
    back_to_file_colours(design)
    assert colours(design) == [RED, BLUE, GREEN]
    assert not design.blocks.filter(chosen_by_hand=True).exists()
    assert not design.blocks.filter(same_thread=True).exists()
    assert [block.lab for block in design.blocks.filter(lab_l__isnull=False)] == []


def test_asking_for_what_is_asked_for_changes_nothing(design):
    assert recolour(design, {1: understand_colour(GOLD, book=known_shades())}) == 1
    assert recolour(design, {1: understand_colour(GOLD, book=known_shades())}) == 0


def test_colours_for_a_block_that_is_not_there_are_refused(design):
    with pytest.raises(NotSuchBlocks, match="3 colour blocks"):
        recolour(design, {4: understand_colour(GOLD, book=known_shades())})
    assert colours(design) == [RED, BLUE, GREEN]


def test_colours_are_copied_from_a_design_with_as_many_blocks(design, stitch_file):
    source = kept(stitch_file(GOLD, GOLD, RED, name="source.pes", stitches=150))
    keep_thread_on(source, {2})
    assert copy_colours(design, source=source) == 3
    assert colours(design) == [GOLD, GOLD, RED]
    assert [block.same_thread for block in design.blocks.all()] == [False, True, False]


def test_colours_are_not_copied_between_designs_of_different_blocks(design, stitch_file):
    source = kept(stitch_file(GOLD, GOLD, name="source.pes"))
    with pytest.raises(NotSuchBlocks, match="2 colour blocks and badge has 3"):
        copy_colours(design, source=source)


def test_a_thread_that_stays_on_is_one_threading_and_a_stop(design, workshop):
    for shade in (RED, BLUE, GREEN):
        a_spool(a_shade(hex=shade))
    some_bobbins()
    before = plan([asked_from_record(design)], Question(pieces=10))
    keep_thread_on(design, {2})
    after = plan([asked_from_record(design)], Question(pieces=10))

    assert len(before.threads) == 3
    assert len(after.threads) == 2
    assert after.threads[0].hex == RED
    assert after.designs[0].stops == before.designs[0].stops + 1
    assert after.thread_changes < before.thread_changes
    assert after.threads[0].blocks == ((0, 1), (0, 2))
    settings = chosen_machine(None).thread_settings(thickness_mm=0.6, allowance=0.0)
    asked = asked_from_record(design).blocks
    alone = [block.sums for block in Design.objects.get(pk=design.pk).blocks.all()]
    assert [needle_laid_mm(each.sums, settings) for each in asked] == [
        needle_laid_mm(each, settings) for each in alone
    ]


def test_blocks_keep_their_numbers_where_a_thread_stays_on(design, workshop):
    some_bobbins(metres=2)
    keep_thread_on(design, {2})
    answer = plan_as_data(plan([asked_from_record(design)], Question(pieces=1, tests=0)))
    assert [each["block"] for each in answer["blocks"]] == [1, 2, 3]
    first, second, _ = (each["bobbin_mm_per_piece"] for each in answer["blocks"])
    assert first + second <= 2000 < sum(each["bobbin_mm_per_piece"] for each in answer["blocks"])
    assert answer["bobbins"]["changes"][0]["block"] == 3


def test_a_thread_without_a_colour_that_stays_on_is_one_thread(design):
    recolour(design, {number: understand_colour("", book=known_shades()) for number in (1, 2, 3)})
    keep_thread_on(design, {2})
    threads = plan([asked_from_record(design)], Question(pieces=1)).threads
    assert [each.blocks for each in threads] == [((0, 1), (0, 2)), ((0, 3),)]


def test_no_thread_can_stay_on_before_the_first_block(design):
    with pytest.raises(NotSuchBlocks, match="first block"):
        keep_thread_on(design, {1})


def test_a_list_is_read_against_the_catalogue_with_its_earlier_codes(design):
    red = a_shade("1147", hex=RED, name="harbour red")
    EarlierCode.objects.create(shade=red, code="47")
    a_shade("1147", hex=GREEN, range=a_range("Lantern", "Gloss"))
    read = read_list(design, "47\n1147\n#112233 dusk", maker="Skerry")
    assert {each.stop: each.hex for each in read.colours} == {1: red.hex, 2: red.hex, 3: "#112233"}
    recolour(design, {each.stop: requested(each) for each in read.colours})
    assert [block.shade_id for block in design.blocks.all()] == [red.pk, red.pk, None]


def test_bobbin_thread_is_no_answer_to_a_code(design):
    some_bobbins()
    with pytest.raises(NotOneShade):
        understand_colour("W", book=known_shades())


def test_the_catalogue_is_read_in_two_queries(design, django_assert_num_queries):
    for number in range(8):
        EarlierCode.objects.create(shade=a_shade(), code=f"old {number}")
    with django_assert_num_queries(2):
        known_shades()

"""The library of designs: its list, one design, its variants, and what a person says of it."""

from datetime import date

import pytest
from django.core.files.storage import default_storage
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.compute.colour.lab import lab_from_hex
from planning.compute.stitches.sameness import block_outline, is_same_drawing
from planning.jobs.jobs import JobFacts, make_job
from planning.library.colours import NO_COLOUR, RequestedColour, keep_thread_on, recolour
from planning.library.designs import stored_name
from planning.library.search import (
    CannotDelete,
    DesignSearch,
    TooManyTags,
    delete_design,
    describe_design,
    find_designs,
    note_stitch_out,
    threads_of,
    what_needs,
)
from planning.library.variants import NotAVariant, all_variants, plan_with, set_apart
from planning.models import Design, Hoop, Tag
from tests.factories import NOW
from tests.planning.written_files import file_bytes, pattern_of, pennant

pytestmark = pytest.mark.django_db
RED, BLUE, GREEN, GOLD = "#b01c2e", "#1c2b8d", "#107040", "#f0c020"
FORMATS_WRITTEN = ("pes", "pec", "dst", "exp", "jef", "vp3", "xxx", "hus", "sew", "u01", "tbf")


def turned_pattern(*, mirror=False, shift=0):
    """Return the pennant's pattern, mirrored or with its first block moved."""
    pattern = pattern_of(pennant())
    for stitch in pattern.stitches:
        if mirror:
            stitch[0] = -stitch[0]
    for stitch in pattern.stitches[:100]:
        stitch[1] += shift
    return pattern


def names(**wanted):
    return [design.name for design in find_designs(DesignSearch(**wanted))]


# Several formats of one drawing


@pytest.mark.parametrize("extension", [each for each in FORMATS_WRITTEN if each != "pes"])
def test_one_drawing_in_another_format_is_a_variant(keep_bytes, extension):
    first = keep_bytes(file_bytes(pennant(), "pes"), "pennant.pes")
    second = keep_bytes(file_bytes(pennant(), extension), f"other.{extension}")
    assert second.variant_of == first
    assert list(Design.objects.listed()) == [first]


def test_all_formats_of_one_drawing_are_one_design_whatever_comes_first(keep_bytes):
    for extension in reversed(FORMATS_WRITTEN):
        keep_bytes(file_bytes(pennant(), extension), f"pennant.{extension}")
    (listed,) = Design.objects.listed()
    assert len(all_variants(listed)) == len(FORMATS_WRITTEN)
    assert listed.format in ("PES", "VP3", "XXX", "TBF")  # colours of its own and explicit trims


def test_a_mirrored_drawing_is_another_design(keep_bytes):
    keep_bytes(file_bytes(pennant(), "pes"), "pennant.pes")
    mirrored = keep_bytes(file_bytes(turned_pattern(mirror=True), "vp3"), "mirrored.vp3")
    assert mirrored.variant_of is None


def test_a_drawing_with_a_part_moved_is_another_design(keep_bytes):
    keep_bytes(file_bytes(pennant(), "pes"), "pennant.pes")
    moved = keep_bytes(file_bytes(turned_pattern(shift=60), "vp3"), "moved.vp3")
    assert moved.variant_of is None


def test_two_colourways_in_one_format_stay_two_designs(keep):
    keep(RED, BLUE, name="navy.pes")
    keep(GOLD, GREEN, name="sun.pes")
    assert Design.objects.listed().count() == 2


def test_a_square_filled_in_rows_differs_from_its_mirror_image():
    """Both have the same lengths and the same means: only the ends tell."""
    rows = [(0.0, float(y)) if (y + side) % 2 else (20.0, float(y)) for y in range(20) for side in (0, 1)]
    mirrored = [(20.0 - x, y) for x, y in rows]
    one, other = (block_outline(points, corner_mm=(0.0, 0.0)) for points in (rows, mirrored))
    assert not is_same_drawing([one], [other], extent_mm=20.0)


def test_a_richer_file_takes_over_with_name_tags_notes_and_mark(keep_bytes, person):
    first = keep_bytes(file_bytes(pennant(), "dst"), "plain.dst")
    describe_design(first, name="Harbour pennant", tags=["caps"], favourite=True)
    note_stitch_out(first, stitched_on=date(2026, 3, 1), fabric="twill", verdict="good", words="", by=person)
    richer = keep_bytes(file_bytes(pennant(), "pes"), "coloured.pes")
    first.refresh_from_db()
    assert first.variant_of == richer
    richer.refresh_from_db()
    assert (richer.name, richer.favourite) == ("Harbour pennant", True)
    assert [tag.name for tag in richer.tags.all()] == ["caps"]
    assert richer.stitch_outs.count() == 1


def test_a_richer_file_does_not_take_over_colours_chosen_by_hand(keep_bytes):
    first = keep_bytes(file_bytes(pennant(), "dst"), "plain.dst")
    recolour(first, {1: RequestedColour(hex=RED)})
    richer = keep_bytes(file_bytes(pennant(), "pes"), "coloured.pes")
    assert richer.variant_of == first


def test_the_variant_that_a_person_picked_stays(keep_bytes):
    coloured = keep_bytes(file_bytes(pennant(), "jef"), "coloured.jef")
    plain = keep_bytes(file_bytes(pennant(), "dst"), "plain.dst")
    plan_with(plain)
    coloured.refresh_from_db()
    assert coloured.variant_of == plain
    richer = keep_bytes(file_bytes(pennant(), "pes"), "richer.pes")
    assert richer.variant_of == plain
    assert [design.format for design in Design.objects.listed()] == ["DST"]


def test_a_variant_can_be_set_apart_but_not_the_one_that_plans_use(keep_bytes):
    first = keep_bytes(file_bytes(pennant(), "pes"), "pennant.pes")
    second = keep_bytes(file_bytes(pennant(), "dst"), "pennant.dst")
    with pytest.raises(NotAVariant):
        set_apart(first)
    set_apart(second)
    assert Design.objects.listed().count() == 2


# Finding


def test_designs_are_found_by_words_in_name_or_tag(keep):
    cap = keep(RED, name="crew cap.pes")
    keep(BLUE, name="pennant.pes", stitches=220)
    describe_design(cap, name="crew cap", tags=["Winter  stock"], favourite=False)
    assert names(words="CAP") == ["crew cap"]
    assert names(words="crew stock") == ["crew cap"]
    assert names(words="cap pennant") == []
    assert names() == ["crew cap", "pennant"]


def test_designs_are_found_by_hoop_either_way_round(keep):
    design = keep(RED, name="wide.pes")
    width, height = design.width_mm, design.height_mm

    def hoop(field_width_mm, field_height_mm):
        return Hoop(field_width_mm=field_width_mm, field_height_mm=field_height_mm)

    long, short = int(max(width, height)) + 1, int(min(width, height)) + 1
    assert names(hoop=hoop(long, short)) == ["wide"]
    assert names(hoop=hoop(short, long)) == ["wide"]
    assert names(hoop=hoop(long - 2, long - 2)) == []


def test_designs_are_found_by_stitches_threads_colour_and_mark(keep):
    small = keep(RED, name="small.pes", stitches=100)
    keep(RED, BLUE, RED, name="large.pes", stitches=300)
    describe_design(small, name="small", tags=[], favourite=True)
    assert names(stitches_from=200) == ["large"]
    assert names(stitches_to=200) == ["small"]
    assert names(colours_to=1) == ["small"]
    assert names(colours_to=2) == ["large", "small"]
    assert names(near=lab_from_hex("#1c2b85")) == ["large"]
    assert names(near=lab_from_hex("#b02030")) == ["large", "small"]
    assert names(near=lab_from_hex("#20c040")) == []
    assert names(favourites=True) == ["small"]


def test_designs_are_put_in_order(keep):
    keep(RED, name="b.pes", stitches=300)
    keep(RED, BLUE, name="A.pes", stitches=100)
    assert names(order="name") == ["A", "b"]
    assert names(order="stitches") == ["A", "b"]
    assert names(order="-stitches") == ["b", "A"]
    assert names(order="newest") == ["A", "b"]


def test_threads_are_counted_as_they_are_put_on(keep):
    design = keep(RED, BLUE, RED, GREEN, name="four.pes")
    recolour(design, {4: NO_COLOUR})
    keep_thread_on(design, {2})
    (counted,) = find_designs(DesignSearch()).values("colours")  # type: ignore[misc]  # annotated there
    threads = threads_of(list(design.blocks.all()))
    assert [thread.numbers for thread in threads] == [(1, 2, 3), (4,)]
    assert counted["colours"] == len(threads) == 2
    assert sum(thread.share for thread in threads) == pytest.approx(1.0)


# What a person says of a design


def test_tags_are_words_in_lower_case_once_and_go_when_unused(keep):
    design = keep(RED, name="cap.pes")
    describe_design(design, name=" Crew cap ", tags=["Caps", "caps", " ", "winter"], favourite=False)
    assert design.name == "Crew cap"
    assert sorted(tag.name for tag in design.tags.all()) == ["caps", "winter"]
    describe_design(design, name="Crew cap", tags=["winter"], favourite=False)
    assert [tag.name for tag in Tag.objects.all()] == ["winter"]
    with pytest.raises(TooManyTags, match="up to 12"):
        describe_design(design, name="Crew cap", tags=[f"tag {n}" for n in range(13)], favourite=False)
    with pytest.raises(TooManyTags, match="30 letters"):
        describe_design(design, name="Crew cap", tags=["x" * 31], favourite=False)


def test_a_deleted_design_takes_its_file_along(keep, django_capture_on_commit_callbacks):
    design = keep(RED, name="cap.pes")
    stored = stored_name(design.sha256, design.format)
    assert default_storage.exists(stored)
    with django_capture_on_commit_callbacks(execute=True):
        delete_design(design)
    assert not Design.objects.exists()
    assert not default_storage.exists(stored)


def test_a_file_that_came_in_again_meanwhile_stays(keep, django_capture_on_commit_callbacks):
    design = keep(RED, name="cap.pes")
    stored = stored_name(design.sha256, design.format)
    with django_capture_on_commit_callbacks() as afterwards:
        delete_design(design)
    keep(RED, name="cap.pes")
    for each in afterwards:
        each()
    assert default_storage.exists(stored)


def test_a_design_that_a_job_needs_is_not_deleted(keep, person):
    design = keep(RED, name="cap.pes")
    make_job(a_job(), designs=[design], at=NOW, by=person)
    with pytest.raises(CannotDelete, match="needed by cap on crew caps"):
        delete_design(design)
    assert Design.objects.get() == design
    assert default_storage.exists(stored_name(design.sha256, design.format))


def test_more_jobs_that_need_a_design_are_no_more_queries(keep, person):
    design = keep(RED, name="cap.pes")
    counted = []
    for _ in range(3):
        make_job(a_job(), designs=[design], at=NOW, by=person)
        with CaptureQueriesContext(connection) as queries:
            assert len(what_needs(design)) == 1
        counted.append(len(queries))
    assert len(set(counted)) == 1, counted


def test_deleting_the_file_that_plans_use_leaves_the_other_formats(keep_bytes):
    first = keep_bytes(file_bytes(pennant(), "pes"), "pennant.pes")
    describe_design(first, name="Pennant", tags=["flags"], favourite=True)
    keep_bytes(file_bytes(pennant(), "dst"), "pennant.dst")
    jef = keep_bytes(file_bytes(pennant(), "jef"), "pennant.jef")
    assert what_needs(first) == ()
    delete_design(first)
    (listed,) = Design.objects.listed()
    assert listed == jef  # it has colours, the other has none
    assert (listed.name, listed.favourite, [tag.name for tag in listed.tags.all()]) == (
        "Pennant",
        True,
        ["flags"],
    )
    assert [design.format for design in all_variants(listed)] == ["JEF", "DST"]


def a_job():
    return JobFacts(what="crew caps", pieces=10)

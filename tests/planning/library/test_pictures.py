"""Pictures of kept designs: who may see them, how long they are kept, and that each is made once."""

import io
import os
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.files.storage import default_storage
from django.db import connection
from django.template import engines
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from inventory.compute.units import IMPERIAL
from inventory.kept_files import FileNotKept
from planning.compute.picture import NoSuchPicture, Rgb, draw
from planning.library import pictures
from planning.library.designs import keep_design, stored_name
from planning.library.pictures import (
    WIDTHS_PX,
    BlockColour,
    colours_of,
    picture_address,
    picture_bytes,
    picture_in_words,
    picture_of,
    strip_in_words,
)
from planning.models import Design
from planning.stitch_files.reading import read_design_file
from tests.factories import NOW, a_roll, a_shade, a_spool, some_bobbins
from tests.pages import page_text

pytestmark = pytest.mark.django_db
DESIGNS = Path(__file__).parents[3] / "fixtures" / "designs"
RED, BLUE = "#b01c2e", "#1c2b8d"


def kept(path: Path) -> Design:
    return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)


@pytest.fixture
def badge() -> Design:
    return kept(DESIGNS / "crew-cap-badge.pes")


@pytest.fixture
def name_tag() -> Design:
    """A design whose file carries no colours."""
    return kept(DESIGNS / "name-tag.exp")


@pytest.fixture
def drawings(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Return a list that grows by the width of each picture that is really drawn."""
    drawn: list[int] = []

    def noted(blocks: Any, *, width_px: int, fabric_rgb: Rgb) -> Any:
        drawn.append(width_px)
        return draw(blocks, width_px=width_px, fabric_rgb=fabric_rgb)

    monkeypatch.setattr(pictures, "draw", noted)
    return drawn


def address_of(design: Design, **wishes: Any) -> str:
    return picture_address(design, picture_of(design, **wishes))


def files_in_store() -> list[Path]:
    return sorted(path for path in Path(default_storage.path("pictures")).rglob("*") if path.is_file())


# In the browser


@pytest.mark.parametrize("name", ["design_picture", "design_density", "design_strip"])
def test_a_visitor_is_asked_to_sign_in(client, badge, name):
    answer = client.get(reverse(name, args=[badge.pk]))
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("sign_in"))


@pytest.mark.parametrize("kind", ["picture", "density", "strip"])
def test_a_picture_is_a_png_that_the_browser_keeps_for_good_and_nobody_else(signed_in, badge, kind):
    answer = signed_in.get(address_of(badge, kind=kind, width_px=256))
    assert answer.status_code == 200
    assert answer["Content-Type"] == "image/png"
    assert answer["Cache-Control"] == "private, max-age=31536000, immutable"
    assert Image.open(io.BytesIO(answer.content)).size[0] == 256


def test_an_unchanged_picture_is_not_sent_again(signed_in, badge, drawings):
    address = address_of(badge, width_px=64)
    etag = signed_in.get(address)["ETag"]
    again = signed_in.get(address, headers={"If-None-Match": etag})
    assert (again.status_code, again.content) == (304, b"")
    assert again["Cache-Control"] == "private, max-age=31536000, immutable"
    assert again["ETag"] == etag
    assert signed_in.get(address, headers={"If-None-Match": '"another"'}).status_code == 200


def test_a_design_that_is_not_there_has_no_picture(signed_in):
    assert signed_in.get(reverse("design_picture", args=[4711])).status_code == 404


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("width=15", "16 to 2,000 pixels"),
        ("width=2001", "16 to 2,000 pixels"),
        ("width=999999999999", "not a width"),
        ("width=wide", "not a width"),
        ("width=٣٢٠", "not a width"),
        ("colours=ff0000", "5 colour blocks"),
        ("colours=ff0000-00ff00-0000ff-ffffff-url(x)", "of the form #rrggbb"),
        ("colours=", "5 colour blocks"),
        ("colours=" + "-".join(["none"] * 5000), "at most 200"),
        ("fabric=white", "of the form #rrggbb"),
        ("fabric=", "of the form #rrggbb"),
    ],
)
def test_what_no_picture_has_is_refused_in_words_and_nothing_is_drawn(
    signed_in, badge, drawings, asked, words
):
    answer = signed_in.get(f"{reverse('design_picture', args=[badge.pk])}?{asked}")
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert answer["Content-Type"].startswith("text/plain")
    assert answer["Cache-Control"] == "no-store"
    assert drawings == []


@pytest.mark.parametrize(
    "asked",
    ["", "width=300", "width=384&extra=1", "width=384&v=0000000000000000", "fabric=DEDACD&width=384"],
)
def test_any_other_way_of_asking_leads_to_the_one_address_and_is_not_kept(signed_in, badge, drawings, asked):
    answer = signed_in.get(f"{reverse('design_picture', args=[badge.pk])}?{asked}")
    assert answer.status_code == 302
    assert answer.url == address_of(badge, width_px=384 if "width" in asked else 640)
    assert answer["Cache-Control"] == "no-store"
    assert drawings == []
    assert signed_in.get(answer.url).status_code == 200


def test_widths_in_between_share_the_next_larger_picture(badge):
    found = {picture_of(badge, width_px=width).width_px for width in range(16, 2001)}
    assert found == set(WIDTHS_PX)
    assert all(picture_of(badge, width_px=width).width_px >= width for width in (16, 65, 641, 1999, 2000))


def test_another_colour_has_another_address_so_that_what_is_kept_never_lies(badge):
    asked = address_of(badge)
    badge.blocks.filter(number=1).update(hex="#123456")
    assert address_of(Design.objects.get(pk=badge.pk)) != asked
    assert address_of(badge, fabric="#000000") != asked


def test_two_designs_of_the_same_drawing_do_not_share_a_picture(badge, stitch_file):
    other = kept(stitch_file(RED, BLUE))
    assert picture_of(badge, kind="density").key != picture_of(other, kind="density").key


def test_a_design_whose_file_has_gone_says_so_and_keeps_nothing(signed_in, badge):
    Path(default_storage.path(stored_name(badge.sha256, badge.format))).unlink()
    answer = signed_in.get(address_of(badge))
    assert answer.status_code == 404
    assert "crew-cap-badge" in answer.content.decode()
    assert answer["Cache-Control"] == "no-store"
    assert files_in_store() == []


# In the store


def test_a_picture_is_made_once(badge, drawings):
    wanted = picture_of(badge, width_px=64)
    first = picture_bytes(wanted, name="badge")
    assert picture_bytes(wanted, name="badge") == first
    assert drawings == [64]


def test_many_who_ask_at_once_get_one_picture(badge, drawings):
    wanted = picture_of(badge, width_px=128)
    gate = threading.Barrier(6)

    def ask(_: int) -> bytes:
        gate.wait()
        return picture_bytes(wanted, name="badge")

    with ThreadPoolExecutor(6) as people:
        seen = set(people.map(ask, range(6)))
    assert len(seen) == 1
    assert drawings == [128]


def test_other_colours_are_drawn_without_reading_the_stitch_file_again(badge, monkeypatch):
    first = picture_bytes(picture_of(badge, width_px=64), name="badge")

    def unread(*_: object, **__: object) -> None:
        raise AssertionError("the stitch file was read again")

    monkeypatch.setattr(pictures, "read_design_file", unread)
    assert picture_bytes(picture_of(badge, colours=[RED] * 5, width_px=64), name="badge") != first


def test_kept_points_are_those_of_the_file_to_a_tenth_of_a_millimetre(badge):
    read = read_design_file(DESIGNS / "crew-cap-badge.pes").walked.blocks
    kept = [(each.points_mm, each.run_starts, each.stop_places) for each in read]
    points = pictures._unpacked(pictures._packed(kept))
    for (points_mm, run_starts, stops), block in zip(points, read, strict=True):
        assert np.array_equal(points_mm, block.points_mm)
        assert np.array_equal(run_starts, block.run_starts)
        assert np.array_equal(stops, block.stop_places)


@pytest.mark.parametrize("damage", [b"", b"no archive", b"PK\x03\x04cut off"])
def test_damaged_points_are_made_anew(badge, damage):
    first = picture_bytes(picture_of(badge, width_px=64), name="badge")
    points = next(path for path in files_in_store() if path.suffix == ".npz")
    points.write_bytes(damage)
    for path in files_in_store():
        if path.suffix == ".png":
            path.unlink()
    assert picture_bytes(picture_of(badge, width_px=64), name="badge") == first
    assert points.read_bytes() != damage


def test_nothing_half_written_is_left_after_an_error(badge, monkeypatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(OSError, match="No space left"):
        picture_bytes(picture_of(badge, width_px=64), name="badge")
    assert files_in_store() == []
    monkeypatch.undo()
    assert picture_bytes(picture_of(badge, width_px=64), name="badge").startswith(b"\x89PNG")


def test_an_error_while_drawing_leaves_no_picture_behind(badge, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise MemoryError

    monkeypatch.setattr(pictures, "draw", broken)
    with pytest.raises(MemoryError):
        picture_bytes(picture_of(badge, width_px=64), name="badge")
    assert [path.suffix for path in files_in_store()] == [".npz"]


def test_pictures_that_nobody_looks_at_make_room_for_new_ones(badge, monkeypatch):
    oldest, looked_at, newest = (
        picture_of(badge, width_px=64, fabric=each) for each in (RED, BLUE, "#ffffff")
    )
    for age, picture in ((300, oldest), (200, looked_at)):
        picture_bytes(picture, name="badge")
        path = default_storage.path(picture.stored_name)
        os.utime(path, (os.stat(path).st_atime - age, os.stat(path).st_mtime - age))
    each = os.stat(default_storage.path(oldest.stored_name)).st_size
    monkeypatch.setattr(pictures, "MOST_BYTES", int(2.5 * each))
    picture_bytes(looked_at, name="badge")
    picture_bytes(newest, name="badge")
    stored = {path.name for path in files_in_store() if path.suffix == ".png"}
    assert stored == {Path(looked_at.stored_name).name, Path(newest.stored_name).name}


def test_a_file_and_a_library_that_disagree_are_refused_in_words(badge):
    badge.blocks.filter(number=5).delete()
    fresh = Design.objects.get(pk=badge.pk)
    with pytest.raises(NoSuchPicture, match="Import the file again"):
        picture_bytes(picture_of(fresh, width_px=64), name="badge")


def test_a_missing_file_is_told_as_one_that_cannot_be_read(badge):
    Path(default_storage.path(stored_name(badge.sha256, badge.format))).unlink()
    with pytest.raises(FileNotKept, match="is missing"):
        picture_bytes(picture_of(badge), name="badge")


def test_a_picture_has_the_colours_that_are_asked_for(badge):
    def mean(colours: list[str]) -> np.ndarray:
        picture = picture_of(badge, colours=colours, width_px=128)
        image = Image.open(io.BytesIO(picture_bytes(picture, name="badge"))).convert("RGB")
        return np.asarray(image, dtype=float).mean(axis=(0, 1))

    assert mean([RED] * 5).argmax() == 0
    assert mean([BLUE] * 5).argmax() == 2


def test_a_thread_that_stays_on_gives_its_colour_to_the_next_block(badge):
    badge.blocks.filter(number=2).update(same_thread=True)
    colours = colours_of(Design.objects.get(pk=badge.pk))
    assert colours[1] == colours[0]
    assert colours[2] != colours[0]


# In words


def test_the_words_tell_size_stitches_and_colours(badge):
    words = picture_in_words(badge)
    assert words.startswith("crew-cap-badge: 71 × 71 mm, 8,701 stitches in 5 colours: ")
    for block in badge.blocks.all():
        assert block.name in words


def test_the_words_tell_inches_to_those_who_read_them(badge):
    assert picture_in_words(badge, units=IMPERIAL).startswith("crew-cap-badge: 2.79 × 2.79 in, ")


def test_a_colour_that_comes_back_is_named_once(badge):
    badge.blocks.filter(number__in=[2, 4]).update(hex=RED, name="harbour red")
    assert picture_in_words(Design.objects.get(pk=badge.pk)).count("harbour red") == 1


def test_blocks_without_a_colour_are_said_in_words(name_tag, badge):
    assert picture_in_words(name_tag).endswith("in 4 blocks without a colour, drawn in striped grey.")
    badge.blocks.filter(number=3).update(hex="", name="")
    words = picture_in_words(Design.objects.get(pk=badge.pk))
    assert "in 4 colours" in words
    assert words.endswith("and 1 block without a colour, drawn in striped grey.")


def test_the_strip_is_told_block_by_block(badge):
    words = strip_in_words(badge)
    first = badge.blocks.get(number=1)
    assert f"block 1, {first.name}, {first.penetrations:,} stitches; block 2" in words


def rendered(template: str, **context: object) -> str:
    return engines["django"].from_string(template).render(context)


def test_the_page_knows_size_and_words_before_the_picture_comes(badge):
    page = rendered('{% include "planning/_picture.html" with design=badge width=300 %}', badge=badge)
    for part in (
        'width="300"',
        'height="300"',
        'loading="lazy"',
        "crew-cap-badge: 71 × 71 mm",
        "640&amp;",
        " 2x",
    ):
        assert part in page
    assert "style=" not in page


def test_a_name_cannot_break_out_of_the_words(badge):
    badge.name = '"><script>alert(1)</script>'
    page = rendered('{% include "planning/_picture.html" with design=badge %}', badge=badge)
    assert "<script>" not in page


@pytest.mark.parametrize("template", ["_density", "_strip"])
def test_map_and_strip_come_with_a_legend_in_words(badge, template):
    page = rendered(f'{{% include "planning/{template}.html" with design=badge %}}', badge=badge)
    assert "<figcaption" in page
    assert f"{template[1:]}.png?" in page
    assert ("1 to 2: light" in page) == (template == "_density")


# On the page of a design


def test_a_design_page_has_the_map_of_density_and_the_strip_in_words(signed_in, badge):
    page = signed_in.get(reverse("design", args=[badge.pk])).content.decode()
    head = page[: page.index("</head>")]
    assert "planning/pictures.css" in head
    assert "How closely the cloth is pierced" in page
    assert f"Map of how closely {badge.name} is pierced" in page
    assert f"{badge.name} stitch by stitch in sewing order: block 1," in page


def test_a_design_page_shows_it_as_asked_for_beside_the_threads_on_the_shelf(
    signed_in, full_shelf, stitch_file
):
    design = kept(stitch_file(RED, BLUE))
    address = reverse("design", args=[design.pk])
    before = signed_in.get(address).content.decode()
    assert "?owned=yes#owned" in before
    assert "b42032" not in before
    page = signed_in.get(address, {"owned": "yes"}).content.decode()
    for colours in ([RED, BLUE], ["#b42032", "#1c2b92"]):
        assert "-".join(colour[1:] for colour in colours) in page
    assert "harbour red, deep blue." in page  # the words of the picture in the threads on the shelf


def test_a_design_page_says_where_the_shelf_has_no_thread(signed_in, workshop, stitch_file):
    design = kept(stitch_file(RED, BLUE))
    page = page_text(signed_in.get(reverse("design", args=[design.pk]), {"owned": "yes"}))
    assert "no thread for 2 blocks" in page


def test_a_design_kept_before_outlines_were_taken_is_shown_as_any_other(signed_in, full_shelf, stitch_file):
    design = kept(stitch_file(RED, BLUE))
    Design.objects.filter(pk=design.pk).update(outline=[])
    for name, arguments in (("designs", {}), ("today", {"design": design.pk})):
        assert signed_in.get(reverse(name), arguments).status_code == 200
    for name in (
        "design",
        "design_colours",
        "design_describe",
        "design_delete",
        "design_file",
        "design_colours_copy",
    ):
        assert signed_in.get(reverse(name, args=[design.pk])).status_code == 200
    assert kept(stitch_file(RED, BLUE, name="again.dst")).variant_of is None
    assert len(kept(stitch_file(RED, BLUE, name="the same.pes")).outline) == 2


# On the plan sheet


@pytest.fixture
def full_shelf(workshop):
    a_spool(a_shade("R", hex="#b42032", name="harbour red"))
    a_spool(a_shade("B", hex="#1c2b92", name="deep blue"))
    some_bobbins(count=20)
    a_roll()


def test_a_plan_sheet_shows_the_design_as_asked_for_and_in_the_threads_chosen(
    signed_in, full_shelf, stitch_file
):
    design = kept(stitch_file(RED, BLUE))
    page = signed_in.get(reverse("plan_sheet"), {"design": design.pk, "pieces": 5}).content.decode()
    for colours in ([RED, BLUE], ["#b42032", "#1c2b92"]):
        assert "-".join(colour[1:] for colour in colours) in page
    assert "as asked for" in page
    assert "in the threads chosen" in page
    assert "harbour red, deep blue." in page  # the words of the picture in the chosen threads
    assert page.index("as asked for") < page.index("Needle thread for")


def test_a_plan_sheet_says_where_no_thread_is_chosen(signed_in, workshop, stitch_file):
    design = kept(stitch_file(RED, BLUE))
    page = page_text(signed_in.get(reverse("plan_sheet"), {"design": design.pk, "pieces": 5}))
    assert "no thread chosen for 2 blocks" in page


def test_more_designs_on_a_plan_sheet_ask_the_database_no_more_for_their_pictures(
    full_shelf, stitch_file, monkeypatch
):
    from planning.library.designs import asked_from_record, designs_by_id
    from planning.plan.ask import Question, each_in_its_own_hooping, plan

    one, two = kept(stitch_file(RED, BLUE)), kept(stitch_file(BLUE, name="other.pes"))

    def queries(*designs: Design) -> int:
        found = designs_by_id([design.pk for design in designs])
        answer = plan(
            each_in_its_own_hooping([asked_from_record(each) for each in found]), Question(pieces=2)
        )
        with CaptureQueriesContext(connection) as asked:
            shown = pictures.plan_pictures(answer)
        assert [each.design for each in shown] == list(designs)
        return len(asked)

    assert queries(one) == queries(one, two) == 2


def test_chosen_colours_are_told_by_their_own_names(badge):
    chosen = [BlockColour("#112233", f"shade {number}") for number in range(5)]
    assert picture_in_words(badge, colours=chosen).endswith(
        "in 5 colours: shade 0, shade 1, shade 2, shade 3, shade 4."
    )

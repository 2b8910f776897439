"""The library in a browser: drop files, find a design, recolour it from a list, by keyboard, narrow and dark."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from playwright.sync_api import expect

from planning.library.designs import keep_design
from planning.library.importing import carry_out, receive_files
from planning.models import Design, ImportRun
from planning.stitch_files.reading import read_design_file
from tests.browser.dropping import drop
from tests.factories import NOW, a_shade, a_spool
from tests.planning.written_files import file_bytes, pennant

RED, BLUE, GOLD = "#b01c2e", "#1c2b8d", "#f0c020"


@pytest.fixture
def keep(stitch_file):
    def _keep(*colours, name, stitches=200):
        path = stitch_file(*colours, name=name, stitches=stitches)
        return keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)

    return _keep


def test_five_dropped_files_of_which_one_is_damaged_end_as_four_designs_and_one_reason(
    signed_in,
    stitch_file,
    axe_is_silent,
    fits,
):
    page = signed_in
    page.get_by_role("link", name="Designs").click()
    expect(page.get_by_role("heading", name="No designs yet")).to_be_visible()
    axe_is_silent(page)
    with page.expect_navigation():
        page.get_by_role("link", name="Import stitch files").click()
    axe_is_silent(page)
    whole = [
        (
            f"cap {number}.pes",
            stitch_file(RED, BLUE, name=f"cap {number}.pes", stitches=150 + 20 * number).read_bytes(),
        )
        for number in range(4)
    ]
    drop(page, [*whole, ("broken.pes", whole[0][1][:60])])
    expect(page.get_by_text("5 files:")).to_be_visible()
    page.get_by_role("button", name="Import").click()

    expect(page.get_by_role("heading", name="1 of 5 files was refused")).to_be_visible()
    expect(page.get_by_role("listitem").filter(has_text="broken.pes")).to_be_visible()
    axe_is_silent(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the list").click()
    assert b"broken.pes" in download.value.path().read_bytes()
    page.get_by_role("link", name="See the designs").click()
    expect(page.get_by_text("4 designs found")).to_be_visible()
    for number in range(4):
        expect(page.get_by_role("link", name=f"cap {number}")).to_be_visible()
    axe_is_silent(page)
    fits(page)
    axe_is_silent(page)


def test_a_design_is_recoloured_by_pasting_a_list(signed_in, keep, axe_is_silent, fits):
    page = signed_in
    a_shade("1147", hex=GOLD, name="sun")
    a_shade("1230", hex=BLUE, name="deep blue")
    design = keep(RED, BLUE, RED, name="crew cap.pes")
    page.goto(f"/designs/{design.pk}/")
    axe_is_silent(page)
    page.get_by_role("link", name="Paste a colour list").click()
    page.get_by_label("Colour list").fill("1. 1147 sun\n2. nowhere 99\n3. 1230")
    page.get_by_role("button", name="See what it means").click()
    expect(page.get_by_role("heading", name="2 of 3 stops are understood")).to_be_visible()
    expect(page.get_by_role("listitem").filter(has_text="Line 2")).to_contain_text("nowhere 99")
    axe_is_silent(page)
    fits(page)
    page.get_by_label("Colour list").fill("1. 1147 sun\n2. #445566 slate\n3. 1230")
    page.get_by_role("button", name="Look again").click()
    expect(page.get_by_role("heading", name="All 3 stops are understood")).to_be_visible()
    page.get_by_role("button", name="Use these colours").click()

    expect(page.locator(".messages")).to_contain_text("3 blocks coloured from the list.")
    for words in ("sun", "slate", "deep blue"):
        expect(page.locator(".swatch-name", has_text=words)).to_be_visible()
    page.get_by_role("link", name="Threads").click()
    expect(page.get_by_role("rowheader")).to_have_count(3)
    axe_is_silent(page)
    fits(page)
    with page.expect_navigation():
        page.get_by_role("link", name="The file's own colours").click()
    axe_is_silent(page)
    page.get_by_role("button", name="Put them back").click()
    expect(page.locator(".swatch-name", has_text="sun")).to_have_count(0)


def test_colours_are_typed_by_keyboard_with_shades_suggested(signed_in, keep, axe_is_silent, fits):
    page = signed_in
    a_shade("1147", hex=GOLD, name="sun")
    design = keep(RED, BLUE, name="crew cap.pes")
    page.goto(f"/designs/{design.pk}/colours/")
    axe_is_silent(page)
    page.get_by_label("Colour of block 1").focus()
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.type("114")
    expect(page.locator("#shades option")).to_have_attribute("value", "Skerry Forty 1147")
    page.keyboard.type("9")
    page.keyboard.press("Enter")
    expect(page.get_by_text("No shade is known by '1149'", exact=False)).to_be_visible()
    axe_is_silent(page)
    fits(page)
    page.get_by_label("Colour of block 1").fill("1147")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.get_by_text("the thread before stays on")).to_be_visible()
    expect(page.locator(".swatch-name", has_text="sun")).to_be_visible()


def test_formats_notes_names_and_deleting(signed_in, tmp_path, axe_is_silent, fits):
    page = signed_in
    for extension in ("pes", "dst"):
        path = tmp_path / f"pennant.{extension}"
        path.write_bytes(file_bytes(pennant(), extension))
        keep_design(read_design_file(path), content=path, trim_at_jumps=3, at=NOW)
    page.goto("/designs/")
    expect(page.get_by_role("row").filter(has_text="pennant")).to_contain_text("PES, DST")
    page.get_by_role("link", name="pennant").click()
    page.get_by_text("Use another, download, or set apart").click()
    axe_is_silent(page)
    page.get_by_role("button", name="Plan with DST").click()
    expect(page.get_by_text("plans use DST, as you said")).to_be_visible()
    page.get_by_text("Note a stitch-out").click()
    page.get_by_label("Fabric").fill("twill")
    page.get_by_label("Verdict").select_option(label="good with a change")
    page.get_by_label("What it showed").fill("Loosen the needle thread.")
    axe_is_silent(page)
    page.get_by_role("button", name="Keep the note").click()
    expect(page.get_by_text("Loosen the needle thread.")).to_be_visible()
    with page.expect_navigation():
        page.get_by_role("link", name="Name and tags").click()
    axe_is_silent(page)
    page.get_by_label("Name").fill("Harbour pennant")
    page.get_by_label("Tags").fill("flags, harbour")
    page.get_by_label("A favourite").check()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", name="Harbour pennant")).to_be_visible()
    page.get_by_role("link", name="harbour", exact=True).click()
    expect(page.get_by_text("1 design found")).to_be_visible()
    axe_is_silent(page)
    fits(page)
    with page.expect_navigation():
        page.get_by_role("link", name="Harbour pennant").click()
    fits(page)
    with page.expect_navigation():
        page.get_by_role("link", name="Delete this design").click()
    axe_is_silent(page)
    page.get_by_role("button", name="Delete it").click()
    assert [design.format for design in Design.objects.all()] == ["PES"]


def test_a_design_is_seen_in_the_threads_on_the_shelf_closely_and_stitch_by_stitch(
    signed_in, keep, axe_is_silent, fits
):
    page = signed_in
    a_spool(a_shade("1147", hex="#b42032", name="harbour red"))
    design = keep(RED, BLUE, name="crew cap.pes")
    page.goto(f"/designs/{design.pk}/")
    owned = page.locator("#owned")
    owned.scroll_into_view_if_needed()
    expect(owned.get_by_role("img")).to_have_count(2)
    expect(owned.get_by_text("in the nearest threads on the shelf")).to_be_visible()
    page.get_by_text("How closely the cloth is pierced").click()
    expect(page.get_by_role("img", name="Map of how closely crew cap is pierced")).to_be_visible()
    page.get_by_text("Every block in sewing order").click()
    expect(page.get_by_role("img", name="crew cap stitch by stitch")).to_be_visible()
    axe_is_silent(page)
    fits(page)


def test_colours_are_copied_and_the_shelf_is_asked(signed_in, keep, axe_is_silent, fits):
    page = signed_in
    design = keep(RED, BLUE, name="crew cap.pes")
    keep(GOLD, RED, name="pennant.pes", stitches=260)
    page.goto(f"/designs/{design.pk}/")
    with page.expect_navigation():
        page.get_by_role("link", name="Copy from a design").click()
    axe_is_silent(page)
    fits(page)
    page.get_by_label("pennant").check()
    page.get_by_role("button", name="Copy the colours").click()
    expect(page.locator(".messages")).to_contain_text("changed to the colours of pennant")
    page.get_by_role("link", name="Ask the shelf").click()
    expect(page.get_by_label("crew cap")).to_be_checked()


def test_an_import_under_way_shows_how_far_it_is_and_then_its_end(
    signed_in,
    stitch_file,
    axe_is_silent,
):
    page = signed_in
    content = stitch_file(RED, name="cap.pes").read_bytes()
    run = receive_files([SimpleUploadedFile("cap.pes", content)], at=timezone.now())
    page.goto(f"/designs/import/{run.pk}/")
    expect(page.get_by_text("1 file waits for its turn")).to_be_visible()
    axe_is_silent(page)
    ImportRun.objects.update(asked_at=timezone.now() - timedelta(minutes=1))
    expect(page.get_by_role("button", name="Import here and now")).to_be_visible()
    carry_out(run.pk, trim_at_jumps=3, clock=timezone.now)
    expect(page.get_by_role("heading", name="1 design came in")).to_be_visible()
    axe_is_silent(page)


def test_a_search_by_keyboard_that_narrows(signed_in, keep, axe_is_silent, fits):
    page = signed_in
    keep(RED, name="crew cap.pes")
    keep(BLUE, name="pennant.pes", stitches=260)
    page.goto("/designs/")
    page.get_by_label("Name, tag or folder").focus()
    page.keyboard.type("penn")
    page.keyboard.press("Enter")
    expect(page.get_by_text("1 design found")).to_be_visible()
    page.get_by_role("link", name="Show all").click()
    page.get_by_text("Hoop, stitches, threads, colour, tag").click()
    page.get_by_label("With a colour near").fill("#b02030")
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="crew cap")).to_be_visible()
    expect(page.get_by_role("link", name="pennant")).to_have_count(0)
    axe_is_silent(page)
    page.get_by_label("With a colour near").fill("nothing such")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_be_visible()
    axe_is_silent(page)
    fits(page)

"""A stocktake interrupted and resumed, files in and out, and labels, in a browser."""

import pytest
from playwright.sync_api import Page, expect

from inventory.models import StockItem
from tests.factories import a_place, a_shade, a_spool


@pytest.fixture
def north_wall(transactional_db):
    place = a_place("north wall")
    return [a_spool(a_shade(hex=hex), place=place) for hex in ("#b01c2e", "#1c2b8d", "#20a040")]


def test_a_stocktake_interrupted_and_resumed(north_wall, signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.goto("/shelf/stocktakes/")
    axe_is_silent(page)
    page.get_by_label("Place", exact=True).select_option(label="north wall (3)")
    with page.expect_navigation():
        page.get_by_role("button", name="Begin a stocktake").click()
    axe_is_silent(page)

    # By keyboard alone: the label is filled in, the box for the finding has the focus, Enter goes on.
    page.keyboard.type("640 m")
    page.keyboard.press("Enter")
    expect(page.get_by_text("1 of 3 seen").first).to_be_visible()

    page.goto("/")
    page.goto("/shelf/stocktakes/")
    page.get_by_role("link", name="all of north wall", exact=True).click()
    expect(page.get_by_label("Label code")).to_have_value(north_wall[1].label)
    page.keyboard.type("lots")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_be_visible()
    axe_is_silent(page)
    fits(page)
    page.get_by_label("Found").fill("half")
    page.keyboard.press("Enter")
    expect(page.get_by_text("2 of 3 seen").first).to_be_visible()

    page.get_by_role("button", name="Finish: 1 not seen").click()
    expect(page.get_by_role("link", name=north_wall[2].label)).to_be_visible()
    expect(page.get_by_text("2 of 3 seen", exact=False).first).to_be_visible()
    axe_is_silent(page)
    fits(page)
    assert StockItem.objects.get(pk=north_wall[0].pk).on_hand == 640_000
    assert StockItem.objects.get(pk=north_wall[1].pk).on_hand == 500_000


def test_files_are_looked_at_before_anything_changes(
    north_wall, signed_in: Page, axe_is_silent, fits, tmp_path
):
    page = signed_in
    page.goto("/shelf/files/")
    axe_is_silent(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV").first.click()
    path = tmp_path / "spools.csv"
    download.value.save_as(path)
    path.write_text(
        path.read_text(encoding="utf-8-sig").replace("north wall", "south wall"), encoding="utf-8"
    )
    page.get_by_label("It holds").select_option("spools")
    page.get_by_label("File").set_input_files(path)
    page.get_by_role("button", name="Look at what it would do").click()
    expect(page.get_by_text("3 changed").first).to_be_visible()
    axe_is_silent(page)
    fits(page)
    page.get_by_role("button", name="Import all 3 rows").click()
    expect(page.get_by_text("Imported: 0 new, 3 changed").first).to_be_visible()
    assert StockItem.objects.filter(place__name="south wall").count() == 3


def test_every_bad_cell_is_shown_and_can_be_taken_out_to_correct(
    north_wall, signed_in: Page, axe_is_silent, fits, tmp_path
):
    page = signed_in
    path = tmp_path / "spools.csv"
    path.write_text("label;length_m\nS0001;plenty\nS0002;some\n")
    page.goto("/shelf/files/")
    page.get_by_label("It holds").select_option("spools")
    page.get_by_label("File").set_input_files(path)
    page.get_by_role("button", name="Look at what it would do").click()
    expect(page.get_by_role("cell", name="plenty", exact=True)).to_be_visible()
    expect(page.get_by_role("cell", name="some", exact=True)).to_be_visible()
    axe_is_silent(page)
    fits(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="Take the 2 bad rows out to correct").click()
    download.value.save_as(tmp_path / "failed.csv")
    assert "plenty" in (tmp_path / "failed.csv").read_text(encoding="utf-8-sig")


def test_labels_of_a_place(north_wall, signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.goto("/shelf/labels/")
    axe_is_silent(page)
    fits(page)
    page.get_by_label("Everything at").select_option(label="north wall")
    with page.expect_download() as download:
        page.get_by_role("button", name="Make the PDF").click()
    assert download.value.suggested_filename == "labels.pdf"

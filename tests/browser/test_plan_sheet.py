"""Sign in, ask, and read the plan sheet, as a person with a browser does."""

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from tests.browser.conftest import PASSWORD
from tests.browser.folds import unfold
from tests.factories import a_roll, a_shade, a_spool, some_bobbins

RED, BLUE = "#b01c2e", "#1c2b8d"


@pytest.fixture
def half_full_shelf(transactional_db, workshop):
    a_spool(a_shade("R", hex=RED, name="harbour red"), left_m=15)
    a_spool(a_shade("B", hex=BLUE, name="deep blue"))
    some_bobbins(count=20)
    a_roll()


def test_signing_in(page: Page, transactional_db, axe_is_silent, fits):
    User.objects.create_superuser("morgan", password=PASSWORD)
    page.goto("/")
    expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
    axe_is_silent(page)
    page.get_by_label("Name").fill("morgan")
    page.get_by_label("Password").fill("wrong")
    page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.get_by_role("alert")).to_be_visible()
    axe_is_silent(page)
    fits(page)
    page.get_by_label("Name").fill("morgan")
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Is there enough?")).to_be_visible()


def test_asking_with_a_stitch_file_and_reading_the_answer(
    half_full_shelf,
    signed_in: Page,
    stitch_file,
    axe_is_silent,
    fits,
):
    page = signed_in
    axe_is_silent(page)
    page.get_by_label("Stitch files").set_input_files(stitch_file(RED, BLUE))
    page.get_by_label("Pieces", exact=True).fill("10")
    page.get_by_label("Fabric").select_option(label="twill")
    page.get_by_role("button", name="Ask the shelf").click()

    expect(page.locator(".answer")).to_contain_text("Short: ")
    red = page.get_by_role("row").filter(has_text="harbour red").first
    expect(red).to_contain_text("Short")
    expect(page.get_by_role("heading", name="To buy")).to_be_visible()
    axe_is_silent(page)
    unfold(page)
    page.get_by_text("The lengths, block by block").click()
    axe_is_silent(page)
    fits(page)
    axe_is_silent(page)

    page.go_back()
    page.get_by_role("link", name="Today").click()
    expect(page.get_by_label("badge")).to_be_visible()


def test_a_refused_file_keeps_what_was_typed(half_full_shelf, signed_in: Page, tmp_path, axe_is_silent):
    page = signed_in
    letter = tmp_path / "letter.pes"
    letter.write_text("Dear workshop")
    page.get_by_label("Pieces", exact=True).fill("37")
    page.get_by_label("Stitch files").set_input_files(letter)
    page.get_by_role("button", name="Ask the shelf").click()
    expect(page.get_by_text("letter.pes", exact=False).first).to_be_visible()
    expect(page.get_by_label("Pieces", exact=True)).to_have_value("37")
    axe_is_silent(page)


def test_by_keyboard_alone(half_full_shelf, signed_in: Page, stitch_file):
    page = signed_in
    page.get_by_label("Stitch files").set_input_files(stitch_file(RED, BLUE))
    page.get_by_label("Pieces", exact=True).focus()
    page.keyboard.type("5")
    page.keyboard.press("Enter")
    expect(page.locator(".answer")).to_be_visible()
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()


def test_without_javascript(half_full_shelf, chromium, live_server, stitch_file, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "files"
    User.objects.create_superuser("morgan", password=PASSWORD)
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    page.goto("/sign-in/")
    page.get_by_label("Name").fill("morgan")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.get_by_label("Stitch files").set_input_files(stitch_file(RED, BLUE))
    page.get_by_role("button", name="Ask the shelf").click()
    expect(page.locator(".answer")).to_contain_text("Short")
    context.close()

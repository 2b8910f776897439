"""The workshop set up in a browser: a machine and its needle, a fabric with a recipe, the rules."""

from playwright.sync_api import Page, expect

from planning.models import Fabric, Machine


def test_a_machine_is_set_up_and_its_needle_counted(workshop, signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.get_by_label("Settings, help, sign out").click()
    page.get_by_role("link", name="Settings").click()
    with page.expect_navigation():
        page.get_by_role("link", name="Set up the workshop").click()
    axe_is_silent(page)
    with page.expect_navigation():
        page.get_by_role("link", name="one needle").click()
    axe_is_silent(page)
    page.get_by_label("Stitches made").fill("1200")
    page.keyboard.press("Enter")
    expect(page.get_by_text("Noted.")).to_be_visible()
    page.get_by_role("button", name="The needle was changed").click()
    expect(page.get_by_text("has a new needle")).to_be_visible()
    assert Machine.objects.get().stitches_since_needle == 0

    page.get_by_text("How it lays thread").click()
    page.get_by_label("Threaded path, mm").fill("900")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("is saved")).to_be_visible()
    expect(page.get_by_text("Threaded path, mm from 600").last).to_be_visible()
    axe_is_silent(page)
    fits(page)


def test_a_fabric_with_two_layers(workshop, signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.goto("/workshop/fabrics/add/")
    axe_is_silent(page)
    page.get_by_label("Name").fill("fleece")
    page.get_by_label("Kind").select_option("cut-away")
    page.get_by_role("button", name="Add it").click()
    page.get_by_label("Kind").nth(1).select_option("topping")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_label("Kind")).to_have_count(3)
    axe_is_silent(page)
    fits(page)
    assert [layer.kind for layer in Fabric.objects.get(name="fleece").layers.all()] == ["cut-away", "topping"]


def test_rules_that_contradict_each_other_keep_what_was_typed(workshop, signed_in: Page, axe_is_silent, fits):
    page = signed_in
    page.goto("/workshop/rules/")
    axe_is_silent(page)
    page.get_by_label("Tight from").fill("97")
    page.get_by_role("button", name="Save the rules").click()
    expect(page.get_by_role("alert")).to_be_visible()
    expect(page.get_by_label("Tight from")).to_have_value("97")
    axe_is_silent(page)
    fits(page)

"""The shelf in a browser: scanning by keyboard, lists, one thing, and every page in light and dark."""

import re

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import expect

from inventory.models import EarlierCode, Entry, Spool, StockItem
from tests.browser.conftest import PASSWORD
from tests.factories import a_place, a_put_up, a_range, a_roll, a_shade, a_spool, an_offer, some_bobbins

RED, BLUE = "#b01c2e", "#1c2b8d"


@pytest.fixture
def wall(transactional_db):
    """Ten spools of ten shades on a wall, bobbins, a roll and an offer."""
    place = a_place("wall")
    a_place("drawer")
    spools = [
        a_spool(a_shade(f"C{number}", hex=f"#{number * 25:02x}3060", name=f"colour {number}"), place=place)
        for number in range(9)
    ]
    odd = a_shade("OX1", hex=RED, name="ox red", range=a_range("Holm", "Fifty"))
    EarlierCode.objects.create(shade=odd, code="OLD1")
    spools.append(a_spool(odd, left_m=90, place=place))
    some_bobbins()
    a_roll()
    an_offer(a_put_up())
    return spools


def held(item: StockItem) -> int:
    return StockItem.objects.get(pk=item.pk).on_hand


def test_ten_spools_are_scanned_and_weighed_by_keyboard_alone(wall, signed_in, axe_is_silent):
    page = signed_in
    page.goto("/shelf/scan/")
    code, said = page.get_by_label("Label code"), page.locator("#scan-said")
    expect(code).to_be_focused()
    for number, spool in enumerate(wall):
        page.keyboard.type(f"HTTPS://SHELF.EXAMPLE/S/{spool.label}")
        page.keyboard.press("Enter")
        expect(page.get_by_label("Taken, or on the scale")).to_be_focused()
        page.keyboard.type(f"{20 + number / 10} g")
        page.keyboard.press("Enter")
        expect(said).to_contain_text(f"{spool.label} holds")
        expect(code).to_be_focused()
        expect(code).to_have_value("")
    assert page.url.endswith("/shelf/scan/")
    assert [held(spool) for spool in wall] == [
        round((20_000 + number * 100 - 12_000) / 27 * 1000) for number in range(10)
    ]
    assert Entry.objects.filter(reason="weigh", by__username="morgan").count() == 10
    axe_is_silent(page)


def test_a_result_is_announced_and_undone_in_place(wall, signed_in, axe_is_silent):
    page = signed_in
    page.goto("/shelf/scan/")
    page.get_by_label("Label code").fill(wall[0].label)
    page.keyboard.press("Enter")
    axe_is_silent(page)
    page.get_by_label("Taken, or on the scale").fill("12")
    page.keyboard.press("Enter")
    expect(page.locator("#scan-problem")).to_contain_text("what you took or what the scale shows")
    expect(page.get_by_label("Taken, or on the scale")).to_have_value("12")
    axe_is_silent(page)
    page.get_by_label("Taken, or on the scale").fill("12 m")
    page.keyboard.press("Enter")
    announced = page.get_by_role("status").filter(has_text="Took 12.0 m off")
    expect(announced).to_be_visible()
    axe_is_silent(page)
    announced.get_by_role("button", name="Take back").click()
    expect(page.locator("#scan-said")).to_contain_text("Taken back")
    expect(page.get_by_label("Label code")).to_be_focused()
    assert held(wall[0]) == 1_000_000


def test_a_label_and_what_was_taken_are_typed_in_one_line(wall, signed_in):
    page = signed_in
    page.goto("/shelf/scan/")
    page.get_by_label("Label code").fill(f"{wall[0].label} 100 m")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Taken, or on the scale")).to_have_value("100 m")
    page.keyboard.press("Enter")
    expect(page.locator("#scan-said")).to_contain_text("Took 100.0 m off")
    assert held(wall[0]) == 900_000


def test_the_camera_is_offered_only_where_the_browser_reads_codes(wall, signed_in):
    page = signed_in
    page.goto("/shelf/scan/")
    page.wait_for_load_state("networkidle")
    camera = page.locator("[data-camera]")
    if not page.evaluate("'BarcodeDetector' in window"):
        expect(camera).to_be_hidden()
    page.add_init_script(
        "window.BarcodeDetector = class { static async getSupportedFormats() { return ['qr_code']; }"
        f" async detect() {{ return [{{ rawValue: 'HTTPS://H.EXAMPLE/S/{wall[3].label}' }}]; }} }};"
        "const canvas = document.createElement('canvas'); canvas.getContext('2d');"
        "navigator.mediaDevices.getUserMedia = async () => canvas.captureStream(10);"
        "HTMLMediaElement.prototype.play = async () => {};"
    )
    page.reload()
    expect(camera).to_be_visible()
    camera.click()
    expect(page.locator("#scan-step")).to_contain_text("colour 3")
    expect(page.locator("dialog.camera")).to_have_count(0)


def test_the_list_is_searched_filtered_and_sorted(wall, signed_in, axe_is_silent, fits):
    page = signed_in
    page.goto("/shelf/")
    axe_is_silent(page)
    count = page.locator("#shelf-count")
    expect(count).to_contain_text("1–10 of 10")
    page.get_by_role("searchbox", name="Search").fill("OLD1")
    expect(count).to_contain_text("1–1 of 1")
    expect(page.get_by_role("row").filter(has_text="ox red")).to_be_visible()
    assert "q=OLD1" in page.url
    page.get_by_role("link", name=re.compile("OLD1")).click()
    expect(count).to_contain_text("of 10")
    page.get_by_text("Filters", exact=True).click()
    page.get_by_label("Maker").select_option("Holm")
    expect(count).to_contain_text("1–1 of 1")
    axe_is_silent(page)
    page.get_by_label("Maker").select_option("any")
    page.get_by_label("Colour near").fill(RED)
    page.get_by_label("Colour near").press("Enter")
    expect(count).to_contain_text("the nearest colour first")
    expect(page.locator("tbody tr").first).to_contain_text("ox red")
    page.goto("/shelf/")
    page.get_by_role("link", name="Left, m").click()
    expect(page.locator("tbody tr").first).to_contain_text("ox red")
    axe_is_silent(page)
    fits(page)
    axe_is_silent(page)


def test_ticked_spools_are_moved_and_taken_off_the_shelf(wall, signed_in, axe_is_silent, fits):
    page = signed_in
    page.goto("/shelf/")
    page.get_by_role("checkbox", name="Tick all of this page").check()
    page.get_by_label("Place", exact=True).last.select_option("drawer")
    page.get_by_role("button", name="Move").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("10 things moved: to drawer")
    axe_is_silent(page)
    page.get_by_role("link", name="Shelf", exact=True).last.click()
    page.get_by_role("checkbox", name=f"Tick {wall[0].label}").check()
    page.get_by_role("button", name="Take off the shelf…").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Take 1 thing off the shelf?")
    axe_is_silent(page)
    fits(page)
    page.get_by_role("button", name="Take them off the shelf").click()
    expect(page.get_by_role("button", name="Take all of it back")).to_be_visible()
    page.goto("/shelf/")
    expect(page.locator("#shelf-count")).to_contain_text("of 9")


def test_acts_and_undo_on_the_page_of_a_thing(wall, signed_in, axe_is_silent, fits):
    page, spool = signed_in, wall[0]
    page.goto(f"/shelf/{spool.label}/")
    axe_is_silent(page)
    page.locator("#take-quantity").fill("2000")
    page.locator("#do-take").get_by_role("button", name="Take").click()
    expect(page.locator("#do-take").get_by_role("alert")).to_contain_text("cannot be taken")
    expect(page.locator("#take-quantity")).to_have_value("2000")
    axe_is_silent(page)
    page.locator("#take-quantity").fill("100")
    page.locator("#take-reference").fill("pennants")
    page.locator("#do-take").get_by_role("button", name="Take").click()
    expect(page.locator(".figure")).to_have_text("900.0 m")
    expect(page.get_by_role("status").filter(has_text="Took 100.0 m off")).to_be_visible()
    page.locator("#do-judge").get_by_text("Judge by eye").first.click()
    page.get_by_label("half").check()
    page.locator("#do-judge").get_by_role("button").click()
    expect(page.locator(".figure")).to_have_text("500.0 m")
    axe_is_silent(page)
    page.get_by_text("Every movement").click()
    used = page.get_by_role("row").filter(has_text="pennants")
    page.get_by_role("link", name=re.compile("Take back counted")).click()
    expect(page.get_by_role("heading", name="Take it back?")).to_be_visible()
    axe_is_silent(page)
    page.get_by_role("button", name="Take it back").click()
    expect(page.locator(".figure")).to_have_text("900.0 m")
    page.get_by_text("Every movement").click()
    expect(used).to_contain_text("900.0")
    fits(page)
    axe_is_silent(page)


def test_new_spools_come_with_the_shade_offered_while_typing(wall, signed_in, axe_is_silent, fits):
    page = signed_in
    page.goto("/shelf/receive/")
    page.get_by_label("Shade", exact=True).press_sequentially("ox r")
    expect(page.locator("#known-shades option")).to_have_attribute("value", "Holm Fifty OX1 ox red")
    page.get_by_label("How many").fill("2")
    page.get_by_role("button", name="Put on the shelf").click()
    expect(page.get_by_role("status").filter(has_text="On the shelf now")).to_be_visible()
    assert Spool.objects.filter(shade__code="OX1").count() == 3
    axe_is_silent(page)
    fits(page)
    axe_is_silent(page)


def test_do_i_own_this(wall, signed_in, axe_is_silent, fits):
    page = signed_in
    page.goto("/shelf/own/")
    axe_is_silent(page)
    page.keyboard.type("OX1")
    page.keyboard.press("Enter")
    expect(page.locator(".answer")).to_contain_text("Yes, this very shade")
    axe_is_silent(page)
    page.goto("/shelf/own/?q=%23b11d2f")
    expect(page.get_by_role("row").filter(has_text="ox red")).to_be_visible()
    axe_is_silent(page)
    fits(page)
    axe_is_silent(page)


ADDRESSES = [
    "/shelf/list/bobbins/",
    "/shelf/list/stabilizer/",
    "/shelf/list/needles/",
    "/shelf/?q=nothing-like-it",
    "/shelf/catalogue/",
    "/shelf/catalogue/ranges/",
    "/shelf/catalogue/shades/",
    "/shelf/catalogue/put-ups/",
    "/shelf/catalogue/thread-offers/",
    "/shelf/catalogue/needles-of-none/",
    "/shelf/catalogue/shades/add/",
    "/shelf/catalogue/roll-offers/add/",
    "/shelf/receive/bobbins/",
    "/shelf/receive/part-used-spool/",
    "/shelf/S9999/",
    "/shelf/scan/?code=S9999",
]


def test_every_other_page_is_fit_to_be_read_by_anybody(wall, chromium, live_server, axe_is_silent, fits):
    User.objects.create_superuser("morgan", password=PASSWORD)
    context = chromium.new_context(base_url=live_server.url, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto("/sign-in/")
    page.get_by_label("Name").fill("morgan")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    batch, roll = StockItem.objects.get(kind="bobbins"), StockItem.objects.get(kind="roll")
    shade = wall[-1].shade
    addresses = [
        *ADDRESSES,
        f"/shelf/{batch.label}/",
        f"/shelf/{roll.label}/",
        f"/shelf/catalogue/shades/{shade.pk}/",
    ]
    for address in addresses:
        page.set_viewport_size({"width": 1280, "height": 900})
        page.goto(address)
        axe_is_silent(page)
        fits(page)
    context.close()


def test_an_empty_shelf(signed_in, axe_is_silent, fits):
    page = signed_in
    page.goto("/shelf/")
    expect(page.get_by_role("heading", name="Nothing is on the shelf yet")).to_be_visible()
    axe_is_silent(page)
    fits(page)


def test_without_javascript(wall, chromium, live_server):
    User.objects.create_superuser("morgan", password=PASSWORD)
    context = chromium.new_context(base_url=live_server.url, java_script_enabled=False)
    page = context.new_page()
    page.goto("/sign-in/?next=/shelf/scan/")
    page.get_by_label("Name").fill("morgan")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()
    page.get_by_label("Label code").fill(wall[0].label)
    page.get_by_role("button", name="Find it").click()
    page.get_by_label("Taken, or on the scale").fill("12 m")
    page.get_by_role("button", name="Book it").click()
    expect(page.locator("#scan-said")).to_contain_text("Took 12.0 m off")
    page.get_by_role("button", name="Take back").click()
    expect(page.locator("#scan-said")).to_contain_text("Taken back")
    assert held(wall[0]) == 1_000_000
    page.goto("/shelf/")
    page.get_by_role("searchbox", name="Search").fill("ox")
    page.get_by_role("button", name="Search", exact=True).click()
    expect(page.locator("#shelf-count")).to_contain_text("1–1 of 1")
    page.get_by_role("link", name=wall[-1].label).click()
    page.locator("#take-quantity").fill("10")
    page.locator("#do-take").get_by_role("button", name="Take").click()
    expect(page.locator(".figure")).to_have_text("80.0 m")
    context.close()
